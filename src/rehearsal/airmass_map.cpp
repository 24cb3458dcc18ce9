// SPDX-License-Identifier: MIT
#include "rehearsal/airmass_map.hpp"

#include <algorithm>
#include <cmath>

#include "sky/horizon.hpp"

namespace emberline::rehearsal {
namespace {

// Far enough apart for the arithmetic, near enough that aberration is the same to 2″.
constexpr Angle arm = Angle::degrees(5.0);

double sine_of_altitude(const SkyPosition& star, const Instant& instant, const sky::Site& site) {
    return std::sin(sky::horizontal(instant, star, site).altitude.radians());
}

}  // namespace

AirmassMap::AirmassMap(const SkyPosition& middle, const Instant& instant, const sky::Site& site)
    : middle_(middle), towards_middle_(sine_of_altitude(middle, instant, site)) {
    const Angle in_plane = Angle::radians(std::tan(arm.radians()));
    const auto along = [&](const SkyOffset& offset) {
        return (sine_of_altitude(displaced(middle, offset), instant, site) -
                towards_middle_ * std::cos(arm.radians())) /
               std::sin(arm.radians());
    };
    towards_east_ = along({in_plane, Angle{}});
    towards_north_ = along({Angle{}, in_plane});
}

std::optional<double> AirmassMap::at(const SkyPosition& star) const {
    const SkyOffset away = offset(middle_, star);
    const double east = away.east.radians();
    const double north = away.north.radians();
    const double sine = (towards_middle_ + towards_east_ * east + towards_north_ * north) /
                        std::sqrt(1.0 + east * east + north * north);
    return sky::airmass(Angle::radians(std::asin(std::clamp(sine, -1.0, 1.0))));
}

}  // namespace emberline::rehearsal
