// SPDX-License-Identifier: MIT
// A galaxy made of elliptical Gaussians under a Moffat point-spread function, for tests of the scene.
// Independent of the code tested: a Moffat profile is a mixture of Gaussians whose inverse variances follow a
// gamma distribution, (1 + r²/α²)^−β = 1/Γ(β) ∫ λ^(β−1) e^(−λ) e^(−λ r²/α²) dλ, so that the blurred galaxy is
// a sum of Gaussians again. A pixel's extent counts as its variance, 1/12 px² an axis (to 1.5e-3 of a point's
// peak).
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "frame/pixels.hpp"
#include "numerics/random.hpp"
#include "photometry/host_light.hpp"
#include "photometry/psf.hpp"

namespace emberline::test {

struct GaussianLight {
    double east = 0.0, north = 0.0;  // arcsec from the nucleus
    double light = 0.0;
    double sigma = 1.0;  // arcsec, along the long axis
    double axis_ratio = 1.0;
    double direction_rad = 0.0;  // of the long axis, from north through east
};

struct GaussianGalaxy {
    std::vector<GaussianLight> parts;
    double nucleus_light = 0.0;
};

enum class Galaxy { smooth, clumpy };

// An exponential disk of that scale length (as six Gaussians: within 1 % out to 4.5 scale lengths), a bulge
// and a point; a clumpy one has two arms, knots and a dust lane as well.
inline GaussianGalaxy make_galaxy(Galaxy kind, double length_arcsec, double disk_light,
                                  numerics::Random& random) {
    GaussianGalaxy host;
    const double q = random.uniform(0.4, 0.9), turn = random.uniform(0.0, std::numbers::pi);
    constexpr std::array<std::array<double, 2>, 6> exponential{
        {{0.0004, 0.08}, {0.0055, 0.2}, {0.0489, 0.45}, {0.2446, 0.9}, {0.4127, 1.55}, {0.2814, 2.4}}};
    for (const auto& [share, width] : exponential)
        host.parts.push_back({0, 0, disk_light * share, length_arcsec * width, q, turn});
    const double bulge = disk_light * random.uniform(0.1, 0.3);
    host.parts.push_back({0, 0, 0.5 * bulge, 0.15 * length_arcsec, 0.9, turn});
    host.parts.push_back({0, 0, 0.5 * bulge, 0.4 * length_arcsec, 0.9, turn});
    host.nucleus_light = disk_light * random.uniform(0.0, 0.03);
    if (kind == Galaxy::smooth) return host;
    const double c = std::cos(turn), s = std::sin(turn);
    const auto add = [&](double along, double across, double light, double sigma, double ratio) {
        across *= q;
        host.parts.push_back({along * s + across * c, along * c - across * s, light, sigma, ratio,
                              random.uniform(0.0, std::numbers::pi)});
    };
    const double winding = random.uniform(0.25, 0.5), phase = random.uniform(0.0, 2 * std::numbers::pi);
    const double contrast = random.uniform(0.15, 0.4);
    for (int arm = 0; arm < 2; ++arm) {
        for (int i = 0; i < 30; ++i) {
            const double angle = i * 0.16;
            const double r = 0.5 * length_arcsec * std::exp(winding * angle);
            const double t = angle + phase + arm * std::numbers::pi;
            // Light of the disk within the patch, times the contrast.
            const double sigma = 0.2 * r;
            const double disk = disk_light * std::exp(-r / length_arcsec) * sigma * sigma /
                                (length_arcsec * length_arcsec * q);
            add(r * std::cos(t), r * std::sin(t), contrast * disk * random.uniform(0.2, 1.0), sigma, 1.0);
        }
    }
    for (int i = 0; i < 40; ++i) {
        const double r = length_arcsec * random.uniform(0.3, 3.0),
                     t = random.uniform(0.0, 2 * std::numbers::pi);
        const double disk = disk_light * std::exp(-r / length_arcsec) / (length_arcsec * length_arcsec);
        add(r * std::cos(t), r * std::sin(t), disk * std::exp(random.gaussian(-0.3, 0.9)),
            random.uniform(0.3, 1.2), random.uniform(0.6, 1.0));
    }
    // Dust: along a chord beside the nucleus a fifth of the light is missing.
    for (int i = -8; i <= 8; ++i) {
        const double along = 0.25 * length_arcsec * i, across = 0.35 * length_arcsec;
        const double r = std::hypot(along, across), sigma = 0.12 * length_arcsec;
        const double disk =
            disk_light * std::exp(-r / length_arcsec) * sigma * sigma / (length_arcsec * length_arcsec * q);
        add(along, across, -0.2 * disk, sigma, 1.0);
    }
    return host;
}

struct GalaxyView {
    photometry::MoffatCore core{.fwhm_px = 2.5, .moffat_beta = 3.5};
    std::array<double, 4> px_per_arcsec{-1.0 / 1.2, 0.0, 0.0, 1.0 / 1.2};
    frame::PixelPosition transient{100.3, 99.8};
    int half = 20;
    double scale = 1.0;
    double sky_e = 600.0, read_noise_e = 8.0, gain = 1.5;
    double shift_x = 0.0, shift_y = 0.0;  // of the registration
    [[nodiscard]] frame::PixelBox box() const {
        return {static_cast<int>(std::lround(transient.x)) - half,
                static_cast<int>(std::lround(transient.y)) - half, 2 * half + 1, 2 * half + 1};
    }
};

// Noiseless electrons above sky of the galaxy whose nucleus lies `east`, `north` from the transient.
inline std::vector<double> galaxy_image(const GaussianGalaxy& host, double nucleus_east, double nucleus_north,
                                        const GalaxyView& view, const photometry::Psf& psf) {
    const frame::PixelBox box = view.box();
    std::vector<double> out(box.pixels(), 0.0);
    const auto& m = view.px_per_arcsec;
    const double alpha = view.core.fwhm_px / (2.0 * std::sqrt(std::exp2(1.0 / view.core.moffat_beta) - 1.0));
    // Of the Moffat core for λ = 1/2, on the pixels.
    const double kc = std::cos(view.core.direction_rad), ks = std::sin(view.core.direction_rad);
    const double along = alpha * alpha * view.core.elongation, across = alpha * alpha / view.core.elongation;
    const double core_xx = along * kc * kc + across * ks * ks, core_yy = along * ks * ks + across * kc * kc;
    const double core_xy = (along - across) * kc * ks;
    const auto at = [&](double east, double north) {
        return frame::PixelPosition{view.transient.x + view.shift_x + m[0] * east + m[1] * north,
                                    view.transient.y + view.shift_y + m[2] * east + m[3] * north};
    };
    // λ in logarithmic steps; weight λ^(β−1) e^(−λ) as a share of light.
    constexpr int steps = 17;
    double sum_w = 0.0;
    std::array<double, steps> w{}, wide{};
    for (std::size_t i = 0; i < steps; ++i) {
        const double lambda = std::exp(-4.5 + 0.45 * static_cast<double>(i));
        w[i] = std::pow(lambda, view.core.moffat_beta - 1.0) * std::exp(-lambda);
        wide[i] = 1.0 / (2.0 * lambda);
        sum_w += w[i];
    }
    for (const GaussianLight& part : host.parts) {
        // Covariance on the sky, then on the pixels.
        const double c = std::cos(part.direction_rad), s = std::sin(part.direction_rad);
        const double a2 = part.sigma * part.sigma, b2 = a2 * part.axis_ratio * part.axis_ratio;
        const double ee = a2 * s * s + b2 * c * c, nn = a2 * c * c + b2 * s * s, en = (a2 - b2) * s * c;
        const double xx = m[0] * m[0] * ee + 2 * m[0] * m[1] * en + m[1] * m[1] * nn;
        const double yy = m[2] * m[2] * ee + 2 * m[2] * m[3] * en + m[3] * m[3] * nn;
        const double xy = m[0] * m[2] * ee + (m[0] * m[3] + m[1] * m[2]) * en + m[1] * m[3] * nn;
        const auto centre = at(nucleus_east + part.east, nucleus_north + part.north);
        for (std::size_t i = 0; i < steps; ++i) {
            const double pxx = xx + wide[i] * core_xx + 1.0 / 12.0, pyy = yy + wide[i] * core_yy + 1.0 / 12.0;
            const double pxy = xy + wide[i] * core_xy;
            const double det = pxx * pyy - pxy * pxy;
            const double peak =
                view.scale * part.light * w[i] / sum_w / (2.0 * std::numbers::pi * std::sqrt(det));
            std::size_t k = 0;
            for (int y = box.y0; y < box.y0 + box.height; ++y) {
                for (int x = box.x0; x < box.x0 + box.width; ++x, ++k) {
                    const double dx = x - centre.x, dy = y - centre.y;
                    const double r2 = (pyy * dx * dx - 2 * pxy * dx * dy + pxx * dy * dy) / det;
                    if (r2 < 40.0) out[k] += peak * std::exp(-0.5 * r2);
                }
            }
        }
    }
    const auto point = psf.stamp(at(nucleus_east, nucleus_north), box);
    for (std::size_t k = 0; k < out.size(); ++k)
        out[k] += view.scale * host.nucleus_light * point[k];
    return out;
}

// One exposure: galaxy and transient, noise, sky known to what an annulus of 800 pixels gives.
inline photometry::Surroundings expose_galaxy(const std::vector<double>& host_e, double transient_light,
                                              const GalaxyView& view, const photometry::Psf& psf,
                                              numerics::Random& random) {
    photometry::Surroundings a;
    a.transient = view.transient;
    a.px_per_arcsec = view.px_per_arcsec;
    a.cutout.box = view.box();
    const auto star =
        psf.stamp({view.transient.x + view.shift_x, view.transient.y + view.shift_y}, a.cutout.box);
    const double scatter_e = std::sqrt(view.sky_e + view.read_noise_e * view.read_noise_e);
    for (std::size_t k = 0; k < star.size(); ++k) {
        const double e = view.sky_e + host_e[k] + view.scale * transient_light * star[k];
        const double seen = static_cast<double>(random.poisson(e)) + random.gaussian(0.0, view.read_noise_e);
        a.cutout.adu.push_back(static_cast<float>(seen / view.gain));
    }
    a.gain_e_per_adu = view.gain;
    a.sky_scatter_adu = scatter_e / view.gain;
    a.sky_err_adu = a.sky_scatter_adu / std::sqrt(800.0);
    a.sky_adu = view.sky_e / view.gain + random.gaussian(0.0, a.sky_err_adu);
    a.saturation_adu = 1e7;
    a.psf = psf.numbers();
    return a;
}

}  // namespace emberline::test
