// SPDX-License-Identifier: MIT
// Notation: C_n = K_n ⊗ T, a_n its coefficient, b_k the sky of stamp k, w = 1/variance. M a = V with
// M_ij = Σ w C_i C_j and V_i = Σ w I C_i about each stamp's weighted means, which takes b_k out. Noise ε of T
// adds G_ij Σ w v to M_ij, with v its variance, ρ its correlation and G_ij = Σ K_i(q) K_j(q') ρ(q − q').
#include "photometry/match_kernel.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::photometry {
namespace {

constexpr double most_change = 4.0;  // of a jackknife value from the middle of all, in their robust sigma

using numerics::Matrix;

constexpr int most_rounds = 6;
constexpr double settled = 1e-5;  // change of the sum, relative
constexpr double pixel_clip_sigma = 5.0;
constexpr double star_clip_sigma = 4.0;
// The brightest cores match no better than so much of their light, since PSFs change over a frame: without
// this they would decide alone.
constexpr double core_softening = 0.005;
constexpr double least_light_off = 0.02;  // a star's light must differ by this much to be left out
constexpr double unlike_chi2 = 4.0;       // … or its chi² be so many times that of the others
constexpr double core_share = 0.25;       // of the peak: where the stamps' excess is told

struct Prepared {
    const KernelStamp* stamp = nullptr;
    std::vector<PixelPlane> basis;
    std::vector<std::size_t> pixels;                       // indices within the image's box
    std::vector<bool> clipped;                             // of `pixels`
    std::vector<double> model, residual, variance, noise;  // of `pixels`; `noise`: the reference's part
    Matrix normal;
    std::vector<double> right;
    double reference_weight = 0.0;  // Σ w v
    double reference_weight2 = 0.0;
    double light_off = 0.0, light_off_err = 0.0;  // relative, of what is left
    double chi2 = 0.0;
    std::size_t count = 0;
    bool used = true;
};

// G of the notation.
Matrix noise_products(const KernelBasis& basis, const std::vector<double>& correlation) {
    const auto n = basis.size();
    const int half = basis.half(), side = 2 * half + 1;
    const int reach =
        correlation.empty() ? 0 : (static_cast<int>(std::lround(std::sqrt(correlation.size()))) - 1) / 2;
    Matrix g(n, n);
    std::vector<double> spread(static_cast<std::size_t>(side) * static_cast<std::size_t>(side));
    for (std::size_t j = 0; j < n; ++j) {
        const auto& k = basis.functions()[j];
        if (reach == 0) {
            spread = k;
        } else {
            std::fill(spread.begin(), spread.end(), 0.0);
            for (int y = 0; y < side; ++y) {
                for (int x = 0; x < side; ++x) {
                    std::size_t lag = 0;
                    for (int dy = -reach; dy <= reach; ++dy) {
                        for (int dx = -reach; dx <= reach; ++dx, ++lag) {
                            const int u = x + dx, v = y + dy;
                            if (u < 0 || v < 0 || u >= side || v >= side) continue;
                            spread[static_cast<std::size_t>(v * side + u)] +=
                                correlation[lag] * k[static_cast<std::size_t>(y * side + x)];
                        }
                    }
                }
            }
        }
        for (std::size_t i = 0; i <= j; ++i) {
            double sum = 0.0;
            for (std::size_t p = 0; p < spread.size(); ++p)
                sum += basis.functions()[i][p] * spread[p];
            g(i, j) = g(j, i) = sum;
        }
    }
    return g;
}

void weigh(Prepared& star, const std::vector<double>& kernel, int half, double correlated) {
    std::vector<double> squares(kernel.size());
    for (std::size_t i = 0; i < squares.size(); ++i)
        squares[i] = kernel[i] * kernel[i];
    const PixelPlane noise = convolve(star.stamp->reference_variance, squares, half);
    for (std::size_t i = 0; i < star.pixels.size(); ++i) {
        star.noise[i] = correlated * noise.v[star.pixels[i]];
        const double soft = core_softening * star.model[i];
        star.variance[i] = star.stamp->image_variance.v[star.pixels[i]] + star.noise[i] + soft * soft;
    }
}

void accumulate(Prepared& star, const std::vector<double>& reference_variance) {
    const std::size_t n = star.basis.size();
    star.normal = Matrix(n, n);
    star.right.assign(n, 0.0);
    star.reference_weight = star.reference_weight2 = 0.0;
    std::vector<double> mean(n, 0.0), row(n), sums(n * n, 0.0);
    double sum_w = 0.0, mean_image = 0.0;
    for (int pass = 0; pass < 2; ++pass) {
        for (std::size_t i = 0; i < star.pixels.size(); ++i) {
            if (star.clipped[i]) continue;
            const std::size_t p = star.pixels[i];
            const double w = 1.0 / star.variance[i], image = star.stamp->image.v[p];
            if (pass == 0) {
                sum_w += w, mean_image += w * image;
                for (std::size_t k = 0; k < n; ++k)
                    mean[k] += w * star.basis[k].v[p];
                continue;
            }
            for (std::size_t k = 0; k < n; ++k)
                row[k] = star.basis[k].v[p] - mean[k];
            for (std::size_t k = 0; k < n; ++k) {
                const double wk = w * row[k];
                star.right[k] += wk * (image - mean_image);
                double* to = sums.data() + k * n;
                for (std::size_t j = k; j < n; ++j)
                    to[j] += wk * row[j];
            }
            const double wv = w * reference_variance[i];
            star.reference_weight += wv, star.reference_weight2 += wv * wv;
        }
        if (pass == 0 && sum_w > 0.0) {
            mean_image /= sum_w;
            for (double& m : mean)
                m /= sum_w;
        }
    }
    for (std::size_t k = 0; k < n; ++k) {
        for (std::size_t j = k; j < n; ++j)
            star.normal(k, j) = star.normal(j, k) = sums[k * n + j];
    }
}

struct Equations {
    Matrix normal;
    std::vector<double> right;
    double noise_of_products = 0.0;  // how uncertain the part in `normal` is that noise alone makes, over g
};

// Of all used stars but `without`.
Equations together(const std::vector<Prepared>& stars, const Matrix& g, double kernel_scale,
                   const Prepared* without) {
    const std::size_t n = g.rows();
    Equations out{Matrix(n, n), std::vector<double>(n, 0.0), 0.0};
    double weight = 0.0, weight2 = 0.0;
    for (const Prepared& star : stars) {
        if (!star.used || &star == without) continue;
        for (std::size_t i = 0; i < n; ++i) {
            out.right[i] += star.right[i];
            for (std::size_t j = 0; j < n; ++j)
                out.normal(i, j) += star.normal(i, j);
        }
        weight += star.reference_weight, weight2 += star.reference_weight2;
    }
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j)
            out.normal(i, j) -= weight * g(i, j);
    }
    // What noise leaves of a function without light is as likely below as above 0; and no kernel needs a
    // function stronger than its own sum.
    constexpr double sigmas_of_noise = 4.0;
    out.noise_of_products = sigmas_of_noise * std::sqrt(2.0 * weight2);
    for (std::size_t i = 1; i < n; ++i)
        out.normal(i, i) += 1.0 / (kernel_scale * kernel_scale) + g(i, i) * out.noise_of_products;
    return out;
}

// Less the noise's own products, functions that together hardly differ from noise may be left with less than
// no weight, and their factor would give numbers beyond all bounds: then more of those products is left in.
Matrix factor_of(Equations& equations, const Matrix& g) {
    const std::size_t n = equations.normal.rows();
    double size = 0.0;
    for (const double r : equations.right)
        size = std::max(size, std::abs(r));
    constexpr double solved = 1e-6;
    constexpr int most_steps = 8;
    double more = equations.noise_of_products;
    Matrix lower;
    for (int step = 0; step < most_steps; ++step, more *= 2.0) {
        lower = numerics::cholesky_lower(equations.normal);
        const std::vector<double> x = numerics::solve_cholesky(lower, equations.right);
        double miss = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            double sum = -equations.right[i];
            for (std::size_t j = 0; j < n; ++j)
                sum += equations.normal(i, j) * x[j];
            miss = std::max(miss, std::abs(sum));
        }
        if (miss <= solved * size) break;
        for (std::size_t i = 1; i < n; ++i) {
            for (std::size_t j = 1; j < n; ++j)
                equations.normal(i, j) += more * g(i, j);
        }
    }
    return lower;
}

// By how much the star's light differs from the model's, without pixels that stand out of that difference.
void measure_light_off(Prepared& star) {
    std::vector<bool> out = star.clipped;
    for (int pass = 0; pass < 2; ++pass) {
        double mm = 0.0, mr = 0.0;
        for (std::size_t i = 0; i < star.pixels.size(); ++i) {
            if (out[i]) continue;
            mm += star.model[i] * star.model[i] / star.variance[i];
            mr += star.model[i] * star.residual[i] / star.variance[i];
        }
        star.light_off = mm > 0.0 ? mr / mm : 0.0;
        star.light_off_err = mm > 0.0 ? 1.0 / std::sqrt(mm) : 1.0;
        std::vector<double> left;
        for (std::size_t i = 0; i < star.pixels.size(); ++i)
            left.push_back((star.residual[i] - star.light_off * star.model[i]) / std::sqrt(star.variance[i]));
        const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(left, 0.0);
        for (std::size_t i = 0; i < left.size(); ++i)
            out[i] = star.clipped[i] || std::abs(left[i]) > pixel_clip_sigma * std::max(1.0, spread);
    }
}

void look_at(Prepared& star, const std::vector<double>& a) {
    double sum_w = 0.0, sum_wr = 0.0;
    for (std::size_t i = 0; i < star.pixels.size(); ++i) {
        double model = 0.0;
        for (std::size_t n = 0; n < a.size(); ++n)
            model += a[n] * star.basis[n].v[star.pixels[i]];
        star.model[i] = model;
        star.residual[i] = star.stamp->image.v[star.pixels[i]] - model;
        if (star.clipped[i]) continue;
        sum_w += 1.0 / star.variance[i], sum_wr += star.residual[i] / star.variance[i];
    }
    const double sky = sum_w > 0.0 ? sum_wr / sum_w : 0.0;
    star.chi2 = 0.0, star.count = 0;
    for (std::size_t i = 0; i < star.pixels.size(); ++i) {
        star.residual[i] -= sky;
        if (star.clipped[i]) continue;
        const double soft = core_softening * star.model[i];
        star.chi2 += star.residual[i] * star.residual[i] / (star.variance[i] - soft * soft);
        ++star.count;
    }
    measure_light_off(star);
}

bool clip_pixels(Prepared& star) {
    bool changed = false;
    const double growth =
        std::sqrt(std::max(1.0, star.count ? star.chi2 / static_cast<double>(star.count) : 1.0));
    for (std::size_t i = 0; i < star.pixels.size(); ++i) {
        const double limit = pixel_clip_sigma * std::min(growth, 3.0) * std::sqrt(star.variance[i]);
        const bool off = std::abs(star.residual[i]) > limit;
        changed |= off != star.clipped[i];
        star.clipped[i] = off;
    }
    return changed;
}

// The star that is least like the others, if it is unlike them at all: by its light, and by its shape once
// single pixels have been clipped.
Prepared* unlike_the_others(std::vector<Prepared>& stars, bool by_shape) {
    std::vector<double> offs, chi2s;
    for (const Prepared& star : stars) {
        if (!star.used) continue;
        offs.push_back(star.light_off);
        chi2s.push_back(star.chi2 / static_cast<double>(std::max<std::size_t>(1, star.count)));
    }
    if (offs.size() < 3) return nullptr;
    const double middle = numerics::median(offs), usual_chi2 = numerics::median(chi2s);
    const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(offs, middle);
    Prepared* worst = nullptr;
    double worst_by = 1.0;
    for (Prepared& star : stars) {
        if (!star.used) continue;
        const double sigma = std::hypot(star.light_off_err, spread);
        const double off =
            std::abs(star.light_off - middle) / std::max(star_clip_sigma * sigma, least_light_off);
        const double chi2 = star.chi2 / static_cast<double>(std::max<std::size_t>(1, star.count));
        const double shape = chi2 / (unlike_chi2 * std::max(1.0, usual_chi2));
        const double by = by_shape ? std::max(off, shape) : off;
        if (by > worst_by) worst = &star, worst_by = by;
    }
    return worst;
}

std::size_t used_of(const std::vector<Prepared>& stars) {
    return static_cast<std::size_t>(
        std::count_if(stars.begin(), stars.end(), [](const Prepared& s) { return s.used; }));
}

Prepared prepare(const KernelStamp& stamp, const KernelBasis& basis, const KernelOptions& options) {
    Prepared star;
    star.stamp = &stamp;
    star.basis = basis.convolve_all(stamp.reference);
    const frame::PixelBox& box = stamp.image.box;
    for (std::size_t p = 0; p < stamp.image.v.size(); ++p) {
        const double dx = box.x0 + static_cast<int>(p) % box.width - stamp.position.x;
        const double dy = box.y0 + static_cast<int>(p) / box.width - stamp.position.y;
        if (stamp.usable[p] && dx * dx + dy * dy <= options.radius_px * options.radius_px)
            star.pixels.push_back(p);
    }
    star.clipped.assign(star.pixels.size(), false);
    star.model.assign(star.pixels.size(), 0.0);
    star.residual = star.variance = star.noise = star.model;
    for (std::size_t i = 0; i < star.pixels.size(); ++i)
        star.model[i] = options.expected_sum * star.basis.front().v[star.pixels[i]];
    return star;
}

double excess_of(const std::vector<Prepared>& stars) {
    double left = 0.0, light = 0.0;
    for (const Prepared& star : stars) {
        if (!star.used || star.model.empty()) continue;
        const double peak = *std::max_element(star.model.begin(), star.model.end());
        for (std::size_t i = 0; i < star.pixels.size(); ++i) {
            if (star.clipped[i] || star.model[i] < core_share * peak) continue;
            const double soft = core_softening * star.model[i];
            left += star.residual[i] * star.residual[i] - (star.variance[i] - soft * soft);
            light += star.model[i] * star.model[i];
        }
    }
    return light > 0.0 ? std::sqrt(std::max(0.0, left) / light) : 0.0;
}

}  // namespace

double MatchKernel::err_along(const std::vector<double>& gradient) const {
    const double formal = numerics::quadratic_form(covariance, gradient, gradient);
    double jackknife = 0.0;
    if (!without_one.empty()) {
        std::vector<double> changes;
        for (const auto& a : without_one) {
            double along = 0.0;
            for (std::size_t k = 0; k < gradient.size(); ++k)
                along += gradient[k] * (a[k] - coefficients[k]);
            if (std::isfinite(along)) changes.push_back(along);
        }
        // Without a star that alone holds a part of the basis the rest may run away: that tells of the basis.
        const double middle = numerics::median(changes);
        const double most =
            most_change * numerics::mad_to_sigma * numerics::median_absolute_deviation(changes, middle);
        const double n = std::max(1.0, static_cast<double>(changes.size()));
        double mean = 0.0, square = 0.0;
        for (const double change : changes) {
            const double along = std::clamp(change, middle - most, middle + most);
            mean += along / n, square += along * along / n;
        }
        jackknife = (n - 1.0) * std::max(0.0, square - mean * mean);
    }
    return std::sqrt(std::max(formal, jackknife));
}

Result<MatchKernel> solve_kernel(const std::vector<KernelStamp>& stamps, const KernelBasis& basis,
                                 const KernelOptions& options) {
    std::vector<Prepared> stars;
    for (const KernelStamp& stamp : stamps)
        stars.push_back(prepare(stamp, basis, options));
    const Matrix g = noise_products(basis, options.correlation);
    const std::size_t n = basis.size();
    MatchKernel out;
    out.half = basis.half();
    std::vector<double> a(n, 0.0);
    a[0] = options.expected_sum;
    const std::size_t most_left_out = stars.size() / 2;
    Matrix lower;
    std::vector<std::vector<double>> reference_variance(stars.size());
    for (std::size_t k = 0; k < stars.size(); ++k) {
        // Of the reference itself, where the kernel's middle lies.
        const PixelPlane& v = stars[k].stamp->reference_variance;
        for (const std::size_t p : stars[k].pixels) {
            const frame::PixelBox& box = stars[k].stamp->image.box;
            const std::size_t x = p % static_cast<std::size_t>(box.width),
                              y = p / static_cast<std::size_t>(box.width);
            const auto h = static_cast<std::size_t>(basis.half());
            reference_variance[k].push_back(v.v[(y + h) * static_cast<std::size_t>(v.box.width) + x + h]);
        }
    }
    std::size_t dropped = 0;
    bool clipped = false;
    for (int round = 0; round < most_rounds + static_cast<int>(most_left_out); ++round) {
        const std::vector<double> kernel = basis.sum(a);
        double squares = 0.0;
        for (const double k : kernel)
            squares += k * k;
        const double correlated = squares > 0.0 ? numerics::quadratic_form(g, a, a) / squares : 1.0;
        for (std::size_t k = 0; k < stars.size(); ++k) {
            if (!stars[k].used) continue;
            weigh(stars[k], kernel, basis.half(), correlated);
            accumulate(stars[k], reference_variance[k]);
        }
        if (used_of(stars) == 0) break;
        Equations equations = together(stars, g, options.expected_sum, nullptr);
        lower = factor_of(equations, g);
        const std::vector<double> before = a;
        a = numerics::solve_cholesky(lower, equations.right);
        bool changed = round == 0 || std::abs(a[0] - before[0]) > settled * std::abs(a[0]);
        for (Prepared& star : stars) {
            if (!star.used) continue;
            look_at(star, a);
        }
        if (round > 0) {
            if (Prepared* odd = dropped < most_left_out ? unlike_the_others(stars, clipped) : nullptr) {
                odd->used = false;
                out.left_out.push_back(odd->stamp->label + ": unlike the others");
                ++dropped;
                changed = true;
            } else {
                for (Prepared& star : stars)
                    changed |= star.used && clip_pixels(star);
                clipped = true;
            }
        }
        if (!changed) break;
    }
    if (used_of(stars) == 0 || !(a[0] > 0.0)) {
        return fail({.what = fmt::format("None of {} stars shows how sharp the images are.", stars.size()),
                     .where = "kernel between frame and template",
                     .mend = "Add field stars that are bright and not saturated in both."});
    }
    double chi2 = 0.0, noise = 0.0, variance = 0.0;
    std::size_t count = 0;
    for (const Prepared& star : stars) {
        if (!star.used) continue;
        out.used.push_back(star.stamp->label);
        chi2 += star.chi2, count += star.count;
        for (std::size_t i = 0; i < star.pixels.size(); ++i) {
            const double weight = star.model[i] * star.model[i] / (star.variance[i] * star.variance[i]);
            noise += weight * star.noise[i], variance += weight * star.variance[i];
        }
    }
    const double parameters =
        std::min(static_cast<double>(n + out.used.size()), 0.5 * static_cast<double>(count));
    out.chi2 = count > 0 ? chi2 / (static_cast<double>(count) - parameters) : 0.0;
    out.excess = excess_of(stars);
    out.reference_share = variance > 0.0 ? noise / variance : 0.0;
    out.coefficients = a;
    out.values = basis.sum(a);
    out.sum = a[0];
    // Noise that neighbours share does not average out over them; convolved, it goes together over the
    // kernel's own area.
    double lags = options.correlation.empty() ? 1.0 : 0.0;
    for (const double c : options.correlation)
        lags += c;
    const double convolved = std::max(1.0, a[0] * a[0] * lags / numerics::quadratic_form(g, a, a));
    const double growth =
        std::max(1.0, out.chi2) * (out.reference_share * convolved +
                                   (1.0 - out.reference_share) * std::max(1.0, options.image_correlation));
    out.covariance = Matrix(n, n);
    for (std::size_t j = 0; j < n; ++j) {
        std::vector<double> unit(n, 0.0);
        unit[j] = 1.0;
        const std::vector<double> column = numerics::solve_cholesky(lower, unit);
        for (std::size_t i = 0; i < n; ++i)
            out.covariance(i, j) = growth * column[i];
    }
    constexpr std::size_t least_for_jackknife = 4;
    if (out.used.size() >= least_for_jackknife) {
        for (const Prepared& star : stars) {
            if (!star.used) continue;
            Equations rest = together(stars, g, options.expected_sum, &star);
            out.without_one.push_back(numerics::solve_cholesky(factor_of(rest, g), rest.right));
        }
    }
    std::vector<double> light_only(n, 0.0);
    light_only[0] = 1.0;
    out.sum_err = out.err_along(light_only);
    return out;
}

}  // namespace emberline::photometry
