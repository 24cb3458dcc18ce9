// SPDX-License-Identifier: MIT
#include "sky/time_scales.hpp"

#include <erfa.h>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <cstdlib>

#include "quantities/text.hpp"

namespace emberline::sky {
namespace {

constexpr double seconds_per_hour = 3600.0, seconds_per_minute = 60.0;

Problem no_date(std::string_view text, std::string why) {
    return {.what = fmt::format("'{}' is not a date: {}.", text, why),
            .where = "",
            .mend = "Write it as 2024-02-03T21:04:05.25."};
}

// Exactly `width` digits, or with width 0 one or more.
std::optional<int> digits(std::string_view text, std::size_t width = 0) {
    if (text.empty() || text.size() > 6 || (width != 0 && text.size() != width)) return std::nullopt;
    int value = 0;
    for (const char c : text) {
        if (c < '0' || c > '9') return std::nullopt;
        value = 10 * value + (c - '0');
    }
    return value;
}

struct Zone {
    std::string_view before;  // the time of day without its zone
    bool written = false;
    double offset_s = 0.0;
};

// "21:04:05+01:00", "21:04:05-0500", "21:04:05Z", "21:04:05+01".
std::optional<Zone> split_zone(std::string_view text) {
    if (text.ends_with('Z') || text.ends_with('z')) return Zone{text.substr(0, text.size() - 1), true, 0.0};
    const std::size_t sign = text.find_first_of("+-");
    if (sign == std::string_view::npos) return Zone{text, false, 0.0};
    const std::string_view before = trimmed(text.substr(0, sign));
    const std::string_view zone = text.substr(sign + 1);
    std::optional<int> hours, minutes = 0;
    if (zone.size() == 2) {
        hours = digits(zone, 2);
    } else if (zone.size() == 4) {
        hours = digits(zone.substr(0, 2), 2);
        minutes = digits(zone.substr(2), 2);
    } else if (zone.size() == 5 && zone[2] == ':') {
        hours = digits(zone.substr(0, 2), 2);
        minutes = digits(zone.substr(3), 2);
    }
    if (!hours || !minutes || *hours > 14 || *minutes > 59) return std::nullopt;
    const double offset = *hours * seconds_per_hour + *minutes * seconds_per_minute;
    return Zone{before, true, text[sign] == '-' ? -offset : offset};
}

int days_in_month(int year, int month) {
    constexpr int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : lengths[month - 1];
}

// "2024-02-03", "2024/02/03", or the old FITS form "03/02/89".
Result<CalendarTime> parse_date(std::string_view text) {
    const char separator = text.find('/') != std::string_view::npos ? '/' : '-';
    const auto parts = split(text, separator);
    CalendarTime out;
    if (parts.size() != 3) return fail(no_date(text, "it needs a year, a month and a day"));
    const bool old_form = separator == '/' && parts[0].size() == 2 && parts[2].size() == 2;
    const auto year = old_form ? digits(parts[2], 2) : digits(parts[0], 4);
    const auto month = digits(parts[1]);
    const auto day = digits(old_form ? parts[0] : parts[2]);
    if (!year || !month || !day) return fail(no_date(text, "it needs a year, a month and a day in figures"));
    out.year = old_form ? 1900 + *year : *year;
    out.month = *month;
    out.day = *day;
    if (out.month < 1 || out.month > 12)
        return fail(no_date(text, fmt::format("there is no month {}", *month)));
    if (out.day < 1 || out.day > days_in_month(out.year, out.month)) {
        return fail(no_date(text, fmt::format("that month has no day {}", *day)));
    }
    return out;
}

// ERFA's quasi-JD of a calendar date at 0h; nothing when there is no such date.
std::optional<double> day_number(const CalendarTime& time) {
    double zero = 0.0, mjd = 0.0;
    if (eraCal2jd(time.year, time.month, time.day, &zero, &mjd) < 0) return std::nullopt;
    return zero + mjd;
}

// A written offset taken off the clock's reading, not off elapsed time: a leap second between local and
// universal midnight does not count.
CalendarTime without_offset(const CalendarTime& local, double day) {
    CalendarTime out = local;
    out.offset_s = 0.0;
    out.seconds_of_day = local.seconds_of_day - local.offset_s;
    double shift = 0.0;
    if (out.seconds_of_day < 0.0) shift = -1.0;
    if (out.seconds_of_day >= seconds_per_day) shift = 1.0;
    out.seconds_of_day -= shift * seconds_per_day;
    double fraction = 0.0;
    eraJd2cal(day, shift, &out.year, &out.month, &out.day, &fraction);
    return out;
}

// ERFA turns days into whole numbers before it looks whether they are any.
bool is_a_time(const Instant& instant) {
    return std::isfinite(instant.day) && std::isfinite(instant.fraction);
}

double tai_minus_utc(const Instant& utc) {
    if (!is_a_time(utc)) return 0.0;
    int year = 0, month = 0, day = 0;
    double fraction = 0.0, delta = 0.0;
    if (eraJd2cal(utc.day, utc.fraction, &year, &month, &day, &fraction) != 0) return 0.0;
    eraDat(year, month, day, fraction, &delta);
    return delta;
}

Instant to_tai(const Instant& instant) {
    Instant out{instant.day, instant.fraction, TimeScale::tai};
    if (!is_a_time(instant)) return out;
    switch (instant.scale) {
        case TimeScale::tai:
            break;
        case TimeScale::utc:
            eraUtctai(instant.day, instant.fraction, &out.day, &out.fraction);
            break;
        case TimeScale::tt:
        case TimeScale::tdb: {
            const Instant tt = to_tt(instant);
            eraTttai(tt.day, tt.fraction, &out.day, &out.fraction);
            break;
        }
    }
    return out;
}

// TDB − TT at the geocentre: Fairhead & Bretagnon 1990, as ERFA has it.
double tdb_minus_tt_s(const Instant& tt) {
    const double ut = std::fmod(tt.fraction + std::fmod(tt.day, 1.0), 1.0);
    return eraDtdb(tt.day, tt.fraction, ut, 0.0, 0.0, 0.0);
}

}  // namespace

Result<double> parse_time_of_day(std::string_view text) {
    const std::string_view clean = trimmed(text);
    const auto parts = split(clean, ':');
    const auto refuse = [&](std::string_view why) {
        return fail({.what = fmt::format("'{}' is not a time of day: {}.", clean, why),
                     .where = "",
                     .mend = "Write it as 21:04:05.25."});
    };
    if (parts.size() < 2 || parts.size() > 3) return refuse("it needs hours, minutes and seconds");
    const auto hours = digits(parts[0]), minutes = digits(parts[1]);
    if (!hours || !minutes) return refuse("hours and minutes are whole numbers");
    double seconds = 0.0;
    if (parts.size() == 3) {
        const bool plain =
            !parts[2].empty() && parts[2].find_first_not_of("0123456789.") == std::string_view::npos;
        const auto value = plain ? parse_number(parts[2]) : std::nullopt;
        if (!value) return refuse("its seconds are no number");
        seconds = *value;
    }
    if (*hours > 23 || *minutes > 59) return refuse("there is no such hour or minute");
    const bool last_minute = *hours == 23 && *minutes == 59;
    if (seconds >= (last_minute ? 61.0 : 60.0)) return refuse("there is no such second");
    return *hours * seconds_per_hour + *minutes * seconds_per_minute + seconds;
}

Result<CalendarTime> parse_calendar(std::string_view text) {
    const std::string_view clean = trimmed(text);
    const std::size_t gap = clean.find_first_of("T t");
    auto time = parse_date(clean.substr(0, gap));
    if (!time) return fail(time.error());
    if (gap == std::string_view::npos) return time;
    const auto zone = split_zone(clean.substr(gap + 1));
    if (!zone) return fail(no_date(clean, "its time zone cannot be read"));
    const auto seconds = parse_time_of_day(zone->before);
    if (!seconds) return fail(seconds.error());
    time->seconds_of_day = *seconds;
    time->has_time = true;
    time->has_offset = zone->written;
    time->offset_s = zone->offset_s;
    return time;
}

Result<Instant> instant_of(const CalendarTime& written, TimeScale scale) {
    const auto day = day_number(written);
    // Leap seconds come at midnight of UTC alone.
    const double longest_day_s = seconds_per_day + (scale == TimeScale::utc && written.offset_s == 0.0);
    const bool seconds_fit = written.seconds_of_day >= 0.0 && written.seconds_of_day < longest_day_s;
    if (!day || !seconds_fit || !(std::abs(written.offset_s) <= seconds_per_day)) {
        return fail({.what = "There is no such time on that date.",
                     .where = "",
                     .mend = "Write it as 2024-02-03T21:04:05.25."});
    }
    if (scale != TimeScale::utc) return Instant{*day, written.seconds_of_day / seconds_per_day, scale};
    const CalendarTime time = written.offset_s == 0.0 ? written : without_offset(written, *day);
    // A day with a leap second is 86 401 s long, and only there 23:59:60 exists.
    const int hours = std::min(23, static_cast<int>(time.seconds_of_day / seconds_per_hour));
    const int minutes =
        std::min(59, static_cast<int>((time.seconds_of_day - hours * seconds_per_hour) / seconds_per_minute));
    const double seconds = time.seconds_of_day - hours * seconds_per_hour - minutes * seconds_per_minute;
    Instant utc{0.0, 0.0, TimeScale::utc};
    const int status =
        eraDtf2d("UTC", time.year, time.month, time.day, hours, minutes, seconds, &utc.day, &utc.fraction);
    if (status < 0 || (status >= 2 && seconds >= 60.0)) {
        return fail({.what = fmt::format("{:04}-{:02}-{:02} has no second {:.3f} in its last minute.",
                                         time.year, time.month, time.day, seconds),
                     .where = "",
                     .mend = "Check the time; a second 60 exists only where a leap second was inserted."});
    }
    return utc;
}

Result<Instant> parse_instant(std::string_view text, TimeScale scale) {
    const auto time = parse_calendar(text);
    if (!time) return fail(time.error());
    return instant_of(*time, scale);
}

std::string iso(const Instant& instant, int decimals) {
    const char* scale = instant.scale == TimeScale::utc ? "UTC" : "TT";
    int year = 0, month = 0, day = 0, clock[4] = {};
    if (!is_a_time(instant)) return "?";
    if (eraD2dtf(scale, decimals, instant.day, instant.fraction, &year, &month, &day, clock) < 0) return "?";
    std::string text =
        fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", year, month, day, clock[0], clock[1], clock[2]);
    if (decimals > 0) text += fmt::format(".{:0{}}", clock[3], decimals);
    return instant.scale == TimeScale::utc ? text + "Z" : text;
}

std::string iso_date(const Instant& instant) {
    return iso(instant, 3).substr(0, 10);
}

Instant from_jd(double jd, TimeScale scale) {
    const double day = std::floor(jd - 0.5) + 0.5;
    return {day, jd - day, scale};
}

Instant from_jd(double day, double fraction, TimeScale scale) {
    return {day, fraction, scale};
}

Instant now() {
    constexpr double jd_of_1970 = 2440587.5;
    const std::chrono::duration<double> since = std::chrono::system_clock::now().time_since_epoch();
    return from_jd(jd_of_1970 + since.count() / seconds_per_day, TimeScale::utc);
}

Instant later_by(const Instant& instant, double seconds) {
    if (instant.scale != TimeScale::utc) {
        return {instant.day, instant.fraction + seconds / seconds_per_day, instant.scale};
    }
    Instant tai = to_tai(instant);
    tai.fraction += seconds / seconds_per_day;
    return to_utc(tai);
}

double seconds_between(const Instant& a, const Instant& b) {
    return days_between(to_tai(a), to_tai(b)) * seconds_per_day;
}

Instant to_utc(const Instant& instant) {
    if (instant.scale == TimeScale::utc) return instant;
    const Instant tai = to_tai(instant);
    Instant utc{tai.day, tai.fraction, TimeScale::utc};
    if (!is_a_time(tai)) return utc;
    eraTaiutc(tai.day, tai.fraction, &utc.day, &utc.fraction);
    return utc;
}

Instant to_tt(const Instant& instant) {
    Instant tt{instant.day, instant.fraction, TimeScale::tt};
    switch (instant.scale) {
        case TimeScale::tt:
            break;
        case TimeScale::tdb:
            // TDB − TT is below 2 ms and changes by less than 1 µs over itself.
            eraTdbtt(instant.day, instant.fraction, tdb_minus_tt_s(tt), &tt.day, &tt.fraction);
            break;
        case TimeScale::utc:
        case TimeScale::tai: {
            const Instant tai = to_tai(instant);
            eraTaitt(tai.day, tai.fraction, &tt.day, &tt.fraction);
            break;
        }
    }
    return tt;
}

Instant to_tdb(const Instant& instant) {
    if (instant.scale == TimeScale::tdb) return instant;
    const Instant tt = to_tt(instant);
    Instant tdb{0.0, 0.0, TimeScale::tdb};
    eraTttdb(tt.day, tt.fraction, tdb_minus_tt_s(tt), &tdb.day, &tdb.fraction);
    return tdb;
}

bool beyond_leap_second_table(const Instant& instant) {
    const Instant utc = to_utc(instant);
    int year = 0, month = 0, day = 0;
    double fraction = 0.0, delta = 0.0;
    if (!is_a_time(utc)) return true;
    if (eraJd2cal(utc.day, utc.fraction, &year, &month, &day, &fraction) != 0) return true;
    return eraDat(year, month, day, fraction, &delta) != 0 && tai_minus_utc(utc) != 0.0;
}

std::string night_of(const Instant& instant, double longitude_deg) {
    const Instant utc = to_utc(instant);
    if (!is_a_time(utc) || !std::isfinite(longitude_deg)) return "?";
    // Half a day back, so that noon to noon of local mean time falls on one calendar date.
    const double local = (utc.day - jd_minus_mjd) + utc.fraction + longitude_deg / 360.0 - 0.5;
    int year = 0, month = 0, day = 0;
    double fraction = 0.0;
    if (eraJd2cal(jd_minus_mjd, std::floor(local), &year, &month, &day, &fraction) != 0) return "?";
    return fmt::format("{:04}-{:02}-{:02}", year, month, day);
}

}  // namespace emberline::sky
