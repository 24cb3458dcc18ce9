// SPDX-License-Identifier: MIT
// quantities/angle — an angle with its unit in the maker's name, and the two ways people write one.
#pragma once

#include <numbers>
#include <string>
#include <string_view>

#include "quantities/problem.hpp"

namespace emberline {
inline namespace quantities {

class Angle {
  public:
    constexpr Angle() = default;
    static constexpr Angle radians(double v) { return Angle(v); }
    static constexpr Angle degrees(double v) { return Angle(v * (std::numbers::pi / 180.0)); }
    static constexpr Angle hours(double v) { return degrees(v * 15.0); }
    static constexpr Angle arcminutes(double v) { return degrees(v / 60.0); }
    static constexpr Angle arcseconds(double v) { return degrees(v / 3600.0); }

    [[nodiscard]] constexpr double radians() const { return radians_; }
    [[nodiscard]] constexpr double degrees() const { return radians_ * (180.0 / std::numbers::pi); }
    [[nodiscard]] constexpr double hours() const { return degrees() / 15.0; }
    [[nodiscard]] constexpr double arcseconds() const { return degrees() * 3600.0; }
    [[nodiscard]] Angle wrapped_positive() const;  // [0, 360) degrees

    constexpr Angle operator-() const { return Angle(-radians_); }
    constexpr Angle operator+(Angle o) const { return Angle(radians_ + o.radians_); }
    constexpr Angle operator-(Angle o) const { return Angle(radians_ - o.radians_); }
    constexpr Angle operator*(double k) const { return Angle(radians_ * k); }
    constexpr auto operator<=>(const Angle&) const = default;

  private:
    explicit constexpr Angle(double v) : radians_(v) {}
    double radians_ = 0.0;
};

// "13:25:21.12" or "13 25 21.12" or "13h25m21.12s" (hours); a plain number is degrees, 0 <= ra < 360.
[[nodiscard]] Result<Angle> parse_right_ascension(std::string_view text);
// "+37:16:12.0", "-00 30 00", "37d16m12s" (degrees); a plain number is degrees, within ±90.
[[nodiscard]] Result<Angle> parse_declination(std::string_view text);
// A plain number of degrees, or sexagesimal degrees, within ±limit_deg. `name` goes into the message.
[[nodiscard]] Result<Angle> parse_degrees(std::string_view text, std::string_view name, double limit_deg);

// "13:25:21.120": rounded first, so that 59.9996 s never prints as 60.
[[nodiscard]] std::string sexagesimal_hours(Angle angle, int decimals);
// "+37:16:12.00"
[[nodiscard]] std::string sexagesimal_degrees(Angle angle, int decimals);

}  // namespace quantities
}  // namespace emberline
