// SPDX-License-Identifier: MIT
#include "photometry/pixel_correlation.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "photometry/noise.hpp"

namespace emberline::photometry {
namespace {

constexpr double source_sigma = 5.0;  // a pixel further from the sky belongs to something
constexpr std::size_t least_blocks = 30;
constexpr std::size_t most_scales = 7;
constexpr double chance_sigma = 3.5;  // at any of the scales
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
            const double u = x0 + half - centre.x, v = y0 + half - centre.y;
            const double distance = std::sqrt(u * u + v * v);
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

std::vector<BlockScale> block_scales(double largest_px) {
    std::vector<BlockScale> scales;
    for (int side = 2; scales.size() < most_scales; side = std::max(side + 1, side * 3 / 2)) {
        scales.push_back({side, {}});
        if (side >= largest_px) break;
    }
    return scales;
}

double NoiseGrowth::of_square(double side_px) const {
    const double side = std::clamp(side_px, smallest_px, h_per_px > 0.0 ? largest_px : side_px + smallest_px);
    return std::max(1.0, f - g / side + h_per_px * side);
}

double NoiseGrowth::of_circle(double radius_px) const {
    const double area = std::numbers::pi * radius_px * radius_px, squares = square_area_px(area);
    const double whole = of_square(2.0 * radius_px);
    // Shares of rim pixels take from a pixel's own variance, not from what it shares with its neighbours.
    return std::sqrt(std::max(1.0, (area * whole * whole - (area - squares)) / squares));
}

NoiseGrowth noise_growth(std::span<const BlockScale> scales) {
    std::vector<double> sides, spreads, weights;
    bool wider = false;
    for (const BlockScale& scale : scales) {
        if (scale.pulls.size() < least_blocks) continue;
        const double centre = numerics::median(scale.pulls);
        const double spread =
            numerics::mad_to_sigma * numerics::median_absolute_deviation(scale.pulls, centre);
        const double err = spread_uncertainty / std::sqrt(static_cast<double>(scale.pulls.size()));
        wider = wider || spread > 1.0 + chance_sigma * err;
        sides.push_back(scale.side_px);
        spreads.push_back(spread);
        weights.push_back(1.0 / std::pow(err * std::max(spread, 1.0), 2.0));
    }
    if (!wider) return {};
    const auto fitted = [&](std::size_t terms) {
        numerics::Matrix a(sides.size(), terms);
        for (std::size_t i = 0; i < sides.size(); ++i) {
            const std::array<double, 3> row{1.0, -1.0 / sides[i], sides[i]};
            for (std::size_t j = 0; j < terms; ++j)
                a(i, j) = row[j];
        }
        return numerics::linear_fit(a, spreads, weights);
    };
    NoiseGrowth growth;
    growth.smallest_px = sides.front();
    growth.largest_px = sides.back();
    const auto plain = fitted(2);
    if (!plain) {
        growth.f = spreads.front();
        return growth;
    }
    growth.f = plain->parameters[0];
    growth.g = plain->parameters[1];
    const auto uneven = fitted(3);
    if (uneven && uneven->parameters[2] > 0.0 && plain->chi2 - uneven->chi2 > chance_sigma * chance_sigma) {
        growth.f = uneven->parameters[0];
        growth.g = uneven->parameters[1];
        growth.h_per_px = uneven->parameters[2];
    }
    return growth;
}

void add_lag_products(const frame::PixelBox& box, int lag,
                      const std::function<std::optional<double>(int x, int y)>& deviation, LagProducts& out) {
    const auto width = static_cast<std::size_t>(box.width), height = static_cast<std::size_t>(box.height);
    std::vector<double> all;  // NaN where there is none
    all.reserve(width * height);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x)
            all.push_back(deviation(x, y).value_or(std::numeric_limits<double>::quiet_NaN()));
    }
    const auto pair = [&](double a, double b) {
        const double product = a * b;
        if (std::isnan(product)) return;
        out.sum += product;
        out.squares += 0.5 * (a * a + b * b);
    };
    const auto apart = static_cast<std::size_t>(lag);
    for (std::size_t y = 0; y < height; ++y) {
        const double* row = all.data() + y * width;
        const bool above = y + apart < height;
        for (std::size_t x = 0; x < width; ++x) {
            if (std::isnan(row[x])) continue;
            if (x + apart < width) pair(row[x], row[x + apart]);
            if (above) pair(row[x], row[x + apart * width]);
        }
    }
}

}  // namespace emberline::photometry
