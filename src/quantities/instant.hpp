// SPDX-License-Identifier: MIT
// quantities/instant — a moment, as a Julian date in two parts with its time scale.
// Two parts keep better than a microsecond where one double keeps 40. Conversions live in sky/time_scales.
#pragma once

#include <string_view>

namespace emberline {
inline namespace quantities {

enum class TimeScale { utc, tai, tt, tdb };

[[nodiscard]] constexpr std::string_view name(TimeScale scale) {
    switch (scale) {
        case TimeScale::utc:
            return "UTC";
        case TimeScale::tai:
            return "TAI";
        case TimeScale::tt:
            return "TT";
        case TimeScale::tdb:
            return "TDB";
    }
    return "?";
}

inline constexpr double jd_minus_mjd = 2400000.5;
inline constexpr double seconds_per_day = 86400.0;

// In UTC the fraction follows ERFA's convention: a day with a leap second has 86 401 s.
struct Instant {
    double day = 0.0;       // the larger part of the Julian date, days
    double fraction = 0.0;  // the rest, days
    TimeScale scale = TimeScale::utc;

    [[nodiscard]] constexpr double jd() const { return day + fraction; }
    [[nodiscard]] constexpr double mjd() const { return (day - jd_minus_mjd) + fraction; }
    bool operator==(const Instant&) const = default;
};

// Days from `a` to `b`; both must be on one scale.
[[nodiscard]] constexpr double days_between(const Instant& a, const Instant& b) {
    return (b.day - a.day) + (b.fraction - a.fraction);
}

}  // namespace quantities
}  // namespace emberline
