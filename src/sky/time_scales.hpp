// SPDX-License-Identifier: MIT
// sky/time_scales — dates as people and headers write them, and the scales between them. Through ERFA.
#pragma once

#include <string>
#include <string_view>

#include "quantities/instant.hpp"
#include "quantities/problem.hpp"

namespace emberline::sky {

struct CalendarTime {
    int year = 0, month = 1, day = 1;
    double seconds_of_day = 0.0;  // may reach 86 401 on a day with a leap second
    bool has_time = false;        // false for a bare date
    bool has_offset = false;      // a zone was written
    double offset_s = 0.0;        // of the zone, east of UTC; not yet taken off
};
// "2024-02-03", "2024-02-03T21:04:05.25", with an optional "Z" or "+01:00"/"-0500"; "03/02/89" is the old
// FITS form (1989-02-03). Any number of decimals. Problem: no such date or time of day.
[[nodiscard]] Result<CalendarTime> parse_calendar(std::string_view text);
// "21:04:05.25" as seconds of day.
[[nodiscard]] Result<double> parse_time_of_day(std::string_view text);

// The instant of a calendar time read in `scale`; a written offset is applied (UTC only).
[[nodiscard]] Result<Instant> instant_of(const CalendarTime& time, TimeScale scale);
[[nodiscard]] Result<Instant> parse_instant(std::string_view text, TimeScale scale = TimeScale::utc);
// "2024-02-03T21:04:05.250Z" (Z for UTC only), rounded first.
[[nodiscard]] std::string iso(const Instant& instant, int decimals = 3);
[[nodiscard]] std::string iso_date(const Instant& instant);  // "2024-02-03"

[[nodiscard]] Instant from_jd(double jd, TimeScale scale);
[[nodiscard]] Instant from_jd(double day, double fraction, TimeScale scale);
[[nodiscard]] Instant now();  // UTC, by the machine's clock
// Later by that many SI seconds; right across leap seconds.
[[nodiscard]] Instant later_by(const Instant& instant, double seconds);
[[nodiscard]] double seconds_between(const Instant& a, const Instant& b);

// Dates outside 1960 to 2100 are refused elsewhere; here ERFA's "dubious year" is not an error.
[[nodiscard]] Instant to_utc(const Instant& instant);
[[nodiscard]] Instant to_tt(const Instant& instant);
[[nodiscard]] Instant to_tdb(const Instant& instant);  // geocentric; within 2 µs of a topocentric one

// After the last leap-second announcement that ERFA knows: UTC may be off by a second.
[[nodiscard]] bool beyond_leap_second_table(const Instant& instant);

// "2024-02-03": the date of the evening, noon to noon of local mean time at that longitude (degrees east).
[[nodiscard]] std::string night_of(const Instant& instant, double longitude_deg);

}  // namespace emberline::sky
