// SPDX-License-Identifier: MIT
// Notation: G(x) the gathered image times the pixel's overlap with the circle, x from the star's centre c to
// a pixel's. The sum over the lattice is S(c) = Σ_ij G(ij − c) = Σ_k Ĝ(k) e^{2πi k·c} by Poisson's formula:
// its mean over all places is Ĝ(0) = ∫ G, which an infinitely fine lattice would give, and the rest is
// ripple. G(−x) = G(x), so that the series has cosines alone.
#include "photometry/sampling.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "numerics/gauss_legendre.hpp"
#include "photometry/circle_pixel.hpp"

namespace emberline::photometry {
namespace {

constexpr double half_diagonal = std::numbers::sqrt2 / 2.0;
constexpr int places = 8;         // of the series' support, an axis
constexpr int most_harmonic = 3;  // below the half of that: what lies above is 1e-4 at a FWHM of 0.8 px
// What is left after correction is as large as what images narrower by so much would differ by: by simulation
// of images that are no Moffat profile (Gaussian, trailed by half their width), with the profile fitted to
// them. Half-defocused ones leave twice to four times of it.
constexpr double unknown_width = 0.04;
constexpr double unknown_ripple = 0.05;  // at the least, of the ripple itself: where width does not tell
constexpr double least_sum = 0.2;        // of the mean: below it there is nothing to correct

using numerics::QuadratureRule;
const QuadratureRule& rule_at(double distance_px, double fwhm_px, double side_px) {
    const double sides = fwhm_px / side_px;
    if (distance_px < 1.2 * fwhm_px + 0.7 * side_px)
        return sides < 2.4 ? numerics::five_points : numerics::three_points;
    return sides < 2.4 || distance_px < 2.0 * fwhm_px ? numerics::two_points : numerics::one_point;
}

using PlaceSums = std::vector<double>;  // one a radius

// Sums of light, and of light squared, one a radius.
struct PlaceLight {
    PlaceSums light, square;
};

// For a star at `centre` within a cell, by each of the images: where a circle cuts pixels is found once.
void sum_at(std::span<const GatheredImage> images, const frame::PixelPosition& centre,
            std::span<const double> radii_px, std::span<PlaceLight> sums) {
    const std::size_t n = radii_px.size();
    std::vector<PlaceLight> whole(images.size(), {PlaceSums(n, 0.0), PlaceSums(n, 0.0)});
    for (PlaceLight& sum : sums) {
        sum.light.assign(n, 0.0);
        sum.square.assign(n, 0.0);
    }
    const double reach = radii_px.back() + half_diagonal;
    const int last = static_cast<int>(std::ceil(reach)) + 1;
    std::vector<double> share(images.size());
    for (int j = -last; j <= last; ++j) {
        for (int i = -last; i <= last; ++i) {
            const double dx = i - centre.x, dy = j - centre.y;
            const double distance = std::sqrt(dx * dx + dy * dy);
            if (distance >= reach) continue;
            for (std::size_t m = 0; m < images.size(); ++m)
                share[m] = images[m].at(dx, dy);
            const auto first = std::upper_bound(radii_px.begin(), radii_px.end(), distance - half_diagonal);
            for (auto k = static_cast<std::size_t>(first - radii_px.begin()); k < n; ++k) {
                const bool inside = radii_px[k] >= distance + half_diagonal;
                const double overlap = inside ? 1.0 : circle_pixel_overlap(dx, dy, radii_px[k]);
                for (std::size_t m = 0; m < images.size(); ++m) {
                    PlaceLight& to = inside ? whole[m] : sums[m];
                    const double part = share[m] * overlap;
                    to.light[k] += part;
                    to.square[k] += part * part;
                }
                if (inside) break;
            }
        }
    }
    for (std::size_t m = 0; m < images.size(); ++m) {
        double light = 0.0, square = 0.0;
        for (std::size_t k = 0; k < n; ++k) {
            light += whole[m].light[k];
            square += whole[m].square[k];
            sums[m].light[k] += light;
            sums[m].square[k] += square;
        }
    }
}

}  // namespace

GatheredImage::GatheredImage(const SampledImage& image)
    : beta_(image.moffat_beta), fwhm_px_(image.fwhm_px), side_px_(image.square.side_px) {
    const double core = 0.5 * image.fwhm_px / std::sqrt(std::exp2(1.0 / beta_) - 1.0);
    const double stretch = std::sqrt(image.elongation);
    const double along = 1.0 / (core * stretch), across = stretch / core;
    const double c = std::cos(image.direction.radians()), s = std::sin(image.direction.radians());
    xx_ = c * c * along * along + s * s * across * across;
    yy_ = s * s * along * along + c * c * across * across;
    xy_ = c * s * (along * along - across * across);
    peak_ = (beta_ - 1.0) / (std::numbers::pi * core * core);
    if (image.square.turned) turn_x_ = turn_y_ = 1.0 / std::numbers::sqrt2;
}

double GatheredImage::at(double dx_px, double dy_px) const {
    const QuadratureRule& rule = rule_at(std::sqrt(dx_px * dx_px + dy_px * dy_px), fwhm_px_, side_px_);
    double sum = 0.0;
    for (std::size_t i = 0; i < rule.n; ++i) {
        for (std::size_t j = 0; j < rule.n; ++j) {
            const double a = side_px_ * rule.at[i], b = side_px_ * rule.at[j];
            const double x = dx_px + turn_x_ * a - turn_y_ * b, y = dy_px + turn_y_ * a + turn_x_ * b;
            const double q = xx_ * x * x + 2.0 * xy_ * x * y + yy_ * y * y;
            sum += rule.weight[i] * rule.weight[j] * std::exp(-beta_ * std::log1p(q));
        }
    }
    return peak_ * sum;
}

namespace {

struct Series {
    PlaceSums mean, square;
    std::vector<PlaceSums> amplitude;  // relative; one a harmonic, one a radius
};

struct Wave {
    int along_x, along_y;
};
const std::vector<Wave>& waves() {
    static const std::vector<Wave> list = [] {
        std::vector<Wave> made;
        for (int h = 0; h <= most_harmonic; ++h) {
            for (int l = h == 0 ? 1 : -most_harmonic; l <= most_harmonic; ++l)
                made.push_back({h, l});
        }
        return made;
    }();
    return list;
}

std::vector<Series> series_of(std::span<const GatheredImage> images, std::span<const double> radii_px) {
    const std::size_t n = radii_px.size();
    std::vector<Series> out(images.size(),
                            {PlaceSums(n, 0.0), PlaceSums(n, 0.0), {waves().size(), PlaceSums(n, 0.0)}});
    std::array<double, places> cosine{};
    for (int k = 0; k < places; ++k)
        cosine[static_cast<std::size_t>(k)] = std::cos(2.0 * std::numbers::pi * k / places);
    std::vector<PlaceLight> sums(images.size());
    constexpr double weight = 1.0 / (places * places);
    for (int a = 0; a <= places / 2; ++a) {
        for (int b = 0; b < places; ++b) {
            // (−a, −b) has the same sum: half of the places stand for all.
            const bool own_mirror = a == 0 || a == places / 2;
            if (own_mirror && b > places / 2) continue;
            const bool twice = !own_mirror || (b != 0 && b != places / 2);
            const double share = twice ? 2.0 * weight : weight;
            sum_at(images, {static_cast<double>(a) / places, static_cast<double>(b) / places}, radii_px,
                   sums);
            for (std::size_t m = 0; m < images.size(); ++m) {
                for (std::size_t k = 0; k < n; ++k) {
                    out[m].mean[k] += share * sums[m].light[k];
                    out[m].square[k] += share * sums[m].square[k];
                }
                for (std::size_t w = 0; w < waves().size(); ++w) {
                    const int turns = waves()[w].along_x * a + waves()[w].along_y * b;
                    const auto turn = static_cast<std::size_t>((turns % places + places) % places);
                    for (std::size_t k = 0; k < n; ++k)
                        out[m].amplitude[w][k] += 2.0 * share * cosine[turn] * sums[m].light[k];
                }
            }
        }
    }
    for (Series& series : out) {
        for (PlaceSums& amplitude : series.amplitude) {
            for (std::size_t k = 0; k < n; ++k)
                amplitude[k] /= series.mean[k];
        }
    }
    return out;
}

double effective_pixels(double light, double square) {
    return square > 0.0 ? light * light / square : 1.0;
}

SampledImage narrowed(SampledImage image) {
    image.fwhm_px *= 1.0 - unknown_width;
    return image;
}

}  // namespace

SamplingTable::SamplingTable(const SampledImage& image, std::span<const double> radii_px)
    : image_(image), ripple_(radii_px.size(), 0.0), unknown_(radii_px.size(), 0.0) {
    if (image.fwhm_px > smooth_fwhm_px) {
        PlaceLight sums;
        sum_at(std::span(&image_, 1), {0.0, 0.0}, radii_px, std::span(&sums, 1));
        for (std::size_t k = 0; k < radii_px.size(); ++k)
            pixels_.push_back(effective_pixels(sums.light[k], sums.square[k]));
        enclosed_ = std::move(sums.light);
        return;
    }
    const std::array<GatheredImage, 2> images{image_, GatheredImage(narrowed(image))};
    const std::vector<Series> series = series_of(images, radii_px);
    const Series &known = series[0], &other = series[1];
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        double known_square = 0.0, other_square = 0.0;
        for (std::size_t w = 0; w < known.amplitude.size(); ++w) {
            known_square += 0.5 * std::pow(known.amplitude[w][k], 2);
            other_square += 0.5 * std::pow(known.amplitude[w][k] - other.amplitude[w][k], 2);
        }
        ripple_[k] = std::sqrt(known_square);
        unknown_[k] = std::hypot(std::sqrt(other_square), unknown_ripple * ripple_[k]);
        pixels_.push_back(effective_pixels(known.mean[k], known.square[k]));
    }
    enclosed_ = known.mean;
    amplitude_ = known.amplitude;
}

SamplingEffect SamplingTable::at(const frame::PixelPosition& centre, double centre_err_px) const {
    const std::size_t n = enclosed_.size();
    PlaceSums sum(n, 1.0), slope_x(n, 0.0), slope_y(n, 0.0);
    for (std::size_t w = 0; w < amplitude_.size(); ++w) {
        const auto [along_x, along_y] = waves()[w];
        const double phase = 2.0 * std::numbers::pi * (along_x * centre.x + along_y * centre.y);
        const double c = std::cos(phase), s = 2.0 * std::numbers::pi * std::sin(phase);
        for (std::size_t k = 0; k < n; ++k) {
            sum[k] += amplitude_[w][k] * c;
            slope_x[k] -= amplitude_[w][k] * s * along_x;
            slope_y[k] -= amplitude_[w][k] * s * along_y;
        }
    }
    SamplingEffect effect;
    for (std::size_t k = 0; k < n; ++k) {
        const double seen = std::max(sum[k], least_sum);
        effect.correction.push_back(1.0 / seen);
        effect.err.push_back(std::hypot(unknown_[k], centre_err_px * std::hypot(slope_x[k], slope_y[k])) /
                             seen);
    }
    return effect;
}

}  // namespace emberline::photometry
