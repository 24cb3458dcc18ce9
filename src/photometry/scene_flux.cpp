// SPDX-License-Identifier: MIT
// Notation: a an aperture's weights of the pixels; q = aᵀ(response of host and sky), g = aᵀ(response of
// everything) over the pixels fitted; x the shared field with covariance Σ, n the frame's own unknowns, which
// follow it as n = n₀ − K x with covariance D⁻¹. With the noise e of the pixels, the flux's error is
// aᵀe − qᵀδ(x, n); since the estimate δ is made of the same e, Cov(aᵀe, qᵀδ) = gᵀ Cov(x, n) q.
#include "photometry/scene_flux.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "photometry/circle_pixel.hpp"

namespace emberline::photometry {
namespace {

using numerics::Matrix;

double dot(const std::vector<double>& a, const std::vector<double>& b) {
    double sum = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i)
        sum += a[i] * b[i];
    return sum;
}

std::vector<double> weighted(const Matrix& response, const std::vector<double>& a) {
    std::vector<double> out(response.columns(), 0.0);
    for (std::size_t i = 0; i < a.size(); ++i) {
        if (a[i] == 0.0) continue;
        for (std::size_t k = 0; k < out.size(); ++k)
            out[k] += a[i] * response(i, k);
    }
    return out;
}

// The field's response once the frame's own unknowns follow it: v − Kᵀ n.
std::vector<double> followed(std::vector<double> field, const std::vector<double>& own, const Matrix& gain) {
    for (std::size_t j = 0; j < own.size(); ++j) {
        for (std::size_t k = 0; k < field.size(); ++k)
            field[k] -= gain(j, k) * own[j];
    }
    return field;
}

struct Prediction {
    std::vector<double> host_e, host_sky_e, transient_e;
};

Prediction predict(const FrameScene& f, const Matrix& response, const Matrix& full, const Matrix& host_only,
                   const std::vector<double>& field, const std::vector<double>& own) {
    const std::size_t rows = response.rows(), nodes = response.columns() - place_unknowns;
    const std::vector<double> made_good = shift_made_good(f);
    Prediction p;
    for (std::size_t i = 0; i < rows; ++i) {
        double host = 0.0, rest = made_good[i];
        for (std::size_t k = 0; k < nodes; ++k)
            host += response(i, k) * field[k];
        for (std::size_t k = nodes; k < nodes + place_unknowns; ++k)
            rest += response(i, k) * field[k];
        for (std::size_t j = 0; j < own_unknowns; ++j) {
            rest += (full(i, j) - host_only(i, j)) * own[j];
            if (j != sky_left) host += host_only(i, j) * own[j];
        }
        p.host_e.push_back(host);
        p.host_sky_e.push_back(host + own[sky_left]);
        p.transient_e.push_back(rest);
    }
    return p;
}

// A pixel's weight in an aperture about `star`, or in the fit of the point's image with equal weights.
std::vector<double> aperture_weights(const FrameScene& f, const frame::PixelPosition& star, double radius) {
    std::vector<double> a;
    for (const auto& p : f.pixels.at)
        a.push_back(circle_pixel_overlap(p[0] - star.x, p[1] - star.y, radius));
    return a;
}
std::vector<double> fit_weights(const FrameScene& f, const frame::PixelPosition& star) {
    std::vector<double> a(f.pixels.at.size(), 0.0);
    std::vector<double> shares;
    f.points.shares(star, f.pixels.at, shares);
    double sum = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i) {
        const auto& p = f.pixels.at[i];
        if (std::hypot(p[0] - star.x, p[1] - star.y) > 1.5 * f.fwhm_px || !f.pixels.defined[i]) continue;
        a[i] = shares[i];
        sum += shares[i] * shares[i];
    }
    for (double& w : a)
        w = sum > 0.0 ? w / sum : std::numeric_limits<double>::quiet_NaN();
    return a;
}

frame::Cutout picture(const FrameScene& f, const std::vector<double>& host_sky_e) {
    const Surroundings& around = *f.frame->around;
    frame::Cutout out{around.cutout.box,
                      std::vector<float>(around.cutout.adu.size(), std::numeric_limits<float>::quiet_NaN())};
    for (std::size_t i = 0; i < host_sky_e.size(); ++i)
        out.at(f.pixels.at[i][0], f.pixels.at[i][1]) =
            static_cast<float>(around.sky_adu + host_sky_e[i] / f.gain);
    return out;
}

}  // namespace

FrameLights measure_frame(const FrameScene& f, const Matrix& response, const Matrix& full,
                          const Matrix& host_only, const numerics::EliminatedBlock& block,
                          const SolvedScene& scene) {
    std::vector<double> field = scene.field.mean;
    for (std::size_t k = 0; k < field.size(); ++k)
        field[k] += scene.zero_shift_sigmas * scene.field_by_zero[k];
    std::vector<double> own = block.at_zero;
    const std::vector<double> following = numerics::multiply(block.gain, field);
    for (std::size_t j = 0; j < own.size(); ++j)
        own[j] -= following[j];
    const Prediction seen = predict(f, response, full, host_only, field, own);

    FrameLights out;
    out.model = picture(f, seen.host_sky_e);
    HostLight& lights = out.lights;
    lights.method = HostMethod::scene;
    lights.caveats.add(Caveat::host_modelled);
    if (f.cosmic_on_transient) lights.caveats.add(Caveat::cosmic_ray);
    const std::size_t nodes = field.size() - place_unknowns;
    frame::PixelPosition star = f.frame->around->pixel(scene.place.east_arcsec + field[nodes],
                                                       scene.place.north_arcsec + field[nodes + 1]);
    star.x += own[shift_x];
    star.y += own[shift_y];

    const FluxGrid& grid = f.frame->grid;
    for (std::size_t r = 0; r < grid.radii_px.size(); ++r) {
        const bool by_fit = grid.psf == r;
        const double radius = grid.radii_px[r];
        std::vector<double> a = by_fit ? fit_weights(f, star) : aperture_weights(f, star, radius);
        double area = 0.0, filled = 0.0, filled_share = 0.0, flux = 0.0, host = 0.0;
        for (std::size_t i = 0; i < a.size(); ++i) {
            area += a[i];
            host += a[i] * seen.host_e[i];
            if (f.pixels.defined[i] || a[i] == 0.0) {
                flux += a[i] * (f.pixels.light_e[i] - seen.host_sky_e[i]);
                continue;
            }
            // As much as the fit expects of the transient there.
            flux += a[i] * seen.transient_e[i];
            filled += a[i];
            filled_share += a[i] * f.point[i];
            a[i] = 0.0;
        }
        if (!by_fit) {
            const double whole = std::numbers::pi * radius * radius;
            if (area < 0.998 * whole) lights.caveats.add(Caveat::edge);
            if (filled > 0.0) lights.caveats.add(Caveat::bad_pixels);
            if (!(area - filled > 0.9 * whole)) flux = std::numeric_limits<double>::quiet_NaN();
        }
        std::vector<double> in_fit = a;
        for (std::size_t i = 0; i < a.size(); ++i)
            in_fit[i] = f.pixels.fitted[i] ? a[i] : 0.0;
        std::vector<double> qx = weighted(response, a);
        qx[nodes] = qx[nodes + 1] = 0.0;
        const std::vector<double> qn = weighted(host_only, a), gn = weighted(full, in_fit);
        const std::vector<double> q = followed(std::move(qx), qn, block.gain);
        double variance = numerics::quadratic_form(scene.field.covariance, q, q) +
                          numerics::quadratic_form(block.covariance, qn, qn) -
                          2.0 * numerics::quadratic_form(block.covariance, gn, qn);
        double common = -dot(scene.field_by_zero, q);
        if (f.host_from_it) {
            const std::vector<double> g = followed(weighted(response, in_fit), gn, block.gain);
            variance -= 2.0 * numerics::quadratic_form(scene.field.covariance, g, q);
            common += dot(scene.field_by_zero, g);
        }
        const double point_var = block.covariance(transient_light, transient_light);
        variance += filled_share * filled_share * point_var;
        lights.flux_e.push_back(flux);
        lights.host_e.push_back(host);
        lights.variance_e2.push_back(std::max(variance - common * common, 0.0));
        // Where the host is brighter than fitted the flux is lower in all; the sign that reads well is the
        // other.
        lights.common_err_e.push_back(-common * scene.zero_err_left);
    }
    return out;
}

}  // namespace emberline::photometry
