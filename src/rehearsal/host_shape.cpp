// SPDX-License-Identifier: MIT
// Notation: r, φ in the plane of the disk; a logarithmic arm of pitch p keeps φ − ln(r) / tan p.
#include "rehearsal/host_shape.hpp"

#include <cmath>
#include <numbers>

#include "quantities/magnitude.hpp"

namespace emberline::rehearsal {
namespace {

// Arms come up outside the bulge, over this part of the disk's scale length.
constexpr double arms_begin = 0.5;

}  // namespace

InPlane in_plane(const Exponential& profile, const SkyOffset& from_nucleus) {
    const double angle = Angle::degrees(profile.angle_deg).radians();
    const double east = from_nucleus.east.arcseconds();
    const double north = from_nucleus.north.arcseconds();
    return {east * std::sin(angle) + north * std::cos(angle),
            (east * std::cos(angle) - north * std::sin(angle)) / profile.axis_ratio};
}

double brightness(const Exponential& profile, const SkyOffset& from_nucleus) {
    const InPlane at = in_plane(profile, from_nucleus);
    const double lengths = std::hypot(at.along_arcsec, at.across_arcsec) / profile.scale_arcsec;
    return lengths > farthest_scale_lengths ? 0.0 : std::exp(-lengths);
}

double arm_factor(const HostArms& arms, const Exponential& disk, const SkyOffset& from_nucleus) {
    const InPlane at = in_plane(disk, from_nucleus);
    const double lengths = std::hypot(at.along_arcsec, at.across_arcsec) / disk.scale_arcsec;
    if (lengths < 1e-3) return 1.0;
    const double wound = std::log(lengths) / std::tan(Angle::degrees(arms.pitch_deg).radians());
    const double phase = arms.number * (std::atan2(at.across_arcsec, at.along_arcsec) - wound) +
                         Angle::degrees(arms.phase_deg).radians();
    const double from_crest = std::remainder(phase / (2.0 * std::numbers::pi), 1.0) / arms.width;
    const double begun = 1.0 - std::exp(-std::pow(lengths / arms_begin, 4));
    return 1.0 + arms.contrast * begun * std::exp(-0.5 * from_crest * from_crest);
}

double arm_sigma_arcsec(const HostArms& arms, const Exponential& disk, double radius_arcsec) {
    return arms.width * 2.0 * std::numbers::pi * radius_arcsec *
           std::sin(Angle::degrees(arms.pitch_deg).radians()) / arms.number * disk.axis_ratio;
}

double from_lane_arcsec(const DustLane& lane, const SkyOffset& from_nucleus) {
    const double angle = Angle::degrees(lane.angle_deg).radians();
    return from_nucleus.east.arcseconds() * std::cos(angle) -
           from_nucleus.north.arcseconds() * std::sin(angle) - lane.offset_arcsec;
}

double let_through(const DustLane& lane, const SkyOffset& from_nucleus) {
    const double widths = from_lane_arcsec(lane, from_nucleus) / lane.fwhm_arcsec;
    return flux_ratio(lane.depth_mag * std::exp(-4.0 * std::numbers::ln2 * widths * widths));
}

}  // namespace emberline::rehearsal
