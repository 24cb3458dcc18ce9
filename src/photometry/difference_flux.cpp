// SPDX-License-Identifier: MIT
// Notation: a the weight of a pixel of the difference D (its share in the aperture, or of the PSF), A = Σ a,
// c the background's weights, a' = a − A c; N makes N Σ a' PSF_D what the frame's own PSF puts there. The
// flux N Σ a' D is linear in the independent pixels of both images: their weights are Kᵀ and Rᵀ of N a'.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "numerics/robust.hpp"
#include "photometry/circle_pixel.hpp"
#include "photometry/image_part.hpp"
#include "photometry/noise.hpp"
#include "photometry/template_difference.hpp"

namespace emberline::photometry {
namespace {

constexpr double fit_radius_fwhm = 1.5;  // as fit_psf's own
constexpr double most_missing = 0.35;    // of the transient's light in an aperture
constexpr double hit_sigma = 6.0;        // a pixel so far above host and transient was hit …
constexpr double hit_mismatch = 0.25;    // … beyond this share of the transient's light there
constexpr double hit_radius_fwhm = 2.5;

struct Pixels {
    frame::PixelBox box;
    std::vector<double> d, variance;
    std::vector<bool> good;
    std::vector<double> psf, frame_psf;
};

// (Kᵀ w)(q) = Σ w(p) K(p − q): from weights on `box` to weights on the box grown by `half`.
PixelPlane carried_back(const PixelPlane& weights, const std::vector<double>& kernel, int half) {
    PixelPlane out{grown(weights.box, half), {}};
    const auto width = static_cast<std::size_t>(out.box.width);
    out.v.assign(width * static_cast<std::size_t>(out.box.height), 0.0);
    std::size_t p = 0;
    for (int y = 0; y < weights.box.height; ++y) {
        for (int x = 0; x < weights.box.width; ++x, ++p) {
            const double w = weights.v[p];
            if (w == 0.0) continue;
            // K(u) meets the pixel u before this one.
            std::size_t k = kernel.size();
            for (int v = 0; v <= 2 * half; ++v) {
                double* to =
                    out.v.data() + static_cast<std::size_t>(y + v) * width + static_cast<std::size_t>(x);
                for (int u = 0; u <= 2 * half; ++u)
                    to[u] += w * kernel[--k];
            }
        }
    }
    return out;
}

// Without light of the PSF beyond `radius_px`: a fit of equal weights.
std::vector<double> fit_weights(const Pixels& px, const frame::PixelPosition& at, double radius_px) {
    std::vector<double> a(px.d.size(), 0.0);
    double squares = 0.0;
    for (std::size_t k = 0; k < a.size(); ++k) {
        const double x = px.box.x0 + static_cast<int>(k) % px.box.width - at.x;
        const double y = px.box.y0 + static_cast<int>(k) / px.box.width - at.y;
        if (x * x + y * y > radius_px * radius_px) continue;
        a[k] = px.psf[k], squares += px.psf[k] * px.psf[k];
    }
    for (double& w : a)
        w /= squares > 0.0 ? squares : 1.0;
    return a;
}

std::vector<double> circle_weights(const Pixels& px, const frame::PixelPosition& at, double radius_px) {
    std::vector<double> a(px.d.size(), 0.0);
    for (std::size_t k = 0; k < a.size(); ++k)
        a[k] = circle_pixel_overlap(px.box.x0 + static_cast<int>(k) % px.box.width - at.x,
                                    px.box.y0 + static_cast<int>(k) / px.box.width - at.y, radius_px);
    return a;
}

double fitted_flux(const Pixels& px, const std::vector<double>& a) {
    double sum = 0.0, model = 0.0;
    for (std::size_t k = 0; k < a.size(); ++k) {
        if (px.good[k]) sum += a[k] * px.d[k], model += a[k] * px.psf[k];
    }
    return model > 0.0 ? sum / model : std::numeric_limits<double>::quiet_NaN();
}

// Leaves out pixels far above the transient's own image; the middle of the ratios to it starts the search,
// since a hit cannot move that.
bool leave_out_hits(Pixels& px, const Difference& difference, const frame::PixelPosition& at,
                    double gain_e_per_adu) {
    const double peak = *std::max_element(px.psf.begin(), px.psf.end());
    std::vector<double> ratios;
    for (std::size_t k = 0; k < px.d.size(); ++k) {
        if (px.good[k] && px.psf[k] > 0.3 * peak) ratios.push_back(px.d[k] / px.psf[k]);
    }
    if (ratios.size() < 4) return false;
    double flux = numerics::median(std::move(ratios));
    const double reach = hit_radius_fwhm * difference.psf.fwhm_px();
    const std::vector<double> a = fit_weights(px, at, fit_radius_fwhm * difference.psf.fwhm_px());
    bool any = false;
    for (int round = 0; round < 3; ++round) {
        bool changed = false;
        for (std::size_t k = 0; k < px.d.size(); ++k) {
            const double x = px.box.x0 + static_cast<int>(k) % px.box.width - at.x;
            const double y = px.box.y0 + static_cast<int>(k) / px.box.width - at.y;
            if (!px.good[k] || x * x + y * y > reach * reach) continue;
            const double model = flux * px.psf[k], light = std::max(model, 0.0);
            const double sigma = std::sqrt(px.variance[k] + light / gain_e_per_adu);
            const double above = px.d[k] - model;
            if (above > hit_sigma * sigma + hit_mismatch * std::max(0.0, flux) * peak) {
                px.good[k] = false;
                changed = any = true;
            }
        }
        if (!changed) break;
        flux = fitted_flux(px, a);
    }
    return any;
}

// What the pixels under an aperture have against them.
void add_caveats(const std::vector<double>& whole, const Pixels& px, const DifferenceParts& parts,
                 Caveats& caveats) {
    for (std::size_t k = 0; k < whole.size(); ++k) {
        if (whole[k] == 0.0) continue;
        if (parts.saturated[k]) caveats.add(Caveat::saturated);
        if (parts.cosmic_ray[k]) caveats.add(Caveats{Caveat::cosmic_ray, Caveat::bad_pixels});
        if (!px.good[k]) caveats.add(Caveat::bad_pixels);
    }
}

// N a' of the notation, for one aperture or for the fit of the PSF.
struct FluxWeights {
    PixelPlane w;
    double host_adu = 0.0;   // that was taken away under it
    double put_there = 0.0;  // of a star's light, by the frame's own PSF
    bool usable = false;     // enough of the transient's light lies on good pixels
};
// `whole`: a of the notation. `radius_px`: absent for the fit.
FluxWeights flux_weights(const std::vector<double>& whole, const Pixels& px, const Difference& difference,
                         const Psf& own, const frame::PixelPosition& at, std::optional<double> radius_px) {
    const DifferenceParts& parts = difference.parts;
    const std::size_t n = whole.size();
    FluxWeights out{{px.box, std::vector<double>(n, 0.0)}};
    double all = 0.0, seen = 0.0, area = 0.0;
    for (std::size_t k = 0; k < n; ++k) {
        if (whole[k] == 0.0) continue;
        all += whole[k] * px.psf[k];
        out.host_adu += whole[k] * parts.host_adu[k];
        if (!px.good[k]) continue;
        out.w.v[k] = whole[k];
        seen += whole[k] * px.psf[k], area += whole[k];
    }
    out.put_there = radius_px ? own.encircled(at, *radius_px) : 1.0;
    // Beyond the box there is light of the aperture too.
    const double expected = radius_px ? difference.psf.encircled(at, *radius_px) : all;
    for (std::size_t k = 0; k < n; ++k)
        out.w.v[k] -= area * parts.background_weights[k];
    double norm = 0.0;
    for (std::size_t k = 0; k < n; ++k)
        norm += out.w.v[k] * px.psf[k];
    out.usable = seen >= (1.0 - most_missing) * expected && norm > 0.0;
    if (!out.usable) return out;
    for (double& w : out.w.v)
        w *= out.put_there / norm;
    return out;
}

// Variances of Σ w D by the independent pixels of both images, ADU².
struct ImageNoise {
    double frame_adu2 = 0.0, template_adu2 = 0.0;
};
// `light_adu`: the transient's whole, for its photons.
ImageNoise image_noise(const PixelPlane& w, const Difference& difference, const PixelNoise& noise,
                       const std::vector<double>& frame_psf, double light_adu) {
    const DifferenceParts& parts = difference.parts;
    const MatchKernel& kernel = parts.kernel;
    const double scale = difference.template_convolved ? 1.0 : 1.0 / kernel.sum;
    const PixelPlane convolved = carried_back(w, kernel.values, kernel.half);
    PixelPlane on_frame = w;
    if (!difference.template_convolved) {
        std::size_t k = 0;
        for (int y = 0; y < w.box.height; ++y) {
            for (int x = 0; x < w.box.width; ++x, ++k)
                on_frame.v[k] = scale * convolved.v[static_cast<std::size_t>(y + kernel.half) *
                                                        static_cast<std::size_t>(convolved.box.width) +
                                                    static_cast<std::size_t>(x + kernel.half)];
        }
    }
    ImageNoise out;
    const std::vector<double> on_template =
        parts.resampled->transposed(difference.template_convolved ? convolved.v : w.v);
    for (std::size_t k = 0; k < on_template.size(); ++k)
        out.template_adu2 +=
            scale * scale * on_template[k] * on_template[k] * parts.template_variance_adu2[k];
    const double sky2 = noise.sky_scatter_adu * noise.sky_scatter_adu;
    for (std::size_t k = 0; k < w.v.size(); ++k) {
        const double photons = std::max(0.0, parts.host_adu[k]) + light_adu * frame_psf[k];
        out.frame_adu2 += on_frame.v[k] * on_frame.v[k] * (sky2 + photons / noise.gain_e_per_adu);
    }
    return out;
}

// One sigma of Σ w D by the kernel: its scale, its shape beside a steep nucleus.
double kernel_err_adu(const PixelPlane& w, const DifferenceParts& parts) {
    std::vector<double> along(parts.kernel.coefficients.size(), 0.0);
    for (std::size_t c = 0; c < along.size(); ++c) {
        const std::vector<double>& slope = parts.gradient[c].v;
        for (std::size_t k = 0; k < w.v.size(); ++k)
            along[c] += w.v[k] * slope[k];
    }
    return parts.kernel.err_along(along);
}

}  // namespace

Result<HostLight> measure_difference(const Difference& difference, const ImagePart& frame,
                                     const FluxGrid& grid, const frame::PixelPosition& position) {
    const frame::PixelBox& box = difference.image.box;
    const auto refuse = [&](std::string what) {
        return fail({.what = std::move(what),
                     .where = fmt::format("difference at ({:.1f}, {:.1f})", position.x, position.y),
                     .mend = "Check the transient's position and the template's coverage."});
    };
    if (!(position.x > box.x0 - 0.5 && position.x < box.x0 + box.width - 0.5 && position.y > box.y0 - 0.5 &&
          position.y < box.y0 + box.height - 0.5))
        return refuse("The transient lies outside the difference of frame and template.");
    if (grid.radii_px.empty()) return refuse("There is no aperture.");
    const double gain = frame.noise.gain_e_per_adu;
    const double sky2 = frame.noise.sky_scatter_adu * frame.noise.sky_scatter_adu;

    Pixels px{box, {}, difference.variance_adu2, {}, difference.psf.stamp(position, box), {}};
    const auto own = own_psf(frame);
    if (!own) return fail(own.error());
    px.frame_psf = own->stamp(position, box);
    for (const float adu : difference.image.adu) {
        px.d.push_back(static_cast<double>(adu));
        px.good.push_back(std::isfinite(adu));
    }
    HostLight out;
    out.method = HostMethod::difference;
    out.caveats = difference.caveats;
    out.remarks = difference.remarks;
    if (leave_out_hits(px, difference, position, gain))
        out.caveats.add(Caveats{Caveat::cosmic_ray, Caveat::bad_pixels});

    bool any = false;
    for (std::size_t aperture = 0; aperture < grid.radii_px.size(); ++aperture) {
        const bool fit = grid.psf == aperture;
        const double radius_px = grid.radii_px[aperture];
        if (!fit && !(radius_px > 0.0)) return refuse("An aperture has no radius.");
        const std::vector<double> whole =
            fit ? fit_weights(px, position, fit_radius_fwhm * difference.psf.fwhm_px())
                : circle_weights(px, position, radius_px);
        add_caveats(whole, px, difference.parts, out.caveats);
        const FluxWeights weights = flux_weights(whole, px, difference, *own, position,
                                                 fit ? std::nullopt : std::optional<double>(radius_px));
        out.host_e.push_back(gain * weights.host_adu);
        if (!weights.usable) {
            const double undefined = std::numeric_limits<double>::quiet_NaN();
            out.flux_e.push_back(undefined);
            out.variance_e2.push_back(undefined);
            out.common_err_e.push_back(undefined);
            continue;
        }
        any = true;
        const PixelPlane& w = weights.w;
        double flux = 0.0;
        for (std::size_t k = 0; k < w.v.size(); ++k) {
            // Where the background was taken a pixel is defined, though a hit near the transient is left out.
            if (w.v[k] != 0.0) flux += w.v[k] * px.d[k];
        }
        const double light = std::max(0.0, fit ? flux : flux / std::max(weights.put_there, 1e-6));
        const ImageNoise noise = image_noise(w, difference, frame.noise, px.frame_psf, light);
        const double own_area =
            fit ? own->noise_area_px(position) : square_area_px(std::numbers::pi * radius_px * radius_px);
        const double counted = own_area * sky2 + std::max(0.0, weights.host_adu) / gain +
                               std::max(0.0, flux) / gain * (fit ? own->photon_factor(position) : 1.0);
        const double kernel_err = kernel_err_adu(w, difference.parts);
        const double reference_share = difference.parts.kernel.reference_share;
        const double common_share = difference.template_convolved ? reference_share : 1.0 - reference_share;
        const double random =
            std::max(0.0, noise.frame_adu2 - counted) + (1.0 - common_share) * kernel_err * kernel_err;
        out.flux_e.push_back(gain * flux);
        out.variance_e2.push_back(gain * gain * random);
        out.common_err_e.push_back(gain *
                                   std::sqrt(noise.template_adu2 + common_share * kernel_err * kernel_err));
    }
    if (!any) return refuse("Too many of the pixels under the transient are undefined.");
    return out;
}

}  // namespace emberline::photometry
