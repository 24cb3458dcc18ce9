// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_pixels.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::photometry::smooth {
namespace {

constexpr double star_sigmas = 6.0;  // a pixel this far off starts a mask …
constexpr double wing_sigmas = 2.5;  // … which grows over neighbours this far off
// What is left of the structure's variance at the lag used: a bump of two FWHM, one FWHM on.
constexpr double shared_at_lag = 0.78;
constexpr std::size_t fewest_pairs = 40;

}  // namespace

frame::PixelBox PixelMap::near(const frame::PixelPosition& place, double reach_px) const {
    const auto first = [&](double c, int low, int count) {
        return static_cast<int>(std::clamp(std::ceil(c - reach_px), low + 0.0, low + count + 0.0));
    };
    const auto last = [&](double c, int low, int count) {
        return static_cast<int>(std::clamp(std::floor(c + reach_px), low - 1.0, low + count - 1.0));
    };
    const int x0 = first(place.x, box.x0, box.width), y0 = first(place.y, box.y0, box.height);
    return {x0, y0, last(place.x, box.x0, box.width) - x0 + 1, last(place.y, box.y0, box.height) - y0 + 1};
}

PixelMap pixel_map(const Surroundings& around) {
    PixelMap map;
    map.box = around.cutout.box;
    const std::size_t n = around.cutout.adu.size();
    const double noise = around.sky_scatter_adu * around.sky_scatter_adu;
    map.light_adu.assign(n, 0.0);
    map.variance_adu2.assign(n, noise);
    map.rough_adu2.assign(n, 0.0);
    map.used.assign(n, 0);
    for (std::size_t i = 0; i < n; ++i) {
        const auto adu = static_cast<double>(around.cutout.adu[i]);
        if (!std::isfinite(adu) || adu >= around.saturation_adu) continue;
        map.light_adu[i] = adu - around.sky_adu;
        map.used[i] = 1;
    }
    return map;
}

double structure_variance(const PixelMap& pixels, const std::vector<double>& residual_adu,
                          const std::vector<char>& take, int lag_px) {
    const int width = pixels.box.width, height = pixels.box.height;
    std::vector<double> products;
    const auto pair = [&](int x, int y, int dx, int dy) {
        if (x + dx >= width || y + dy >= height || y + dy < 0) return;
        const auto a =
            static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x);
        const auto b = static_cast<std::size_t>(y + dy) * static_cast<std::size_t>(width) +
                       static_cast<std::size_t>(x + dx);
        if (take[a] != 0 && take[b] != 0) products.push_back(residual_adu[a] * residual_adu[b]);
    };
    const int slanted = std::max(1, static_cast<int>(std::lround(lag_px * 0.7071)));
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            pair(x, y, lag_px, 0);
            pair(x, y, 0, lag_px);
            pair(x, y, slanted, slanted);
            pair(x, y, slanted, -slanted);
        }
    }
    if (products.size() < fewest_pairs) return 0.0;
    const numerics::ClippedMean mean = numerics::clipped_mean(products, 10.0, 10.0);
    return mean.used > 0 ? std::max(0.0, mean.mean / shared_at_lag) : 0.0;
}

void mask_outliers(PixelMap& pixels, const std::vector<double>& residual_adu, const std::vector<char>& keep) {
    const std::size_t n = pixels.size();
    const auto pull = [&](std::size_t i) {
        return residual_adu[i] / std::sqrt(pixels.variance_adu2[i] + pixels.rough_adu2[i]);
    };
    std::vector<std::size_t> open;
    for (std::size_t i = 0; i < n; ++i) {
        if (pixels.used[i] != 0 && keep[i] == 0 && std::abs(pull(i)) > star_sigmas) {
            pixels.used[i] = 0;
            open.push_back(i);
        }
    }
    const auto width = static_cast<std::size_t>(pixels.box.width);
    while (!open.empty()) {
        const std::size_t i = open.back();
        open.pop_back();
        const std::size_t x = i % width;
        const auto spread = [&](bool inside, std::size_t j) {
            if (!inside || pixels.used[j] == 0 || keep[j] != 0 || pull(j) < wing_sigmas) return;
            pixels.used[j] = 0;
            open.push_back(j);
        };
        spread(x > 0, i - 1);
        spread(x + 1 < width, i + 1);
        spread(i >= width, i - width);
        spread(i + width < n, i + width);
    }
}

}  // namespace emberline::photometry::smooth
