// SPDX-License-Identifier: MIT
#include "rehearsal/invented_host.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/random.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t shape_stream = 20, arm_stream = 21, clump_stream = 22, dust_stream = 23;
// Clumps keep within so many scale lengths of the nucleus.
constexpr double farthest_clump = 3.0;
constexpr double smallest_clump_arcsec = 0.5, largest_clump_arcsec = 3.0;

double log_uniform(numerics::Random& random, double low, double high) {
    return low * std::pow(high / low, random.uniform());
}

// By inversion of 1 − (1 + r) e^−r, the light of an exponential disk within r scale lengths.
double disk_radius(double share) {
    double low = 0.0, high = 40.0;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (1.0 - (1.0 + middle) * std::exp(-middle) < share ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

InventedHost plain_host(numerics::Random random) {
    InventedHost host;
    host.disk_mag = random.uniform(13.2, 15.2);
    host.disk_scale_arcsec = log_uniform(random, 7.0, 15.0);
    host.disk_axis_ratio = random.uniform(0.4, 0.95);
    host.disk_angle_deg = random.uniform(0.0, 180.0);
    host.bulge_mag = host.disk_mag + random.uniform(0.8, 2.5);
    host.bulge_scale_arcsec = host.disk_scale_arcsec * random.uniform(0.12, 0.25);
    if (random.uniform() < 0.5) host.nucleus_mag = host.bulge_mag + random.uniform(1.0, 3.0);
    return host;
}

HostArms arms_of(numerics::Random random) {
    return {.number = random.uniform() < 0.7 ? 2 : 3,
            .contrast = random.uniform(0.8, 2.5),
            .pitch_deg = random.uniform(14.0, 28.0),
            .width = random.uniform(0.10, 0.17),
            .phase_deg = random.uniform(0.0, 360.0)};
}

DustLane lane_of(const InventedHost& host, numerics::Random random) {
    return {.depth_mag = random.uniform(0.5, 1.6),
            .fwhm_arcsec = random.uniform(2.0, 5.0),
            .offset_arcsec = random.gaussian(0.0, 0.15 * host.disk_scale_arcsec),
            .angle_deg = host.disk_angle_deg + random.gaussian(0.0, 8.0)};
}

}  // namespace

std::string_view word(HostKind kind) {
    switch (kind) {
        case HostKind::smooth:
            return "smooth";
        case HostKind::spiral:
            return "spiral";
        case HostKind::clumpy:
            return "clumpy";
        case HostKind::dusty:
            break;
    }
    return "dusty";
}

std::vector<HostClump> strewn_clumps(const InventedHost& host, int number, double share, std::uint64_t seed) {
    numerics::Random random = numerics::Random(seed).stream(clump_stream);
    const double within = 1.0 - (1.0 + farthest_clump) * std::exp(-farthest_clump);
    const double angle = Angle::degrees(host.disk_angle_deg).radians();
    std::vector<HostClump> clumps;
    double sum = 0.0;
    for (int i = 0; i < number; ++i) {
        const double radius_arcsec = host.disk_scale_arcsec * disk_radius(within * random.uniform());
        const double direction = random.uniform(0.0, 2.0 * std::numbers::pi);
        const double along = radius_arcsec * std::cos(direction);
        const double across = host.disk_axis_ratio * radius_arcsec * std::sin(direction);
        HostClump clump;
        clump.from_nucleus = {Angle::arcseconds(along * std::sin(angle) + across * std::cos(angle)),
                              Angle::arcseconds(along * std::cos(angle) - across * std::sin(angle))};
        clump.fwhm_arcsec = log_uniform(random, smallest_clump_arcsec, largest_clump_arcsec);
        clump.share = std::exp(random.gaussian(0.0, 0.7));
        sum += clump.share;
        clumps.push_back(clump);
    }
    for (HostClump& clump : clumps)
        clump.share *= share / sum;
    return clumps;
}

InventedHost invent_host(HostKind kind, std::uint64_t seed) {
    const numerics::Random random(seed);
    InventedHost host = plain_host(random.stream(shape_stream));
    numerics::Random parts = random.stream(arm_stream);
    if (kind == HostKind::spiral) {
        host.arms = arms_of(parts);
        host.clumps = strewn_clumps(host, 15, 0.06, seed);
    }
    if (kind == HostKind::clumpy) {
        const int number = 20 + static_cast<int>(40.0 * parts.uniform());
        host.clumps = strewn_clumps(host, number, parts.uniform(0.15, 0.40), seed);
    }
    if (kind == HostKind::dusty) {
        host.disk_axis_ratio = std::max(0.3, 0.7 * host.disk_axis_ratio);
        host.dust_lane = lane_of(host, random.stream(dust_stream));
    }
    return host;
}

}  // namespace emberline::rehearsal
