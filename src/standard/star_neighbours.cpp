// SPDX-License-Identifier: MIT
#include "standard/star_neighbours.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "quantities/magnitude.hpp"

namespace emberline::standard {
namespace {

constexpr double same_entry_arcsec = 0.5;
// Further away a star would have to be 10 mag brighter to add a thousandth of a magnitude.
constexpr double reach_of_isolation = 10.0;

}  // namespace

double share_of_light(double distance_arcsec, double isolation_arcsec) {
    if (distance_arcsec < isolation_arcsec) return 1.0;
    constexpr double beta = 2.5, fwhm_of_isolation = 0.25, aperture_of_isolation = 0.5;
    // I(d) = (β−1)/(π α²) (d/α)^(−2β) far outside, times the circle's area; over the circle the mean of d⁻⁵
    // is that of its middle times 1 + (25/8) (r/d)² + …
    const double alpha = fwhm_of_isolation / (2.0 * std::sqrt(std::pow(2.0, 1.0 / beta) - 1.0));
    const double d = distance_arcsec / isolation_arcsec, r = aperture_of_isolation;
    const double across = 1.0 + 0.5 * beta * beta * (r / d) * (r / d);
    return r * r / (alpha * alpha) * (beta - 1.0) * std::pow(d / alpha, -2.0 * beta) * across;
}

StarNeighbours::StarNeighbours(std::span<const Neighbour> all) : by_dec_(all.begin(), all.end()) {
    std::erase_if(by_dec_, [](const Neighbour& n) {
        return !std::isfinite(n.position.ra.radians()) || !std::isfinite(n.position.dec.radians()) ||
               !std::isfinite(n.magnitude_mag);
    });
    std::sort(by_dec_.begin(), by_dec_.end(), [](const Neighbour& a, const Neighbour& b) {
        return a.position.dec.radians() < b.position.dec.radians();
    });
}

double StarNeighbours::added_mmag(const Neighbour& star, double isolation_arcsec) const {
    const Angle reach = Angle::arcseconds(reach_of_isolation * isolation_arcsec);
    const double from = (star.position.dec - reach).radians(), to = (star.position.dec + reach).radians();
    double ratio = 0.0;
    std::optional<double> itself;  // its light, as one of the neighbours
    double nearest_in_magnitude = HUGE_VAL;
    auto other = std::lower_bound(by_dec_.begin(), by_dec_.end(), from, [](const Neighbour& n, double dec) {
        return n.position.dec.radians() < dec;
    });
    for (; other != by_dec_.end() && other->position.dec.radians() <= to; ++other) {
        const double distance = separation(star.position, other->position).arcseconds();
        if (distance > reach.arcseconds()) continue;
        const double difference = other->magnitude_mag - star.magnitude_mag;
        const double light = flux_ratio(difference) * share_of_light(distance, isolation_arcsec);
        ratio += light;
        if (distance < same_entry_arcsec && std::abs(difference) < nearest_in_magnitude) {
            nearest_in_magnitude = std::abs(difference);
            itself = light;
        }
    }
    ratio = std::max(0.0, ratio - itself.value_or(0.0));
    return 2500.0 * std::log10(1.0 + ratio);
}

}  // namespace emberline::standard
