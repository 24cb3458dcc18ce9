// SPDX-License-Identifier: MIT
#include "sky/night_calendar.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::sky {
namespace {

// Altitudes bend little in this time, and their extremes are sought for between the steps.
constexpr double step_h = 0.5;
// True noon lies up to 17 minutes from mean noon: the Sun sets and rises within this of a night.
constexpr double margin_h = 0.5;
constexpr double hours_a_night = 24.0;
constexpr double close_enough_h = 0.2 / 3600.0;
constexpr double seconds_per_hour = 3600.0;
constexpr double sidereal_h_per_h = 1.00273790935;  // of hour angle a mean solar hour
// Refraction at the horizon and half a disc, for the Sun as for the Moon.
constexpr double upper_limb_deg = -50.0 / 60.0;

// Hours after noon. Altitude of something through a night: samples, and the extremes between them.
class Track {
  public:
    using Altitude = std::function<double(double)>;
    explicit Track(Altitude altitude) : altitude_(std::move(altitude)) {
        const int steps = static_cast<int>(std::lround((hours_a_night + 2.0 * margin_h) / step_h));
        std::vector<Sample> plain;
        for (int k = 0; k <= steps; ++k)
            plain.push_back(at(-margin_h + k * step_h));
        for (std::size_t k = 0; k < plain.size(); ++k) {
            samples_.push_back(plain[k]);
            if (k == 0 || k + 1 >= plain.size()) continue;
            const double before = plain[k].deg - plain[k - 1].deg, after = plain[k + 1].deg - plain[k].deg;
            if (before * after <= 0.0) add(extreme(plain[k - 1].h, plain[k + 1].h, before > 0.0));
        }
        std::sort(samples_.begin(), samples_.end(),
                  [](const Sample& a, const Sample& b) { return a.h < b.h; });
    }

    struct Sample {
        double h = 0.0, deg = 0.0;
    };
    struct Hours {
        double from = 0.0, to = 0.0;
    };

    [[nodiscard]] Sample at(double h) const { return {h, altitude_(h)}; }
    [[nodiscard]] Sample lowest() const {
        return *std::min_element(samples_.begin(), samples_.end(),
                                 [](const Sample& a, const Sample& b) { return a.deg < b.deg; });
    }
    [[nodiscard]] Sample highest(const Hours& within) const {
        Sample best = at(within.from);
        const auto offer = [&](const Sample& s) {
            if (s.deg > best.deg) best = s;
        };
        offer(at(within.to));
        for (const Sample& s : samples_) {
            if (s.h > within.from && s.h < within.to) offer(s);
        }
        return best;
    }
    [[nodiscard]] std::vector<Hours> above(double deg) const { return beyond(deg, 1.0); }
    [[nodiscard]] std::vector<Hours> below(double deg) const { return beyond(deg, -1.0); }

  private:
    void add(const Sample& s) { samples_.push_back(s); }

    // Golden section.
    [[nodiscard]] Sample extreme(double low, double high, bool highest) const {
        const double share = 1.0 / std::numbers::phi, sign = highest ? -1.0 : 1.0;
        Sample a = at(high - share * (high - low)), b = at(low + share * (high - low));
        while (high - low > 0.01) {
            if (sign * a.deg < sign * b.deg) {
                high = b.h;
                b = a;
                a = at(high - share * (high - low));
            } else {
                low = a.h;
                a = b;
                b = at(low + share * (high - low));
            }
        }
        return sign * a.deg < sign * b.deg ? a : b;
    }

    // False position, with the end that stays weighed down (Illinois).
    [[nodiscard]] double crossing(Sample a, Sample b, double deg) const {
        double fa = a.deg - deg, fb = b.deg - deg;
        for (int k = 0; k < 60 && std::abs(b.h - a.h) > close_enough_h; ++k) {
            const Sample c = at(b.h - fb * (b.h - a.h) / (fb - fa));
            const double fc = c.deg - deg;
            if (fc == 0.0) return c.h;
            if (std::abs(c.h - b.h) < close_enough_h) return c.h;
            if (fc * fb < 0.0) {
                a = b;
                fa = fb;
            } else {
                fa *= 0.5;
            }
            b = c;
            fb = fc;
        }
        return b.h;
    }

    [[nodiscard]] std::vector<Hours> beyond(double deg, double sign) const {
        std::vector<Hours> out;
        const auto inside = [&](const Sample& s) { return sign * (s.deg - deg) > 0.0; };
        for (std::size_t k = 0; k < samples_.size(); ++k) {
            const bool now = inside(samples_[k]), before = k > 0 && inside(samples_[k - 1]);
            if (now && !before) {
                const double from = k == 0 ? samples_[k].h : crossing(samples_[k - 1], samples_[k], deg);
                out.push_back({from, samples_.back().h});
            }
            if (!now && before) out.back().to = crossing(samples_[k - 1], samples_[k], deg);
        }
        return out;
    }

    Altitude altitude_;
    std::vector<Sample> samples_;  // by time
};

using Hours = Track::Hours;

std::vector<Hours> common(const std::vector<Hours>& a, const std::vector<Hours>& b) {
    std::vector<Hours> out;
    for (const Hours& x : a) {
        for (const Hours& y : b) {
            const Hours both{std::max(x.from, y.from), std::min(x.to, y.to)};
            if (both.to > both.from) out.push_back(both);
        }
    }
    return out;
}

double total(const std::vector<Hours>& spans) {
    double sum = 0.0;
    for (const Hours& s : spans)
        sum += s.to - s.from;
    return sum;
}

Result<Instant> midnight_before(std::string_view date) {
    const auto written = parse_calendar(date);
    const auto instant = written && !written->has_time && date.size() == 10
                             ? instant_of(*written, TimeScale::utc)
                             : Result<Instant>(fail({}));
    if (instant) return *instant;
    return fail({.what = fmt::format("'{}' is no date of a night.", date),
                 .where = {},
                 .mend = "Write the date of its evening as 2024-02-03.",
                 .kind = ProblemKind::request});
}

class Night {
  public:
    Night(const Instant& noon, const SkyPosition& star, const Site& site)
        : noon_(noon),
          star_(star),
          horizon_(later_by(noon, 12.0 * seconds_per_hour), site),
          sun_([this](double h) {
              const Horizon then = horizon_at(h);
              return then.position_of_apparent(then.apparent_sun()).altitude.degrees();
          }),
          moon_([this](double h) {
              const Horizon then = horizon_at(h);
              return then.position_of_apparent(then.apparent_moon()).altitude.degrees();
          }),
          star_track_([this](double h) { return horizon_at(h).position(star_).altitude.degrees(); }) {}
    Night(const Night&) = delete;
    Night& operator=(const Night&) = delete;

    [[nodiscard]] NightSky describe(const NightNeeds& needs) const {
        NightSky out;
        out.noon = noon_;
        const Track::Sample lowest = sun_.lowest();
        out.midnight = instant(lowest.h);
        out.sun_least_altitude_deg = lowest.deg;
        out.sun_down = span(sun_below(Twilight::sunset));
        out.civil = span(sun_below(Twilight::civil));
        out.nautical = span(sun_below(Twilight::nautical));
        out.dark = span(sun_below(Twilight::astronomical));
        out.sun_never_sets = !out.sun_down;
        out.sun_never_rises = sun_.above(sun_altitude_deg(Twilight::sunset)).empty();
        const auto dark = sun_below(needs.darkness);
        const auto moon_up = common(moon_.above(upper_limb_deg), {{0.0, hours_a_night}});
        for (const Hours& h : moon_up)
            out.moon_up.push_back({instant(h.from), instant(h.to)});
        const double best_h = find_star(needs, dark, moon_up, out).value_or(lowest.h);
        find_transit(dark ? *dark : sun_below(Twilight::sunset).value_or(Hours{0.0, hours_a_night}),
                     dark.has_value(), out);
        const Horizon then = horizon_at(best_h);
        const SkyPosition sun = then.apparent_sun(), moon = then.apparent_moon(), here = then.apparent(star_);
        out.altitude_deg = then.position(star_).altitude.degrees();
        out.sun_distance_deg = separation(here, sun).degrees();
        out.moon_distance_deg = separation(here, moon).degrees();
        out.moon_altitude_deg = then.position_of_apparent(moon).altitude.degrees();
        out.moon_illuminated = moon_illuminated_fraction(instant(best_h));
        return out;
    }

  private:
    [[nodiscard]] Instant instant(double h) const { return later_by(noon_, h * seconds_per_hour); }
    [[nodiscard]] Horizon horizon_at(double h) const { return horizon_.turned_to(instant(h)); }
    [[nodiscard]] std::optional<Span> span(const std::optional<Hours>& hours) const {
        if (!hours) return std::nullopt;
        return Span{instant(hours->from), instant(hours->to)};
    }

    // About its lowest: what lies beyond another noon is another night's.
    [[nodiscard]] std::optional<Hours> sun_below(Twilight twilight) const {
        const double lowest_h = sun_.lowest().h;
        for (const Hours& h : sun_.below(sun_altitude_deg(twilight))) {
            if (h.from > lowest_h || h.to < lowest_h) continue;
            // Where the Sun does not come up, the night is as long as the day.
            const bool without_evening = h.from <= -margin_h,
                       without_morning = h.to >= hours_a_night + margin_h;
            return Hours{without_evening ? 0.0 : h.from, without_morning ? hours_a_night : h.to};
        }
        return std::nullopt;
    }

    std::optional<double> find_star(const NightNeeds& needs, const std::optional<Hours>& dark,
                                    const std::vector<Hours>& moon_up, NightSky& out) const {
        if (!dark) return std::nullopt;
        const auto observable = common(star_track_.above(needs.least_altitude_deg), {*dark});
        if (observable.empty()) return std::nullopt;
        Track::Sample best{0.0, -90.0};
        for (const Hours& h : observable) {
            out.observable.push_back({instant(h.from), instant(h.to)});
            const Track::Sample high = star_track_.highest(h);
            if (high.deg > best.deg) best = high;
        }
        out.observable_h = total(observable);
        out.moonless_h = out.observable_h - total(common(observable, moon_up));
        out.best = instant(best.h);
        out.best_airmass = airmass(Angle::degrees(best.deg));
        return best.h;
    }

    void find_transit(const Hours& about, bool is_dark, NightSky& out) const {
        double h = 0.5 * (about.from + about.to);
        for (int k = 0; k < 3; ++k)
            h -= horizon_at(h).hour_angle(star_).hours() / sidereal_h_per_h;
        out.transit = instant(h);
        out.transit_in_dark = is_dark && h >= about.from && h <= about.to;
        out.transit_altitude_deg = star_track_.at(h).deg;
    }

    Instant noon_;
    SkyPosition star_;
    Horizon horizon_;  // at local mean midnight
    Track sun_, moon_, star_track_;
};

}  // namespace

double sun_altitude_deg(Twilight twilight) {
    switch (twilight) {
        case Twilight::sunset:
            return upper_limb_deg;
        case Twilight::civil:
            return -6.0;
        case Twilight::nautical:
            return -12.0;
        case Twilight::astronomical:
            return -18.0;
    }
    return 0.0;
}

double Span::hours() const {
    return seconds_between(from, to) / seconds_per_hour;
}

Result<NightSky> night_sky(std::string_view date, const SkyPosition& star, const Site& site,
                           const NightNeeds& needs) {
    const auto day = midnight_before(date);
    if (!day) return fail(day.error());
    const Instant noon = later_by(*day, (12.0 - site.longitude.hours()) * seconds_per_hour);
    NightSky out = Night(noon, star, site).describe(needs);
    out.night = std::string(date);
    return out;
}

Result<std::string> following_night(std::string_view date) {
    const auto day = midnight_before(date);
    if (!day) return fail(day.error());
    return iso_date(later_by(*day, 1.5 * seconds_per_day));
}

}  // namespace emberline::sky
