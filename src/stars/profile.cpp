// SPDX-License-Identifier: MIT
// Moffat 1969 (A&A 3, 455): I = f0 (1 + q)^(−β), q = a u² + 2 b u v + c v² with u, v from the centre.
// Integral over the plane: f0 π / ((β − 1) √(a c − b²)). Half light at q = 2^(1/β) − 1.
#include "stars/profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "numerics/gauss_legendre.hpp"
#include "numerics/matrix.hpp"
#include "numerics/robust.hpp"
#include "stars/axis_direction.hpp"

namespace emberline::stars {
namespace {

constexpr std::size_t n_parameters = 8;  // x, y, a, b, c, β, f0, sky
using Parameters = std::array<double, n_parameters>;
constexpr double least_beta = 1.2, most_beta = 12.0;
// Width and β trade against each other in images of few pixels: what seeing usually gives holds β there.
constexpr double usual_beta = 3.2, usual_beta_err = 0.6;  // common practice, no source
constexpr int most_iterations = 60;
constexpr double fit_reach_fwhm = 2.4;

// A sharp core needs more points of quadrature than the wings: with three an axis, the width of a star of
// 1.5 px comes out 2.5 % small.
using Rule = numerics::QuadratureRule;
constexpr double sharp_fwhm = 2.4, smooth_fwhm = 3.5;  // in sides of the square

const Rule& rule_at(double distance_px, double fwhm_px, double side_px) {
    using namespace numerics;
    if (fwhm_px < sharp_fwhm * side_px) return distance_px < 1.2 * fwhm_px ? five_points : two_points;
    if (distance_px > 1.3 * fwhm_px + 0.7 * side_px) return one_point;
    return fwhm_px < smooth_fwhm * side_px ? three_points : two_points;
}

struct FitPixel {
    double x, y, adu, weight;
    const Rule* rule;
};

// Value and derivatives of the model in one pixel. The sums are variables of their own, which stay in
// registers.
double model(const Parameters& p, const FitPixel& pixel, const PixelSquare& square, Parameters& gradient) {
    const Rule& rule = *pixel.rule;
    const double a = p[2], b = p[3], c = p[4], beta = p[5], peak = p[6];
    const double x = pixel.x - p[0], y = pixel.y - p[1];
    double value = 0.0, by_x = 0.0, by_y = 0.0, by_a = 0.0, by_b = 0.0, by_c = 0.0, by_beta = 0.0,
           by_peak = 0.0;
    for (std::size_t i = 0; i < rule.n; ++i) {
        for (std::size_t j = 0; j < rule.n; ++j) {
            const double w = rule.weight[i] * rule.weight[j];
            const auto [du, dv] = square.point(rule.at[i], rule.at[j]);
            const double u = x + du, v = y + dv;
            const double q = a * u * u + 2.0 * b * u * v + c * v * v;
            const double base = 1.0 + std::max(q, -0.999);
            const double log_base = std::log(base);
            const double shape = w * std::exp(-beta * log_base);
            const double slope = -beta * peak * shape / base;  // d value / d q
            value += peak * shape;
            by_x += slope * -2.0 * (a * u + b * v);
            by_y += slope * -2.0 * (c * v + b * u);
            by_a += slope * u * u;
            by_b += slope * 2.0 * u * v;
            by_c += slope * v * v;
            by_beta -= log_base * peak * shape;
            by_peak += shape;
        }
    }
    gradient = {by_x, by_y, by_a, by_b, by_c, by_beta, by_peak, 1.0};
    return value + p[7];
}

bool allowed(const Parameters& p) {
    return p[2] > 0.0 && p[4] > 0.0 && p[2] * p[4] > p[3] * p[3] && p[5] >= least_beta && p[5] <= most_beta &&
           p[6] > 0.0;
}

struct Normal {
    numerics::Matrix matrix{n_parameters, n_parameters};
    std::vector<double> right = std::vector<double>(n_parameters, 0.0);
    double chi2 = 0.0;
};

Normal accumulate(const Parameters& p, const std::vector<FitPixel>& pixels, const PixelSquare& square) {
    Normal n;
    Parameters g{}, right{};
    std::array<Parameters, n_parameters> lower{};
    for (const FitPixel& pixel : pixels) {
        const double r = pixel.adu - model(p, pixel, square, g);
        n.chi2 += pixel.weight * r * r;
        for (std::size_t i = 0; i < n_parameters; ++i) {
            right[i] += pixel.weight * g[i] * r;
            for (std::size_t j = 0; j <= i; ++j)
                lower[i][j] += pixel.weight * g[i] * g[j];
        }
    }
    for (std::size_t i = 0; i < n_parameters; ++i) {
        n.right[i] = right[i];
        for (std::size_t j = 0; j <= i; ++j)
            n.matrix(i, j) = lower[i][j];
    }
    const double usual = (usual_beta - p[5]) / usual_beta_err;
    n.matrix(5, 5) += 1.0 / (usual_beta_err * usual_beta_err);
    n.right[5] += usual / usual_beta_err;
    n.chi2 += usual * usual;
    for (std::size_t i = 0; i < n_parameters; ++i) {
        for (std::size_t j = 0; j < i; ++j)
            n.matrix(j, i) = n.matrix(i, j);
    }
    return n;
}

numerics::Matrix damped(const numerics::Matrix& matrix, double lambda) {
    numerics::Matrix out = matrix;
    for (std::size_t i = 0; i < n_parameters; ++i)
        out(i, i) *= 1.0 + lambda;
    return out;
}

// Levenberg–Marquardt; nothing where it does not converge.
struct Fitted {
    Parameters p{};
    numerics::Matrix normal;
};
std::optional<Fitted> fit(Parameters p, const std::vector<FitPixel>& pixels, const PixelSquare& square) {
    Normal now = accumulate(p, pixels, square);
    double lambda = 1e-2;
    for (int k = 0; k < most_iterations; ++k) {
        const auto step =
            numerics::solve_cholesky(numerics::cholesky_lower(damped(now.matrix, lambda)), now.right);
        Parameters trial = p;
        for (std::size_t i = 0; i < n_parameters; ++i)
            trial[i] += step[i];
        trial[5] = std::clamp(trial[5], least_beta, most_beta);
        if (!allowed(trial)) {
            lambda *= 10.0;
            if (lambda > 1e9) return std::nullopt;
            continue;
        }
        Normal next = accumulate(trial, pixels, square);
        if (!(next.chi2 <= now.chi2)) {
            lambda *= 10.0;
            if (lambda > 1e9) return Fitted{p, now.matrix};
            continue;
        }
        const bool done = now.chi2 - next.chi2 < 1e-5 * now.chi2;
        p = trial;
        now = std::move(next);
        lambda = std::max(lambda * 0.2, 1e-9);
        if (done) return Fitted{p, now.matrix};
    }
    return std::nullopt;
}

Problem no_profile(std::string why) {
    return {
        .what = std::move(why), .where = "profile", .mend = "Leave this star out of the frame's profile."};
}

// FWHM along both axes of the ellipse, and the direction of the long one.
struct Ellipse {
    double long_px = 0.0, short_px = 0.0;
    Angle direction;
};
Ellipse ellipse_of(const Parameters& p) {
    const double mean = 0.5 * (p[2] + p[4]);
    const double difference = std::hypot(0.5 * (p[2] - p[4]), p[3]);
    const double half = 2.0 * std::sqrt(std::exp2(1.0 / p[5]) - 1.0);
    // The small eigenvalue belongs to the long axis: a quarter of a turn on, of which the double is half a
    // turn.
    return {half / std::sqrt(mean - difference), half / std::sqrt(mean + difference),
            axis_direction(-2.0 * p[3], p[4] - p[2])};
}

// FWHM = 2 √(2^(1/β) − 1) (a c − b²)^(−1/4), carried through the covariance of a, b, c and β.
double fwhm_err(const Parameters& p, double fwhm_px, const numerics::Matrix& normal) {
    const double determinant = p[2] * p[4] - p[3] * p[3];
    const double power = std::exp2(1.0 / p[5]);
    std::vector<double> gradient(n_parameters, 0.0);
    gradient[2] = -0.25 * fwhm_px * p[4] / determinant;
    gradient[3] = 0.5 * fwhm_px * p[3] / determinant;
    gradient[4] = -0.25 * fwhm_px * p[2] / determinant;
    gradient[5] = -0.5 * fwhm_px * power * std::numbers::ln2 / (p[5] * p[5] * (power - 1.0));
    const auto solved = numerics::solve_cholesky(numerics::cholesky_lower(normal), gradient);
    double variance = 0.0;
    for (std::size_t i = 0; i < n_parameters; ++i)
        variance += gradient[i] * solved[i];
    return std::sqrt(std::max(variance, 0.0));
}

}  // namespace

Result<StarProfile> fit_profile(const frame::Cutout& cutout, const frame::PixelPosition& start,
                                double fwhm_guess_px, double gain_e_per_adu, double read_noise_e,
                                const PixelSquare& square) {
    const bool sensible = std::isfinite(start.x) && std::isfinite(start.y) && fwhm_guess_px > 0.0 &&
                          gain_e_per_adu > 0.0 && read_noise_e >= 0.0 && square.side_px > 0.0;
    if (!sensible) return fail(no_profile("Its place, width, gain or read noise makes no sense."));
    const frame::PixelBox& box = cutout.box;
    const bool inside = start.x > box.x0 - 1.0 && start.x < box.x0 + box.width && start.y > box.y0 - 1.0 &&
                        start.y < box.y0 + box.height && fwhm_guess_px < box.width + box.height;
    if (!inside) return fail(no_profile("It lies outside its cut-out, or is wider."));
    const double reach = std::max(fit_reach_fwhm * fwhm_guess_px, 3.5);
    std::vector<FitPixel> pixels;
    std::vector<double> outer;
    double peak = 0.0;
    const int half = static_cast<int>(std::ceil(reach));
    const int cx = static_cast<int>(std::lround(start.x)), cy = static_cast<int>(std::lround(start.y));
    for (int y = cy - half; y <= cy + half; ++y) {
        for (int x = cx - half; x <= cx + half; ++x) {
            if (!cutout.contains(x, y)) continue;
            const double u = x - start.x, v = y - start.y, r = std::sqrt(u * u + v * v);
            if (r > reach) continue;
            const auto adu = static_cast<double>(cutout.at(x, y));
            if (!std::isfinite(adu)) {
                if (r < 0.8 * fwhm_guess_px) return fail(no_profile("Its core has undefined pixels."));
                continue;
            }
            pixels.push_back({static_cast<double>(x), static_cast<double>(y), adu, 1.0,
                              &rule_at(r, fwhm_guess_px, square.side_px)});
            if (r > 0.75 * reach) outer.push_back(adu);
            if (r < 0.8 * fwhm_guess_px + 0.8) peak = std::max(peak, adu);
        }
    }
    if (pixels.size() < 3 * n_parameters || outer.size() < 8)
        return fail(no_profile("Too few pixels surround it."));
    const double sky = numerics::median(outer);
    if (!(peak > sky)) return fail(no_profile("It does not stand out of the sky."));
    constexpr double first_beta = 3.0;
    const double a = 4.0 * (std::exp2(1.0 / first_beta) - 1.0) / (fwhm_guess_px * fwhm_guess_px);
    Parameters p{start.x, start.y, a, 0.0, a, first_beta, (peak - sky) * 1.1, sky};
    // Weights from a smooth model: from the pixels themselves they would pull the profile down.
    const double floor_adu2 =
        std::pow(read_noise_e / gain_e_per_adu, 2) + std::max(sky, 0.0) / gain_e_per_adu + 1e-6;
    Parameters ignored{};
    std::optional<Fitted> fitted;
    for (int round = 0; round < 2; ++round) {
        for (FitPixel& pixel : pixels) {
            const double light = std::max(model(p, pixel, square, ignored) - p[7], 0.0);
            // A few per cent of model error in the core: a real star is no perfect Moffat profile.
            pixel.weight = 1.0 / (floor_adu2 + light / gain_e_per_adu + std::pow(0.02 * light, 2));
        }
        fitted = fit(p, pixels, square);
        if (!fitted) return fail(no_profile("The profile fit does not converge."));
        p = fitted->p;
    }
    const Ellipse ellipse = ellipse_of(p);
    StarProfile out;
    out.fwhm_px = std::sqrt(ellipse.long_px * ellipse.short_px);
    out.elongation = ellipse.long_px / ellipse.short_px;
    out.direction = ellipse.direction;
    out.moffat_beta = p[5];
    out.centre = {p[0], p[1]};
    out.flux_adu = p[6] * std::numbers::pi / ((p[5] - 1.0) * std::sqrt(p[2] * p[4] - p[3] * p[3]));
    out.sky_adu = p[7];
    if (!(out.fwhm_px > 0.5) || out.fwhm_px > 2.0 * reach ||
        std::hypot(p[0] - start.x, p[1] - start.y) > reach) {
        return fail(no_profile("Its width or place makes no sense for a star."));
    }
    out.fwhm_err_px = fwhm_err(p, out.fwhm_px, fitted->normal);
    return out;
}

FrameProfile combine(const std::vector<StarProfile>& profiles) {
    FrameProfile out;
    out.stars = profiles.size();
    if (profiles.empty()) return out;
    std::vector<double> widths, betas, along, across;
    for (const StarProfile& p : profiles) {
        widths.push_back(p.fwhm_px);
        betas.push_back(p.moffat_beta);
        const double e2 = p.elongation * p.elongation;
        const double e = (e2 - 1.0) / (e2 + 1.0);
        along.push_back(e * std::cos(2.0 * p.direction.radians()));
        across.push_back(e * std::sin(2.0 * p.direction.radians()));
    }
    out.fwhm_px = numerics::median(widths);
    const double spread = numerics::mad_to_sigma * numerics::median_absolute_deviation(widths, out.fwhm_px);
    out.fwhm_err_px = widths.size() > 1 ? 1.2533 * spread / std::sqrt(static_cast<double>(widths.size()))
                                        : profiles.front().fwhm_err_px;
    out.moffat_beta = numerics::median(std::move(betas));
    const double x = numerics::median(std::move(along)), y = numerics::median(std::move(across));
    const double e = std::min(std::hypot(x, y), 0.999);
    out.elongation = std::sqrt((1.0 + e) / (1.0 - e));
    out.direction = axis_direction(y, x);
    return out;
}

}  // namespace emberline::stars
