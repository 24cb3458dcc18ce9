// SPDX-License-Identifier: MIT
#include "rehearsal/picture_filters.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>

#include "numerics/robust.hpp"

namespace emberline::rehearsal {
namespace {

int mirrored(int i, int n) {
    while (i < 0 || i >= n)
        i = i < 0 ? -i : 2 * (n - 1) - i;
    return i;
}

std::size_t index(const Picture& p, int x, int y) {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(p.width_px) + static_cast<std::size_t>(x);
}

// Along rows, then columns, with the weights `step_px` pixels apart.
Picture convolved(const Picture& picture, std::span<const double> weights, int step_px) {
    const int reach = static_cast<int>(weights.size()) / 2;
    Picture across = picture, out = picture;
    const auto pass = [&](const Picture& from, Picture& to, int dx, int dy) {
        for (int y = 0; y < from.height_px; ++y) {
            for (int x = 0; x < from.width_px; ++x) {
                double sum = 0.0;
                for (int k = -reach; k <= reach; ++k) {
                    const int i = mirrored(x + k * step_px * dx, from.width_px);
                    const int j = mirrored(y + k * step_px * dy, from.height_px);
                    sum += weights[static_cast<std::size_t>(k + reach)] *
                           static_cast<double>(from.adu[index(from, i, j)]);
                }
                to.adu[index(to, x, y)] = static_cast<float>(sum);
            }
        }
    };
    pass(picture, across, 1, 0);
    pass(across, out, 0, 1);
    return out;
}

template <class Change>
Picture changed(const Picture& picture, Change change) {
    Picture out = picture;
    for (std::size_t i = 0; i < out.adu.size(); ++i)
        out.adu[i] = static_cast<float>(change(i, static_cast<double>(picture.adu[i])));
    return out;
}

double scatter_of(const std::vector<float>& values) {
    std::vector<double> sizes(values.begin(), values.end());
    const double centre = numerics::median(sizes);
    return numerics::mad_to_sigma * numerics::median_absolute_deviation(sizes, centre);
}

}  // namespace

Picture blurred(const Picture& picture, double sigma_px) {
    const int reach = std::max(1, static_cast<int>(std::ceil(3.5 * sigma_px)));
    std::vector<double> weights;
    double sum = 0.0;
    for (int k = -reach; k <= reach; ++k) {
        weights.push_back(std::exp(-0.5 * k * k / (sigma_px * sigma_px)));
        sum += weights.back();
    }
    for (double& w : weights)
        w /= sum;
    return convolved(picture, weights, 1);
}

Picture unsharp_masked(const Picture& picture, double sigma_px, double amount) {
    const Picture soft = blurred(picture, sigma_px);
    return changed(picture, [&](std::size_t i, double v) {
        return v + amount * (v - static_cast<double>(soft.adu[i]));
    });
}

Picture restored(const Picture& picture, double sigma_px, int rounds) {
    Picture guess = picture;
    for (int round = 0; round < rounds; ++round) {
        const Picture seen = blurred(guess, sigma_px);
        const Picture ratio = changed(picture, [&](std::size_t i, double v) {
            return std::max(v, 0.0) / std::max(static_cast<double>(seen.adu[i]), 1e-3);
        });
        const Picture back = blurred(ratio, sigma_px);
        guess = changed(guess, [&](std::size_t i, double v) { return v * static_cast<double>(back.adu[i]); });
    }
    return guess;
}

Picture middle_of_neighbours(const Picture& picture, int reach_px) {
    Picture out = picture;
    std::vector<float> around;
    for (int y = 0; y < picture.height_px; ++y) {
        for (int x = 0; x < picture.width_px; ++x) {
            around.clear();
            const int reach = std::max(1, reach_px);
            for (int v = -reach; v <= reach; ++v) {
                for (int u = -reach; u <= reach; ++u) {
                    if (reach_px == 0 && u != 0 && v != 0) continue;
                    around.push_back(picture.adu[index(picture, mirrored(x + u, picture.width_px),
                                                       mirrored(y + v, picture.height_px))]);
                }
            }
            const auto middle = around.begin() + static_cast<std::ptrdiff_t>(around.size() / 2);
            std::nth_element(around.begin(), middle, around.end());
            out.adu[index(out, x, y)] = *middle;
        }
    }
    return out;
}

Picture shrunk(const Picture& picture, double threshold, int scales) {
    constexpr std::array spline{1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0};
    Picture smooth = picture;
    std::vector<double> kept(picture.adu.size(), 0.0);
    for (int scale = 0; scale < scales; ++scale) {
        const Picture smoother = convolved(smooth, spline, 1 << scale);
        std::vector<float> detail(kept.size());
        for (std::size_t i = 0; i < kept.size(); ++i)
            detail[i] = smooth.adu[i] - smoother.adu[i];
        const double limit = threshold * scatter_of(detail);
        for (std::size_t i = 0; i < kept.size(); ++i) {
            const auto d = static_cast<double>(detail[i]);
            kept[i] += std::copysign(std::max(std::abs(d) - limit, 0.0), d);
        }
        smooth = smoother;
    }
    return changed(smooth, [&](std::size_t i, double v) { return v + kept[i]; });
}

Picture background_removed(const Picture& picture, int tile_px) {
    const int columns = std::max(1, picture.width_px / tile_px),
              rows = std::max(1, picture.height_px / tile_px);
    std::vector<double> levels;
    for (int r = 0; r < rows; ++r) {
        for (int c = 0; c < columns; ++c) {
            std::vector<double> tile;
            for (int y = r * tile_px; y < std::min((r + 1) * tile_px, picture.height_px); ++y) {
                for (int x = c * tile_px; x < std::min((c + 1) * tile_px, picture.width_px); ++x)
                    tile.push_back(static_cast<double>(picture.adu[index(picture, x, y)]));
            }
            levels.push_back(numerics::median(std::move(tile)));
        }
    }
    const auto level = [&](int c, int r) {
        return levels[static_cast<std::size_t>(std::clamp(r, 0, rows - 1) * columns +
                                               std::clamp(c, 0, columns - 1))];
    };
    Picture out = picture;
    for (int y = 0; y < picture.height_px; ++y) {
        for (int x = 0; x < picture.width_px; ++x) {
            const double u = (x + 0.5) / tile_px - 0.5, v = (y + 0.5) / tile_px - 0.5;
            const int c = static_cast<int>(std::floor(u)), r = static_cast<int>(std::floor(v));
            const double a = u - c, b = v - r;
            const double sky = (1.0 - b) * ((1.0 - a) * level(c, r) + a * level(c + 1, r)) +
                               b * ((1.0 - a) * level(c, r + 1) + a * level(c + 1, r + 1));
            out.adu[index(out, x, y)] -= static_cast<float>(sky);
        }
    }
    return out;
}

}  // namespace emberline::rehearsal
