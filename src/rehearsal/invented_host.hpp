// SPDX-License-Identifier: MIT
// rehearsal/invented_host — a galaxy that we made up: bulge, disk, nucleus, arms, clumps and a lane of dust.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string_view>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::rehearsal {

// Logarithmic spiral arms in the plane of the disk. They move its light about and add none.
struct HostArms {
    int number = 2;
    double contrast = 1.5;  // of an arm's crest over the disk between the arms, minus 1
    double pitch_deg = 20.0;
    double width = 0.13;  // one sigma, as a share of the way from arm to arm
    double phase_deg = 0.0;
};

struct HostClump {  // a round knot of stars, of a Gaussian profile
    SkyOffset from_nucleus;
    double fwhm_arcsec = 1.0;
    double share = 0.0;  // of the disk's light, which has as much less of it elsewhere
};

// A straight screen before all of the host: deepest along its middle, of a Gaussian profile across.
struct DustLane {
    double depth_mag = 1.0;
    double fwhm_arcsec = 3.0;
    double offset_arcsec = 0.0;  // of its middle from the nucleus, to the right seen along the angle
    double angle_deg = 55.0;     // along which it runs, east of north
};

// Magnitudes are those before the dust.
struct InventedHost {  // exponential disk and a bulge about the nucleus
    SkyPosition nucleus;
    double disk_mag = 14.3, disk_scale_arcsec = 12.0, disk_axis_ratio = 0.6, disk_angle_deg = 55.0;
    double bulge_mag = 15.8, bulge_scale_arcsec = 2.0;
    std::map<Band, double> colour_offset_mag;  // host magnitude in band = mag above + this
    std::optional<double> nucleus_mag;         // a point source
    std::optional<HostArms> arms;
    std::vector<HostClump> clumps;
    std::optional<DustLane> dust_lane;
};

enum class HostKind { smooth, spiral, clumpy, dusty };
[[nodiscard]] std::string_view word(HostKind kind);

// Sizes, magnitudes, slant and the parts of its kind, drawn from the seed; the nucleus and the colours are
// left for the caller.
[[nodiscard]] InventedHost invent_host(HostKind kind, std::uint64_t seed);

// `number` clumps of 0.5–3″ strewn over the disk as its light is, of unequal light, `share` of the disk's
// together.
[[nodiscard]] std::vector<HostClump> strewn_clumps(const InventedHost& host, int number, double share,
                                                   std::uint64_t seed);

}  // namespace emberline::rehearsal
