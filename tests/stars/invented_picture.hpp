// SPDX-License-Identifier: MIT
// tests/stars/invented_picture — Gaussian stars, integrated over pixels, on a sky with noise.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "numerics/random.hpp"

namespace emberline::test {

inline constexpr double fwhm_of_sigma = 2.3548200450309493;

inline frame::Cutout flat_sky(int width, int height, double level) {
    return {{0, 0, width, height},
            std::vector<float>(static_cast<std::size_t>(width) * static_cast<std::size_t>(height),
                               static_cast<float>(level))};
}

inline void add_star(frame::Cutout& picture, double x, double y, double flux, double fwhm_px) {
    const double scale = fwhm_of_sigma / (fwhm_px * std::numbers::sqrt2);
    const auto share = [&](double d) {
        return 0.5 * (std::erf((d + 0.5) * scale) - std::erf((d - 0.5) * scale));
    };
    const int reach = static_cast<int>(std::ceil(3.0 * fwhm_px)) + 1;
    for (int j = static_cast<int>(y) - reach; j <= static_cast<int>(y) + reach; ++j) {
        for (int i = static_cast<int>(x) - reach; i <= static_cast<int>(x) + reach; ++i) {
            if (picture.contains(i, j))
                picture.at(i, j) += static_cast<float>(flux * share(i - x) * share(j - y));
        }
    }
}

// Drawn out evenly from one place to another.
inline void add_line(frame::Cutout& picture, const frame::PixelPosition& from, const frame::PixelPosition& to,
                     double flux_a_px, double fwhm_px) {
    const double length = std::hypot(to.x - from.x, to.y - from.y);
    const int pieces = static_cast<int>(std::ceil(2.0 * length));
    for (int i = 0; i < pieces; ++i) {
        const double t = (i + 0.5) / pieces;
        add_star(picture, from.x + t * (to.x - from.x), from.y + t * (to.y - from.y),
                 flux_a_px * length / pieces, fwhm_px);
    }
}

// Of independent pixels, with the photons of what stands above `sky` where a gain is given.
inline void add_noise(frame::Cutout& picture, double sigma, numerics::Random& random, double sky = 0.0,
                      double gain_e_per_adu = 0.0) {
    for (float& v : picture.adu) {
        const double light = gain_e_per_adu > 0.0 ? std::max(0.0, static_cast<double>(v) - sky) : 0.0;
        const double variance = sigma * sigma + (light > 0.0 ? light / gain_e_per_adu : 0.0);
        v = static_cast<float>(random.gaussian(static_cast<double>(v), std::sqrt(variance)));
    }
}

}  // namespace emberline::test
