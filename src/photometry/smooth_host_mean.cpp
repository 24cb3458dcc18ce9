// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_mean.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace emberline::photometry::smooth {
namespace {

constexpr double lopsided_prior = 0.15;   // one sigma of an m = 1 or 2 term, of the local light
constexpr double least_structure = 0.01;  // of the local light: no host is smoother
constexpr double ring_width = 0.45;       // in ln a: where structure is measured
constexpr std::array<double, 3> radial_nodes{0.5, 1.0, 2.0};  // of the transient's radius
constexpr std::size_t most_degree = 3;

MeanBasis empty_basis(const PixelMap& pixels, std::size_t columns, bool whole_box) {
    MeanBasis basis;
    basis.columns = columns;
    basis.rows.assign(pixels.size() * columns, 0.0);
    basis.prior_weight.assign(columns, 0.0);
    basis.whole_box = whole_box;
    return basis;
}

// Columns: the splines, then for each radial node cos θ, sin θ, cos 2θ, sin 2θ times the local light.
MeanBasis profile_basis(const PixelMap& pixels, const Profile& profile, double focus_px, double fwhm_px) {
    const std::size_t splines = profile.splines.count(), angular = 4 * radial_nodes.size();
    MeanBasis basis = empty_basis(pixels, splines + angular, true);
    double largest = 0.0;
    for (const double c : profile.coefficients_adu)
        largest = std::max(largest, std::abs(c));
    for (std::size_t j = 0; j < splines + angular; ++j) {
        const double sigma = j < splines ? 1e3 * largest + 1e-3 : lopsided_prior;
        basis.prior_weight[j] = 1.0 / (sigma * sigma);
    }
    const Ellipse::Root root = profile.ellipse.root();
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        double* const row = basis.rows.data() + i * basis.columns;
        const frame::PixelPosition v = root.round(pixels.place(i));
        const double a = std::hypot(v.x, v.y);
        const RadialSplines::At at = profile.splines.at(a);
        for (std::size_t k = 0; k < 4; ++k)
            row[at.first + k] = at.value[k];
        // cos θ has no value at the centre: it fades in over half a FWHM.
        const double soft = std::hypot(a, 0.5 * fwhm_px);
        const double c = v.x / soft, s = v.y / soft;
        const double light = std::max(profile.light_adu(a), 0.0);
        const double position = std::clamp(std::log2(std::max(a, 1e-3) / focus_px), -1.0, 1.0);
        for (std::size_t n = 0; n < radial_nodes.size(); ++n) {
            const double hat = std::max(0.0, 1.0 - std::abs(position - std::log2(radial_nodes[n])));
            double* const term = row + splines + 4 * n;
            term[0] = hat * light * c;
            term[1] = hat * light * s;
            term[2] = hat * light * (c * c - s * s);
            term[3] = hat * light * 2.0 * c * s;
        }
    }
    return basis;
}

// The mean alone, structure taken for noise.
std::vector<double> mean_light(const PixelMap& pixels, const MeanBasis& basis,
                               const std::vector<char>& hidden, double fwhm_px) {
    const WholeNormal whole = whole_normal(pixels, basis, fwhm_px, hidden);
    const Surface mean(pixels, basis, whole, {}, hidden, {});
    std::vector<double> light(pixels.size());
    for (std::size_t i = 0; i < light.size(); ++i)
        light[i] = mean.host_adu(i);
    return light;
}

std::vector<double> difference(const PixelMap& pixels, const std::vector<double>& model) {
    std::vector<double> residual(pixels.size());
    for (std::size_t i = 0; i < residual.size(); ++i)
        residual[i] = pixels.light_adu[i] - model[i];
    return residual;
}

std::vector<char> usable(const PixelMap& pixels, const std::vector<char>& hidden) {
    std::vector<char> take(pixels.size());
    for (std::size_t i = 0; i < take.size(); ++i)
        take[i] = pixels.used[i] != 0 && hidden[i] == 0 ? 1 : 0;
    return take;
}

int structure_lag(double fwhm_px) {
    return std::max(1, static_cast<int>(std::lround(std::min(fwhm_px, 50.0))));
}

void photons_of(PixelMap& pixels, const std::vector<double>& light, double sky_variance, double gain) {
    for (std::size_t i = 0; i < pixels.size(); ++i)
        pixels.variance_adu2[i] = sky_variance + std::max(light[i], 0.0) / gain;
}

}  // namespace

MeanBasis polynomial_basis(const PixelMap& pixels, const frame::PixelPosition& about, double unit_px,
                           std::size_t degree, bool whole_box) {
    MeanBasis basis = empty_basis(pixels, (degree + 1) * (degree + 2) / 2, whole_box);
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        double* const row = basis.rows.data() + i * basis.columns;
        const frame::PixelPosition p = pixels.place(i);
        const double x = (p.x - about.x) / unit_px, y = (p.y - about.y) / unit_px;
        std::size_t column = 0;
        for (std::size_t order = 0; order <= degree; ++order) {
            for (std::size_t j = 0; j <= order; ++j)
                row[column++] =
                    std::pow(x, static_cast<double>(order - j)) * std::pow(y, static_cast<double>(j));
        }
    }
    return basis;
}

MeanHost profile_host(PixelMap& pixels, const std::vector<char>& hidden,
                      const frame::PixelPosition& transient, const frame::PixelPosition& nucleus,
                      const MeanOptions& options) {
    const double sky_variance = pixels.variance_adu2.front();
    const double fwhm = options.fwhm_px;
    std::vector<char> keep = hidden;
    for (std::size_t i = 0; i < keep.size(); ++i) {
        if (squared_distance(pixels.place(i), nucleus) < 2.25 * fwhm * fwhm) keep[i] = 1;
    }
    MeanHost out;
    for (int round = 0; round < 2; ++round) {
        PixelMap open = pixels;
        open.used = usable(pixels, hidden);
        out.profile = fit_profile(open, nucleus, {fwhm, transient, options.centre_err_px});
        const Profile& profile = *out.profile;
        const double focus = std::max(profile.ellipse.radius(transient), 0.5 * fwhm);
        out.basis = profile_basis(pixels, profile, focus, fwhm);
        out.scale_adu = std::max(profile.light_adu(focus), 0.1 * std::sqrt(sky_variance));
        std::vector<double> light(pixels.size()), radius(pixels.size());
        for (std::size_t i = 0; i < light.size(); ++i) {
            radius[i] = profile.ellipse.radius(pixels.place(i));
            light[i] = profile.light_adu(radius[i]);
        }
        photons_of(pixels, light, sky_variance, options.gain_e_per_adu);
        std::vector<double> model = light;
        for (int pass = 0; pass < 2; ++pass) {
            const std::vector<double> residual = difference(pixels, model);
            std::vector<char> take = usable(pixels, hidden);
            for (std::size_t i = 0; i < take.size(); ++i) {
                const double off = std::log((radius[i] + 0.5 * fwhm) / (focus + 0.5 * fwhm));
                if (std::abs(off) > ring_width) take[i] = 0;
            }
            const double least = least_structure * out.scale_adu;
            out.structure_adu2 =
                structure_variance(pixels, residual, take, structure_lag(fwhm)) + least * least;
            for (std::size_t i = 0; i < light.size(); ++i) {
                const double brighter = std::max(1.0, light[i] / out.scale_adu);
                pixels.rough_adu2[i] = out.structure_adu2 * brighter * brighter;
            }
            if (pass == 0) model = mean_light(pixels, out.basis, hidden, fwhm);
        }
        mask_outliers(pixels, difference(pixels, model), keep);
    }
    return out;
}

MeanHost polynomial_host(PixelMap& pixels, const std::vector<char>& hidden,
                         const frame::PixelPosition& transient, const MeanOptions& options) {
    const double sky_variance = pixels.variance_adu2.front();
    const double unit = polynomial_reach_fwhm * options.fwhm_px;
    const MeanBasis broad = polynomial_basis(pixels, transient, unit, most_degree, true);
    std::vector<double> residual;
    for (int round = 0; round < 3; ++round) {
        const std::vector<double> light = mean_light(pixels, broad, hidden, options.fwhm_px);
        photons_of(pixels, light, sky_variance, options.gain_e_per_adu);
        residual = difference(pixels, light);
        const double rough =
            structure_variance(pixels, residual, usable(pixels, hidden), structure_lag(options.fwhm_px));
        std::fill(pixels.rough_adu2.begin(), pixels.rough_adu2.end(), rough);
        mask_outliers(pixels, residual, hidden);
    }
    std::vector<char> far = hidden;
    for (std::size_t i = 0; i < far.size(); ++i) {
        if (squared_distance(pixels.place(i), transient) > unit * unit) far[i] = 1;
    }
    const std::vector<char> take = usable(pixels, far);
    const auto n = static_cast<double>(std::count(take.begin(), take.end(), 1));
    MeanHost out;
    double least_bic = std::numeric_limits<double>::infinity();
    for (std::size_t degree = 0; degree <= most_degree; ++degree) {
        MeanBasis basis = polynomial_basis(pixels, transient, unit, degree, true);
        const std::vector<double> light = mean_light(pixels, basis, far, options.fwhm_px);
        const std::vector<double> left = difference(pixels, light);
        double chi2 = 0.0;
        for (std::size_t i = 0; i < left.size(); ++i) {
            if (take[i] != 0) chi2 += left[i] * left[i] / (pixels.variance_adu2[i] + pixels.rough_adu2[i]);
        }
        const double bic = chi2 + static_cast<double>(basis.columns) * std::log(std::max(n, 1.0));
        if (!(bic < least_bic)) continue;
        least_bic = bic;
        const double structure = structure_variance(pixels, left, take, structure_lag(options.fwhm_px));
        double middle = 0.0;
        for (std::size_t i = 0; i < light.size(); ++i) {
            if (squared_distance(pixels.place(i), transient) <= 1.0) middle = std::max(middle, light[i]);
        }
        out = {std::move(basis), std::nullopt, degree, structure, middle};
    }
    out.basis.whole_box = false;
    std::fill(pixels.rough_adu2.begin(), pixels.rough_adu2.end(), out.structure_adu2);
    return out;
}

}  // namespace emberline::photometry::smooth
