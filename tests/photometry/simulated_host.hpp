// SPDX-License-Identifier: MIT
// tests/photometry/simulated_host — frames of a transient on an invented host, with the truth beside them,
// and many of them at once. Hosts made of Gaussians, so that the seeing convolves them exactly. An
// exponential disk is such a sum: e^(−√s) = ∫ t^(−3/2) e^(−1/(4t)) e^(−s t) dt / (2 √π), the Laplace
// transform of the inverse Gaussian (Abramowitz & Stegun 1964, 29.3.82), s = r²/h².
#pragma once

#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "numerics/random.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/noise.hpp"
#include "photometry/psf.hpp"
#include "photometry/smooth_host.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double scale_arcsec = 1.2, fwhm_px = 2.5, beta = 3.5;

struct Blob {
    double x, y, light_adu, cxx, cxy, cyy;  // covariance, px²
    [[nodiscard]] double at(double px, double py) const {
        const double dx = px - x, dy = py - y, det = cxx * cyy - cxy * cxy;
        const double chi2 = (cyy * dx * dx - 2.0 * cxy * dx * dy + cxx * dy * dy) / det;
        if (chi2 > 80.0) return 0.0;
        return light_adu / (2.0 * std::numbers::pi * std::sqrt(det)) * std::exp(-0.5 * chi2);
    }
};

struct Sky {
    double psf_sigma_px = fwhm_px / 2.3548;
    std::vector<Blob> blobs;
    double arm_contrast = 0.0, arm_x = 0.0, arm_y = 0.0, arm_phase = 0.0;

    // `axis` σ of the long axis; q the axis ratio.
    void gaussian(double x, double y, double light, double axis, double q, double angle) {
        const double c = std::cos(angle), s = std::sin(angle), v = psf_sigma_px * psf_sigma_px;
        const double a2 = axis * axis, b2 = a2 * q * q;
        blobs.push_back(
            {x, y, light, c * c * a2 + s * s * b2 + v, c * s * (a2 - b2), s * s * a2 + c * c * b2 + v});
    }
    void disk(double x, double y, double centre_adu_per_px, double h, double q, double angle) {
        constexpr double step = 0.3;
        for (double u = -5.0; u <= 7.0; u += step) {
            const double t = std::exp(u), axis = h / std::sqrt(2.0 * t);
            const double weight =
                std::exp(-0.25 / t) / std::sqrt(t) * step / (2.0 * std::sqrt(std::numbers::pi));
            gaussian(x, y, centre_adu_per_px * weight * 2.0 * std::numbers::pi * axis * axis * q, axis, q,
                     angle);
        }
    }
    [[nodiscard]] double at(double px, double py) const {
        double light = 0.0;
        for (const Blob& b : blobs)
            light += b.at(px, py);
        if (arm_contrast > 0.0) {
            const double dx = px - arm_x, dy = py - arm_y, r = std::hypot(dx, dy);
            const double fade = r * r / (r * r + 9.0);
            light *= 1.0 + arm_contrast * fade *
                               std::cos(2.0 * (std::atan2(dy, dx) - 2.5 * std::log(r + 1.0)) + arm_phase);
        }
        return light;
    }
};

struct Frame {
    int side = 65;
    double sky_adu = 500.0, scatter_adu = 8.0, gain = 1.4;
    frame::PixelPosition transient{32.3, 31.8};
    double flux_adu = 4000.0;
    bool psf = true;
};

Psf star_image() {
    return *Psf::make({.fwhm_px = fwhm_px, .moffat_beta = beta});
}

// The scatter is that of sky and read noise; the host's and the star's photons come on top.
Surroundings expose(const Sky& host, const Frame& f, numerics::Random* random) {
    Surroundings out;
    out.cutout.box = {100, 200, f.side, f.side};
    out.transient = {100 + f.transient.x, 200 + f.transient.y};
    out.px_per_arcsec = {-1.0 / scale_arcsec, 0.0, 0.0, 1.0 / scale_arcsec};
    out.sky_adu = f.sky_adu;
    out.sky_err_adu = 0.3;
    out.sky_scatter_adu = f.scatter_adu;
    out.gain_e_per_adu = f.gain;
    const Psf psf = star_image();
    if (f.psf) out.psf = psf.numbers();
    for (int y = 0; y < f.side; ++y) {
        for (int x = 0; x < f.side; ++x) {
            const double light = host.at(x, y) + f.flux_adu * psf.share(out.transient, 100 + x, 200 + y);
            double adu = f.sky_adu + light;
            if (random != nullptr) {
                const double sigma = std::sqrt(f.scatter_adu * f.scatter_adu + light / f.gain);
                adu += random->gaussian(0.0, sigma);
            }
            out.cutout.adu.push_back(static_cast<float>(adu));
        }
    }
    return out;
}

SkyShift from_transient(const Frame& f, double nucleus_x, double nucleus_y) {
    return {-(nucleus_x - f.transient.x) * scale_arcsec, (nucleus_y - f.transient.y) * scale_arcsec, 0.0};
}

const FluxGrid circles{{1.5, 2.5, 3.75, 5.0, 7.5}, std::nullopt};
const FluxGrid circles_and_psf{{1.5, 2.5, 3.75, 5.0, 7.5, 0.0}, 5};

double aperture_e(const Psf& psf, const Surroundings& s, const Frame& f, double radius) {
    return f.flux_adu * f.gain * psf.encircled(s.transient, radius);
}

// (measured − true) over the whole error, host and all.
double pull(const HostLight& light, std::size_t k, double area_px, double star_photons_e2, double truth_e,
            const Frame& f) {
    const double s = f.scatter_adu * f.gain;
    const double variance = star_photons_e2 + light.host_e[k] + area_px * s * s + light.variance_e2[k] +
                            light.common_err_e[k] * light.common_err_e[k];
    return (light.flux_e[k] - truth_e) / std::sqrt(variance);
}

enum class HostKind { smooth, arms, clumps };

struct Draw {
    Sky sky;
    Frame frame;
    SkyShift nucleus;
};

// A bulge and a disk of random shape, the transient 6 to 25 arcsec from the nucleus.
Draw draw(HostKind kind, numerics::Random& random, double near_arcsec = 6.0, double far_arcsec = 25.0) {
    Draw d;
    const double distance = random.uniform(near_arcsec, far_arcsec) / scale_arcsec;
    const double direction = random.uniform(0.0, 2.0 * std::numbers::pi);
    d.frame.transient = {32.0 + random.uniform(-0.5, 0.5), 32.0 + random.uniform(-0.5, 0.5)};
    const double nx = d.frame.transient.x + distance * std::cos(direction);
    const double ny = d.frame.transient.y + distance * std::sin(direction);
    const double h = random.uniform(6.0, 15.0), q = random.uniform(0.4, 1.0);
    const double angle = random.uniform(0.0, std::numbers::pi);
    const double centre = random.uniform(100.0, 400.0);
    d.sky.disk(nx, ny, centre, h, q, angle);
    d.sky.gaussian(nx, ny, random.uniform(2e3, 2e4), 1.5, 0.8, angle);
    d.frame.flux_adu = random.uniform(500.0, 8000.0);
    if (kind == HostKind::arms) {
        d.sky.arm_contrast = 0.25;
        d.sky.arm_x = nx;
        d.sky.arm_y = ny;
        d.sky.arm_phase = random.uniform(0.0, 6.28);
    }
    if (kind == HostKind::clumps) {
        for (int k = 0; k < 40; ++k) {
            const double r = h * 1.5 * std::sqrt(random.uniform()), t = random.uniform(0.0, 6.283);
            d.sky.gaussian(nx + r * std::cos(t), ny + r * std::sin(t),
                           random.uniform(0.1, 1.0) * 6.0 * centre * std::exp(-r / h), 1.0, 1.0, 0.0);
        }
    }
    d.nucleus = from_transient(d.frame, nx, ny);
    return d;
}

struct Study {
    std::vector<double> pulls, misses, errors;
};
// One for each aperture.
std::vector<Study> study(HostKind kind, int seeds, bool psf, bool with_nucleus = true, double near = 6.0,
                         double far = 25.0) {
    const FluxGrid& grid = psf ? circles_and_psf : circles;
    std::vector<Study> out(grid.radii_px.size());
    const Psf image = star_image();
    for (int seed = 1; seed <= seeds; ++seed) {
        numerics::Random random(static_cast<std::uint64_t>(seed));
        Draw d = draw(kind, random, near, far);
        d.frame.psf = psf;
        const Surroundings s = expose(d.sky, d.frame, &random);
        const auto fit =
            fit_smooth_host(s, grid, with_nucleus ? std::optional(d.nucleus) : std::optional<SkyShift>{});
        INFO("seed " << seed);
        if (!fit) FAIL(one_line(fit.error()));
        for (std::size_t k = 0; k < out.size(); ++k) {
            const bool by_psf = grid.psf == k;
            const double radius = grid.radii_px[k];
            const double truth =
                by_psf ? d.frame.flux_adu * d.frame.gain : aperture_e(image, s, d.frame, radius);
            const double area = by_psf ? image.noise_area_px(s.transient)
                                       : square_area_px(std::numbers::pi * radius * radius);
            const double photons = by_psf ? image.photon_factor(s.transient) * truth : truth;
            out[k].pulls.push_back(pull(fit->light, k, area, photons, truth, d.frame));
            out[k].misses.push_back(fit->light.flux_e[k] - truth);
            out[k].errors.push_back(fit->light.common_err_e[k]);
        }
    }
    return out;
}

}  // namespace
