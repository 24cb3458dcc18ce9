// SPDX-License-Identifier: MIT
// Notation: flux · PSF + a polynomial of third degree in x and y, over a circle about the place. The same fit
// at places around, where there is no star, tells what the host's own structure pretends.

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "photometry/image_part.hpp"
#include "photometry/template_difference.hpp"

namespace emberline::photometry {
namespace {

constexpr double fit_radius_fwhm = 2.5;
constexpr double blank_from_fwhm = 2.5, blank_to_fwhm = 5.0;
constexpr int blank_rings = 3, blanks_a_ring = 10;
constexpr std::size_t least_blanks = 6;
constexpr double most_doubtful = 0.2;  // of the pixels

struct Light {
    double flux = 0.0, err = 0.0;
};

std::optional<Light> point_on_host(const ReadyPixels& pixels, const Psf& psf,
                                   const frame::PixelPosition& at) {
    const frame::PixelBox& box = pixels.light.box;
    const double radius = std::max(4.0, fit_radius_fwhm * psf.fwhm_px());
    std::vector<std::size_t> used;
    std::size_t doubtful = 0;
    for (std::size_t k = 0; k < pixels.light.v.size(); ++k) {
        const double x = box.x0 + static_cast<int>(k) % box.width - at.x;
        const double y = box.y0 + static_cast<int>(k) / box.width - at.y;
        if (x * x + y * y > radius * radius) continue;
        if (pixels.doubt_adu[k] > 0.0) {
            ++doubtful;
        } else {
            used.push_back(k);
        }
    }
    const double circle = std::numbers::pi * radius * radius;
    if (static_cast<double>(used.size()) < (1.0 - most_doubtful) * circle ||
        static_cast<double>(doubtful) > most_doubtful * circle)
        return std::nullopt;
    const std::vector<double> shares = psf.stamp(at, box);
    constexpr int degree = 3;
    numerics::Matrix a(used.size(), 1 + (degree + 1) * (degree + 2) / 2);
    std::vector<double> y_adu, weights;
    for (std::size_t i = 0; i < used.size(); ++i) {
        const std::size_t k = used[i];
        const double x = (box.x0 + static_cast<int>(k) % box.width - at.x) / radius;
        const double y = (box.y0 + static_cast<int>(k) / box.width - at.y) / radius;
        std::size_t column = 0;
        a(i, column++) = shares[k];
        for (int p = 0; p <= degree; ++p) {
            for (int q = 0; p + q <= degree; ++q)
                a(i, column++) = std::pow(x, p) * std::pow(y, q);
        }
        y_adu.push_back(pixels.light.v[k]);
        weights.push_back(1.0 / pixels.variance_adu2[k]);
    }
    const auto fit = numerics::linear_fit(a, y_adu, weights);
    if (!fit) return std::nullopt;
    const double dof = std::max(1.0, static_cast<double>(fit->dof));
    return Light{fit->parameters[0], std::sqrt(fit->covariance(0, 0) * std::max(1.0, fit->chi2 / dof))};
}

}  // namespace

Result<LightInTemplate> transient_in_template(const ImagePart& host_template, double ratio) {
    const auto refuse = [](std::string what) {
        return fail({.what = std::move(what),
                     .where = "host template at the transient",
                     .mend = "Take a template that covers the transient's surroundings."});
    };
    const auto psf = own_psf(host_template);
    if (!psf) return fail(psf.error());
    if (!std::isfinite(ratio) || !(ratio > 0.0)) return refuse("The ratio of light is not above zero.");
    const frame::PixelBox& box = host_template.target.box;
    if (box.empty() || host_template.target.adu.size() != box.pixels())
        return refuse("The template has no pixels there.");
    const ReadyPixels pixels = ready_pixels(host_template.target, host_template.sky_adu, host_template.noise,
                                            host_template.saturation_adu);
    const auto here = point_on_host(pixels, *psf, host_template.transient);
    if (!here) return refuse("Too few pixels of the template are defined there.");
    std::vector<double> blanks;
    for (int ring = 0; ring < blank_rings; ++ring) {
        const double radius = psf->fwhm_px() * (blank_from_fwhm + ring * (blank_to_fwhm - blank_from_fwhm) /
                                                                      (blank_rings - 1.0));
        for (int k = 0; k < blanks_a_ring; ++k) {
            const double angle = 2.0 * std::numbers::pi * (k + 0.33 * ring) / blanks_a_ring;
            const auto there = point_on_host(pixels, *psf,
                                             {host_template.transient.x + radius * std::cos(angle),
                                              host_template.transient.y + radius * std::sin(angle)});
            if (there) blanks.push_back(there->flux);
        }
    }
    double err = here->err;
    if (blanks.size() >= least_blanks) {
        // About zero, not about their own mean: what they all pretend, the place may pretend too.
        for (double& b : blanks)
            b = std::abs(b);
        err = std::max(err, numerics::mad_to_sigma * numerics::median(blanks));
    }
    return LightInTemplate{ratio * here->flux, ratio * err};
}

}  // namespace emberline::photometry
