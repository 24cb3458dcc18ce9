// SPDX-License-Identifier: MIT
#include "picture/axis_ticks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>

namespace emberline::picture {
namespace {

// The Julian date of 1970-01-01T00:00 UTC, where the calendar of <chrono> begins to count.
constexpr double jd_of_unix_epoch = 2440587.5;
constexpr double first_jd = 1721425.5, last_jd = 5373484.5;  // the years 1 to 9999
constexpr std::array month_names = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                    "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};

struct CalendarDay {
    int year;
    unsigned month, day;
};

CalendarDay calendar_day(double jd) {
    const auto days = static_cast<int>(std::floor(jd - jd_of_unix_epoch));
    const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{days}}};
    return {static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
            static_cast<unsigned>(date.day())};
}

double jd_of(int year, unsigned month, unsigned day) {
    const std::chrono::sys_days date =
        std::chrono::year{year} / std::chrono::month{month} / std::chrono::day{day};
    return jd_of_unix_epoch + static_cast<double>(date.time_since_epoch().count());
}

// Adds the year to the first label and to the first of each later year.
class YearMarker {
  public:
    std::string operator()(std::string label, int year) {
        if (year == last_) return label;
        last_ = year;
        return fmt::format("{} {}", label, year);
    }

  private:
    int last_ = 0;
};

std::vector<DateTick> hour_ticks(double from, double to, double step_h) {
    std::vector<DateTick> ticks;
    YearMarker with_year;
    double last_day = 0.0;
    const double steps_a_day = 24.0 / step_h;
    // Counted from a midnight, in whole steps, so that rounding never moves a label by a minute.
    const double midnight = std::floor(from - 0.5) + 0.5;
    for (double k = std::ceil((from - midnight) * steps_a_day - 1e-9); midnight + k / steps_a_day <= to;
         ++k) {
        const double jd = midnight + k / steps_a_day;
        const double minutes = k * step_h * 60.0;
        const double day = std::floor(minutes / 1440.0);
        const int in_day = static_cast<int>(std::lround(minutes - day * 1440.0));
        std::string label = fmt::format("{:02d}:{:02d}", in_day / 60, in_day % 60);
        if (ticks.empty() || day != last_day) {
            const auto date = calendar_day(midnight + day + 0.25);
            const std::string day_label = fmt::format("{} {}", date.day, month_names[date.month - 1]);
            label = fmt::format("{} {}", with_year(day_label, date.year), label);
            last_day = day;
        }
        ticks.push_back({jd, label});
    }
    return ticks;
}

std::vector<DateTick> day_ticks(double from, double to, int step) {
    std::vector<DateTick> ticks;
    YearMarker with_year;
    // A step of n days starts anew each month on days 1, 1 + n, …, so that the first of a month has a tick;
    // one that would stand too close to it is left out.
    for (double jd = std::ceil(from - 0.5) + 0.5; jd <= to; jd += 1.0) {
        const auto date = calendar_day(jd + 0.25);
        if ((date.day - 1) % static_cast<unsigned>(step) != 0) continue;
        if (step > 1 && date.day > 1 && calendar_day(jd + 0.25 + 0.6 * step).month != date.month) continue;
        ticks.push_back(
            {jd, with_year(fmt::format("{} {}", date.day, month_names[date.month - 1]), date.year)});
    }
    return ticks;
}

std::vector<DateTick> month_ticks(double from, double to, int step) {
    std::vector<DateTick> ticks;
    YearMarker with_year;
    const auto start = calendar_day(from);
    for (int month = (start.year * 12 + static_cast<int>(start.month) - 1) / step * step;; month += step) {
        const double jd = jd_of(month / 12, static_cast<unsigned>(month % 12) + 1, 1);
        if (jd > to) break;
        if (jd >= from)
            ticks.push_back({jd, with_year(month_names[static_cast<std::size_t>(month % 12)], month / 12)});
    }
    return ticks;
}

std::vector<DateTick> year_ticks(double from, double to, int step) {
    std::vector<DateTick> ticks;
    for (int year = calendar_day(from).year / step * step;; year += step) {
        const double jd = jd_of(year, 1, 1);
        if (jd > to) break;
        if (jd >= from) ticks.push_back({jd, fmt::format("{}", year)});
    }
    return ticks;
}

}  // namespace

double round_step(double span, int wanted) {
    const double raw = span / std::max(wanted, 1);
    const double power = std::pow(10.0, std::floor(std::log10(raw)));
    const double leading = raw / power;
    // Borders halfway between the round numbers, as ratios.
    const double round = leading < 1.42 ? 1.0 : leading < 3.17 ? 2.0 : leading < 7.08 ? 5.0 : 10.0;
    return round * power;
}

int decimals_of_step(double step) {
    return std::clamp(static_cast<int>(std::ceil(-std::log10(step) - 1e-9)), 0, 9);
}

std::vector<DateTick> date_ticks(double from_jd_utc, double to_jd_utc, int most) {
    if (!(from_jd_utc < to_jd_utc) || from_jd_utc < first_jd || to_jd_utc > last_jd) return {};
    const double span = to_jd_utc - from_jd_utc;
    // Labels with a date and a time are wide: fewer of them.
    for (const double hours : {1.0 / 60.0, 1.0 / 30.0, 1.0 / 12.0, 0.25, 0.5, 1.0, 2.0, 3.0, 6.0}) {
        if (span * 24.0 / hours <= 0.75 * most) return hour_ticks(from_jd_utc, to_jd_utc, hours);
    }
    for (const int days : {1, 2, 5, 10, 15}) {
        if (span / days <= most) return day_ticks(from_jd_utc, to_jd_utc, days);
    }
    for (const int months : {1, 2, 3, 6}) {
        if (span / (30.44 * months) <= most) return month_ticks(from_jd_utc, to_jd_utc, months);
    }
    const int years = static_cast<int>(std::max(1.0, round_step(span / 365.25, most)));
    return year_ticks(from_jd_utc, to_jd_utc, years);
}

}  // namespace emberline::picture
