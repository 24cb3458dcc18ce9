// SPDX-License-Identifier: MIT
// Notation: D(k) mean squared difference, about its mean, of pixels k apart along rows and columns. With H
// the blur of the picture's making and P that of air, optics and pixel, noise has the power |H|², a star
// |H P|². D(k)/D(2k) is the mean of 1/(2 + 2 cos kω) over frequencies ω, weighted by power times 1 − cos 2kω:
// it grows with ω, and P, which falls with ω, can only make it smaller for stars than for noise.
#include "photometry/sky_texture.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double source_sigma = 4.0;  // a pixel further from the sky belongs to something
constexpr double star_reach_fwhm = 1.5;
constexpr double least_pairs = 150.0;
constexpr double narrow = 0.25;  // of the differences' scatter: where their distribution is flat

struct Differences {
    double n = 0.0, sum = 0.0, squares = 0.0;
    void add(double d) {
        n += 1.0;
        sum += d;
        squares += d * d;
    }
    [[nodiscard]] double variance() const { return n > 1.0 ? squares / n - sum * sum / (n * n) : 0.0; }
};

struct PlaceTexture {
    double sky_near = 0.0, sky_far = 0.0, neighbours = 0.0;  // D(k), D(2k), D(1)
    double star_near = 0.0, star_far = 0.0;
};

// Pixels less the sky's plane; NaN where they are not of the kind wanted.
std::vector<float> rests(const TexturePlace& place, double inner_px, double outer_px, double most_adu) {
    const frame::PixelBox& box = place.cutout->box;
    std::vector<float> rest(place.cutout->adu.size(), std::nanf(""));
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        const double v = y - place.centre.y;
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double u = x - place.centre.x, r2 = u * u + v * v;
            if (r2 < inner_px * inner_px || r2 > outer_px * outer_px) continue;
            const double d = static_cast<double>(place.cutout->at(x, y)) - place.sky.level_adu -
                             place.sky.slope_x_adu * u - place.sky.slope_y_adu * v;
            if (std::abs(d) < most_adu)
                rest[static_cast<std::size_t>(y - box.y0) * static_cast<std::size_t>(box.width) +
                     static_cast<std::size_t>(x - box.x0)] = static_cast<float>(d);
        }
    }
    return rest;
}

template <class Each>
void over_pairs(const std::vector<float>& rest, const frame::PixelBox& box, int lag_px, Each each) {
    const auto width = static_cast<std::size_t>(box.width), lag = static_cast<std::size_t>(lag_px);
    for (std::size_t y = 0; y < static_cast<std::size_t>(box.height); ++y) {
        for (std::size_t x = 0; x < width; ++x) {
            const float own = rest[y * width + x];
            if (!std::isfinite(own)) continue;
            if (x + lag < width && std::isfinite(rest[y * width + x + lag]))
                each(static_cast<double>(rest[y * width + x + lag]) - static_cast<double>(own), 0);
            if (y + lag < static_cast<std::size_t>(box.height) && std::isfinite(rest[(y + lag) * width + x]))
                each(static_cast<double>(rest[(y + lag) * width + x]) - static_cast<double>(own), 1);
        }
    }
}

double mean_square(const std::vector<float>& rest, const frame::PixelBox& box, int lag_px) {
    std::array<Differences, 2> axes{};
    over_pairs(rest, box, lag_px, [&](double d, int axis) { axes[static_cast<std::size_t>(axis)].add(d); });
    if (axes[0].n + axes[1].n < least_pairs) return 0.0;
    return 0.5 * (axes[0].variance() + axes[1].variance());
}

struct Middle {
    double value = 0.0, err = 0.0;
};
Middle middle_of(const std::vector<double>& values, double otherwise_err) {
    const double centre = numerics::median(values);
    const double n = static_cast<double>(values.size());
    const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(values, centre);
    return {centre, 1.25 * std::max(spread, otherwise_err) / std::sqrt(n)};
}

}  // namespace

SkyTexture sky_texture(std::span<const TexturePlace> places, double fwhm_px, double step_adu) {
    SkyTexture texture;
    texture.lag_px = std::max(1, static_cast<int>(std::lround(fwhm_px / 3.0)));
    std::vector<double> sky_ratios, star_ratios, correlations;
    double pairs = 0.0, equal = 0.0, close = 0.0;
    double close_width = 0.0;
    for (const TexturePlace& place : places) {
        const double s = place.sky.scatter_adu;
        if (place.cutout == nullptr || !(s > 0.0)) continue;
        const frame::PixelBox& box = place.cutout->box;
        const auto sky = rests(place, place.annulus.inner_px, place.annulus.outer_px, source_sigma * s);
        const double near = mean_square(sky, box, texture.lag_px);
        const double far = mean_square(sky, box, 2 * texture.lag_px);
        const double neighbours = texture.lag_px == 1 ? near : mean_square(sky, box, 1);
        if (!(near > 0.0) || !(far > 0.0)) continue;
        sky_ratios.push_back(near / far);
        correlations.push_back(1.0 - 0.5 * neighbours / (s * s));
        const double width = std::max(narrow * std::sqrt(neighbours), 1.01 * step_adu);
        const double tie = 1e-6 * s;
        over_pairs(sky, box, 1, [&](double, int) { pairs += 1.0; });
        // Ties are of the pixels themselves: a plane taken away would break them.
        for (std::size_t i = 0; i + 1 < sky.size(); ++i) {
            const bool row_ends = (i + 1) % static_cast<std::size_t>(box.width) == 0;
            if (row_ends || !std::isfinite(sky[i]) || !std::isfinite(sky[i + 1])) continue;
            const double d = std::abs(static_cast<double>(place.cutout->adu[i + 1]) -
                                      static_cast<double>(place.cutout->adu[i]));
            if (d <= tie) {
                equal += 1.0;
            } else if (d <= width) {
                close += step_adu > 0.0 ? 1.0 / (2.0 * std::floor(width / step_adu)) : 0.0;
            }
        }
        close_width += width;
        if (!place.star_usable) continue;
        const auto star = rests(place, 0.0, star_reach_fwhm * fwhm_px + 2.0 * texture.lag_px, 1e30);
        const double star_near = mean_square(star, box, texture.lag_px) - near;
        const double star_far = mean_square(star, box, 2 * texture.lag_px) - far;
        if (star_near > 20.0 * near && star_far > 20.0 * far) star_ratios.push_back(star_near / star_far);
    }
    if (!sky_ratios.empty()) {
        const Middle m = middle_of(sky_ratios, 0.02);
        texture.sky_ratio = m.value;
        texture.sky_ratio_err = m.err;
        texture.lag_correlation = numerics::median(correlations);
    }
    if (!star_ratios.empty()) {
        const Middle m = middle_of(star_ratios, 0.01);
        texture.star_ratio = m.value;
        texture.star_ratio_err = m.err;
    }
    texture.skies = sky_ratios.size();
    texture.stars = star_ratios.size();
    if (pairs > 0.0) {
        pairs *= 0.5;  // along rows alone
        texture.ties = (equal - close) / pairs;
        texture.ties_err = std::sqrt(equal + close + 1.0) / pairs;
    }
    return texture;
}

}  // namespace emberline::photometry
