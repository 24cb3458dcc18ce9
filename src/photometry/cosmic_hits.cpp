// SPDX-License-Identifier: MIT
// In the manner of van Dokkum 2001 (PASP 113, 1420): what is sharper than the optics did not come through
// them.
#include "photometry/cosmic_hits.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double clear_sigma = 6.0;
constexpr double sharper = 1.5;         // than the middle of a star that sits on a pixel's centre
constexpr double most_contrast = 20.0;  // sharper stars than that cannot be told from hits

std::vector<double> neighbours(const std::vector<double>& v, const frame::PixelBox& box, int column, int row,
                               const std::vector<bool>* left_out) {
    std::vector<double> near;
    for (int dy = -1; dy <= 1; ++dy) {
        for (int dx = -1; dx <= 1; ++dx) {
            const int x = column + dx, y = row + dy;
            if ((dx == 0 && dy == 0) || x < 0 || y < 0 || x >= box.width || y >= box.height) continue;
            const auto k = static_cast<std::size_t>(y) * static_cast<std::size_t>(box.width) +
                           static_cast<std::size_t>(x);
            if (left_out == nullptr || !(*left_out)[k]) near.push_back(v[k]);
        }
    }
    return near;
}

}  // namespace

std::vector<bool> cosmic_hits(const PixelPlane& light, const Psf& psf, const PixelNoise& noise) {
    std::vector<bool> hits(light.v.size(), false);
    const frame::PixelBox three{-1, -1, 3, 3};
    const std::vector<double> star = psf.stamp({0.0, 0.0}, three);
    const double beside = numerics::median(neighbours(star, three, 1, 1, nullptr));
    if (!(beside > 0.0)) return hits;
    const double contrast = sharper * (star[4] - beside) / beside;
    if (contrast > most_contrast) return hits;
    for (std::size_t k = 0; k < hits.size(); ++k) {
        const int column = static_cast<int>(k) % light.box.width, row = static_cast<int>(k) / light.box.width;
        const double around = numerics::median(neighbours(light.v, light.box, column, row, nullptr));
        const double above = light.v[k] - around;
        const double sigma = std::sqrt(1.2 * noise.variance_adu2(around));
        hits[k] = above > clear_sigma * sigma + contrast * std::max(0.0, around);
    }
    return hits;
}

void fill_hits(ReadyPixels& pixels, const std::vector<bool>& hits, const Psf& psf,
               const frame::PixelPosition& star) {
    const frame::PixelBox& box = pixels.light.box;
    const std::vector<double> shares = psf.stamp(star, box);
    const double peak = *std::max_element(shares.begin(), shares.end());
    constexpr double near_share = 0.02;
    const std::vector<double> before = pixels.light.v;
    for (std::size_t k = 0; k < hits.size(); ++k) {
        if (!hits[k]) continue;
        const int column = static_cast<int>(k) % box.width, row = static_cast<int>(k) / box.width;
        const std::vector<double> near = neighbours(before, box, column, row, &hits);
        if (near.size() < 3) {
            pixels.doubt_adu[k] = std::abs(before[k]);
            continue;
        }
        pixels.light.v[k] = numerics::median(near);
        if (!(peak > 0.0) || shares[k] < near_share * peak) continue;
        // level + flux · share over the pixels beside it.
        double n = 0.0, s = 0.0, ss = 0.0, v = 0.0, sv = 0.0;
        for (int y = std::max(0, row - 2); y <= std::min(box.height - 1, row + 2); ++y) {
            for (int x = std::max(0, column - 2); x <= std::min(box.width - 1, column + 2); ++x) {
                const auto i = static_cast<std::size_t>(y) * static_cast<std::size_t>(box.width) +
                               static_cast<std::size_t>(x);
                if (hits[i]) continue;
                n += 1.0, s += shares[i], ss += shares[i] * shares[i];
                v += before[i], sv += shares[i] * before[i];
            }
        }
        const double determinant = n * ss - s * s;
        if (!(determinant > 1e-12 * n * ss)) continue;
        const double flux = (n * sv - s * v) / determinant;
        pixels.light.v[k] = (v - flux * s) / n + flux * shares[k];
    }
}

}  // namespace emberline::photometry
