// SPDX-License-Identifier: MIT
#include "night/plate_doubt.hpp"

#include <algorithm>
#include <cmath>

#include "night/find_stars.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

// Stars of a right solution repeat their magnitudes to a few hundredths, variables among them to tenths;
// light taken at random places scatters by magnitudes.
constexpr double unrelated_mag = 0.7;
constexpr std::size_t least_for_scatter = 4;
constexpr int enough_stars = 3;
constexpr double good_scatter_fwhm = 0.25;

struct Expected {
    double magnitude_mag = 0.0;
    bool seen = false;  // on a centre of its own
    double zero_point_mag = 0.0;
};

std::vector<Expected> expected_stars(const photometry::FrameFluxes& fluxes,
                                     const standard::Sequence& sequence, const Campaign& campaign) {
    std::vector<Expected> out;
    for (const photometry::StarFlux& flux : fluxes.stars) {
        const standard::ComparisonStar* star = sequence.find(flux.label);
        if (star == nullptr || star->role != standard::Role::comparison ||
            star->label == campaign.check_label)
            continue;
        const auto magnitude = star->magnitude(sequence_band(fluxes.band));
        if (!magnitude || flux.flux_e.empty()) continue;
        const double light = flux.flux_e[flux.flux_e.size() / 2];
        const bool seen = !flux.forced && light > 0.0;
        out.push_back({magnitude->value, seen, seen ? magnitude->value + 2.5 * std::log10(light) : 0.0});
    }
    return out;
}

}  // namespace

bool plate_may_mend(const frame::Frame& frame, const Problem& refusal) {
    if (!frame.wcs() && refusal == frame.wcs().error()) return true;
    return refusal.mend == lost_transient_mend || refusal.mend == lost_stars_mend;
}

bool plate_in_doubt(const photometry::FrameFluxes& fluxes, const standard::Sequence& sequence,
                    const Campaign& campaign) {
    const std::vector<Expected> stars = expected_stars(fluxes, sequence, campaign);
    if (stars.empty()) return false;
    std::vector<double> seen, zero_points;
    for (const Expected& star : stars) {
        if (!star.seen) continue;
        seen.push_back(star.magnitude_mag);
        zero_points.push_back(star.zero_point_mag);
    }
    if (seen.empty()) return true;
    const double typical = numerics::median(seen);
    std::size_t bright_seen = 0, bright_missing = 0;
    for (const Expected& star : stars) {
        if (star.magnitude_mag > typical) continue;
        ++(star.seen ? bright_seen : bright_missing);
    }
    if (bright_missing > bright_seen) return true;
    if (zero_points.size() < least_for_scatter) return false;
    const double middle = numerics::median(zero_points);
    return numerics::mad_to_sigma * numerics::median_absolute_deviation(zero_points, middle) > unrelated_mag;
}

bool plate_is_good(const photometry::FrameFluxes& fluxes, const standard::Sequence& sequence,
                   const Campaign& campaign) {
    return fluxes.stars_found >= std::min(enough_stars, fluxes.stars_expected) && fluxes.stars_found > 0 &&
           fluxes.shift_scatter_px < std::max(0.3, good_scatter_fwhm * fluxes.fwhm_px) &&
           fluxes.elongation < 1.5 && !plate_in_doubt(fluxes, sequence, campaign);
}

std::optional<PlateDifference> plate_difference(const frame::Wcs& a, const frame::Wcs& b, int width_px,
                                                int height_px) {
    const double right = width_px - 1.0, top = height_px - 1.0;
    PlateDifference out;
    bool middle = true;
    for (const frame::PixelPosition& p :
         {frame::PixelPosition{0.5 * right, 0.5 * top}, {0.0, 0.0}, {right, 0.0}, {0.0, top}, {right, top}}) {
        const auto one = a.sky(p), other = b.sky(p);
        if (!one || !other) return std::nullopt;
        const double apart = separation(*one, *other).arcseconds();
        if (middle) out.middle_arcsec = apart;
        out.most_arcsec = std::max(out.most_arcsec, apart);
        middle = false;
    }
    return out;
}

}  // namespace emberline::night
