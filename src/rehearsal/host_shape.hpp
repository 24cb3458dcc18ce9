// SPDX-License-Identifier: MIT
// rehearsal/host_shape — how bright each part of a host is at a place, before the air. Private to this room.
#pragma once

#include "rehearsal/invented_host.hpp"

namespace emberline::rehearsal {

struct Exponential {
    double flux_e = 0.0;
    double scale_arcsec = 1.0;  // along the long axis
    double axis_ratio = 1.0;
    double angle_deg = 0.0;  // of the long axis, east of north
};

inline constexpr double farthest_scale_lengths = 7.0;  // 0.7 % of an exponential's light lies beyond

// In the plane of the disk, along its long axis and across it.
struct InPlane {
    double along_arcsec, across_arcsec;
};
[[nodiscard]] InPlane in_plane(const Exponential& profile, const SkyOffset& from_nucleus);

// exp(−r / scale), 0 beyond farthest_scale_lengths.
[[nodiscard]] double brightness(const Exponential& profile, const SkyOffset& from_nucleus);

// What arms make of the disk's brightness: a factor that is 1 at the nucleus and between them.
[[nodiscard]] double arm_factor(const HostArms& arms, const Exponential& disk, const SkyOffset& from_nucleus);
// The sharpest detail of arms at that radius, one sigma, as it is seen on the sky.
[[nodiscard]] double arm_sigma_arcsec(const HostArms& arms, const Exponential& disk, double radius_arcsec);

// Of the light behind, 0 to 1.
[[nodiscard]] double let_through(const DustLane& lane, const SkyOffset& from_nucleus);
[[nodiscard]] double from_lane_arcsec(const DustLane& lane, const SkyOffset& from_nucleus);

}  // namespace emberline::rehearsal
