// SPDX-License-Identifier: MIT
#include "photometry/pixel_correlation.hpp"

#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double source_sigma = 5.0;  // a pixel further from the sky belongs to something
constexpr std::size_t least_blocks = 30;
constexpr double chance_sigma = 3.0;
// A spread from a median absolute deviation of n values is uncertain by 1.17/sqrt(n) of itself.
constexpr double spread_uncertainty = 1.1665;

}  // namespace

std::vector<double> block_pulls(const frame::Cutout& cutout, const frame::PixelPosition& centre,
                                const Annulus& annulus, const SkyEstimate& sky, int side_px) {
    std::vector<double> pulls;
    if (!(sky.scatter_adu > 0.0) || side_px < 2) return pulls;
    const frame::PixelBox& box = cutout.box;
    const double half = 0.5 * (side_px - 1);
    const double reach = half * std::sqrt(2.0);
    for (int y0 = box.y0; y0 + side_px <= box.y0 + box.height; y0 += side_px) {
        for (int x0 = box.x0; x0 + side_px <= box.x0 + box.width; x0 += side_px) {
            const double distance = std::hypot(x0 + half - centre.x, y0 + half - centre.y);
            if (distance - reach < annulus.inner_px || distance + reach > annulus.outer_px) continue;
            double sum = 0.0;
            bool clean = true;
            for (int y = y0; y < y0 + side_px && clean; ++y) {
                for (int x = x0; x < x0 + side_px && clean; ++x) {
                    const double level =
                        sky.level_adu + sky.slope_x_adu * (x - centre.x) + sky.slope_y_adu * (y - centre.y);
                    const double rest = static_cast<double>(cutout.at(x, y)) - level;
                    clean = std::abs(rest) < source_sigma * sky.scatter_adu;
                    sum += rest;
                }
            }
            if (clean) pulls.push_back(sum / (side_px * sky.scatter_adu));
        }
    }
    return pulls;
}

double correlation_factor(const std::vector<double>& pulls) {
    if (pulls.size() < least_blocks) return 1.0;
    const double centre = numerics::median(pulls);
    const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(pulls, centre);
    const double chance = chance_sigma * spread_uncertainty / std::sqrt(static_cast<double>(pulls.size()));
    return spread > 1.0 + chance ? spread : 1.0;
}

}  // namespace emberline::photometry
