// SPDX-License-Identifier: MIT
// Notation: D(k) mean squared difference, about its mean, of pixels k apart along rows and columns. With H
// the blur of the picture's making and P that of air, optics and pixel, noise has the power |H|², a star
// |H P|². D(k)/D(2k) is the mean of 1/(2 + 2 cos kω) over frequencies ω, weighted by power times 1 − cos 2kω:
// it grows with ω, and P, which falls with ω, can only make it smaller for stars than for noise.
#include "photometry/sky_texture.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double source_sigma = 4.0;  // a pixel further from the sky belongs to something
constexpr double star_reach_fwhm = 1.5;
constexpr double least_star = 20.0;  // its differences over the sky's
constexpr double least_steps = 2.0;  // of the levels within a scatter: else they hide how it is distributed
constexpr double least_pairs = 60.0;
constexpr std::size_t most_tails = 12000;  // differences that tell their distribution

struct Differences {
    double n = 0.0, sum = 0.0, squares = 0.0;
    void add(double d) {
        n += 1.0;
        sum += d;
        squares += d * d;
    }
    [[nodiscard]] double variance() const { return n > 1.0 ? squares / n - sum * sum / (n * n) : 0.0; }
};

// Pixels less the sky's plane; NaN where they are not of the kind wanted.
std::vector<float> rests(const TexturePlace& place, double inner_px, double outer_px, double most_adu,
                         double lowest_adu) {
    const frame::PixelBox& box = place.cutout->box;
    std::vector<float> rest(place.cutout->adu.size(), std::nanf(""));
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        const double v = y - place.centre.y;
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double u = x - place.centre.x, r2 = u * u + v * v;
            if (r2 < inner_px * inner_px || r2 > outer_px * outer_px) continue;
            const auto adu = static_cast<double>(place.cutout->at(x, y));
            const double d =
                adu - place.sky.level_adu - place.sky.slope_x_adu * u - place.sky.slope_y_adu * v;
            if (std::abs(d) < most_adu && adu > lowest_adu) rest[box.index(x, y)] = static_cast<float>(d);
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

// Of the stored pixels themselves, along rows: a plane taken away would break ties.
struct Ties {
    double pairs = 0.0, equal = 0.0;
};
Ties ties_of(const TexturePlace& place, const std::vector<float>& sky) {
    Ties ties;
    const auto width = static_cast<std::size_t>(place.cutout->box.width);
    const double same = 1e-6 * place.sky.scatter_adu;
    for (std::size_t i = 0; i + 1 < sky.size(); ++i) {
        if ((i + 1) % width == 0 || !std::isfinite(sky[i]) || !std::isfinite(sky[i + 1])) continue;
        const double d =
            static_cast<double>(place.cutout->adu[i + 1]) - static_cast<double>(place.cutout->adu[i]);
        ties.pairs += 1.0;
        ties.equal += std::abs(d) <= same ? 1.0 : 0.0;
    }
    return ties;
}

// That two Gaussian numbers, rounded to steps q, become one: the integral of (1 − |x|/q) over the density of
// their difference, whose variance rounding had raised by q²/6 (Sheppard 1898, Proc. London Math. Soc. 29,
// 353).
double chance_of_tie(double mean_square, double step) {
    if (!(step > 0.0)) return 0.0;
    const double v = mean_square - step * step / 6.0;
    if (!(v > 0.01 * step * step)) return 1.0;
    const double t = step / std::sqrt(2.0 * v);
    return std::erf(t) - (1.0 - std::exp(-t * t)) / (t * std::sqrt(std::numbers::pi));
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

SkyTexture sky_texture(std::span<const TexturePlace> places, double fwhm_px, double step_adu,
                       double lowest_adu) {
    SkyTexture texture;
    texture.lag_px = std::max(1, static_cast<int>(std::lround(fwhm_px / 3.0)));
    std::vector<double> sky_ratios, star_ratios, correlations, seconds;
    std::vector<float> tails;
    numerics::Random spread(1);
    double pairs = 0.0, equal = 0.0, expected = 0.0;
    for (const TexturePlace& place : places) {
        const double s = place.sky.scatter_adu;
        if (place.cutout == nullptr || !(s > 0.0)) continue;
        const frame::PixelBox& box = place.cutout->box;
        const auto sky =
            rests(place, place.annulus.inner_px, place.annulus.outer_px, source_sigma * s, lowest_adu);
        const double near = mean_square(sky, box, texture.lag_px);
        const double far = mean_square(sky, box, 2 * texture.lag_px);
        const double neighbours = texture.lag_px == 1 ? near : mean_square(sky, box, 1);
        if (!(near > 0.0) || !(far > 0.0)) continue;
        sky_ratios.push_back(near / far);
        const double second = texture.lag_px == 1   ? far
                              : texture.lag_px == 2 ? near
                                                    : mean_square(sky, box, 2);
        correlations.push_back(1.0 - 0.5 * neighbours / (s * s));
        seconds.push_back(1.0 - 0.5 * second / (s * s));
        const Ties ties = ties_of(place, sky);
        pairs += ties.pairs;
        equal += ties.equal;
        expected += ties.pairs * chance_of_tie(neighbours, step_adu);
        if (tails.size() < most_tails && s > least_steps * step_adu) {
            // Whole numbers have no quantiles between them: each is spread over its step.
            over_pairs(sky, box, 1, [&](double d, int) {
                tails.push_back(static_cast<float>(std::abs(d + step_adu * (spread.uniform() - 0.5)) / s));
            });
        }
        if (!place.star_usable) continue;
        const auto star =
            rests(place, 0.0, star_reach_fwhm * fwhm_px + 2.0 * texture.lag_px, 1e30, lowest_adu);
        const double star_near = mean_square(star, box, texture.lag_px) - near;
        const double star_far = mean_square(star, box, 2 * texture.lag_px) - far;
        if (star_near > least_star * near && star_far > least_star * far)
            star_ratios.push_back(star_near / star_far);
    }
    texture.skies = sky_ratios.size();
    texture.stars = star_ratios.size();
    if (!sky_ratios.empty()) {
        const Middle ratio = middle_of(sky_ratios, 0.02), correlation = middle_of(correlations, 0.035);
        texture.sky_ratio = ratio.value;
        texture.sky_ratio_err = ratio.err;
        texture.lag_correlation = correlation.value;
        texture.lag_correlation_err = correlation.err;
        texture.second_correlation = numerics::median(seconds);
    }
    if (!star_ratios.empty()) {
        const Middle m = middle_of(star_ratios, 0.01);
        texture.star_ratio = m.value;
        texture.star_ratio_err = m.err;
    }
    if (pairs > 0.0) {
        texture.ties = (equal - expected) / pairs;
        texture.ties_err = std::sqrt(equal + 1.0) / pairs;
    }
    if (tails.size() > 200) {
        const auto at = [&](double q) {
            const auto place =
                tails.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(tails.size()));
            std::nth_element(tails.begin(), place, tails.end());
            return static_cast<double>(*place);
        };
        const double high = at(0.9);
        texture.tail_ratio = at(0.5) / high;
        // Of Gaussian quantiles, with neighbouring differences half dependent.
        texture.tail_ratio_err = 0.8 / std::sqrt(static_cast<double>(tails.size()));
    }
    return texture;
}

}  // namespace emberline::photometry
