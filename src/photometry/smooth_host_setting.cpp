// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_setting.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline::photometry::smooth {
namespace {

constexpr int largest_side_px = 600;
constexpr double least_unit = 1e-6, most_unit = 1e9;  // of scatter and gain
// The grid's apertures go from 0.6 to 3 FWHM: the geometric mean is 1.34.
constexpr double middle_radius_fwhm = 1.34;
// Where the frame has no PSF the transient's wings are those of a usual one, so little trusted that the
// pixels under its core hardly count.
constexpr double own_psf_err = 0.03, stand_in_err = 0.3, stand_in_beta = 3.0;
constexpr double smallest_fwhm_px = 0.8, largest_fwhm_px = 60.0;

bool finite(const frame::PixelPosition& p) {
    return std::isfinite(p.x) && std::isfinite(p.y);
}

}  // namespace

std::string place_words(const frame::PixelPosition& transient) {
    return fmt::format("transient at pixel ({:.1f}, {:.1f})", transient.x, transient.y);
}

Result<Setting> setting(const Surroundings& around, const FluxGrid& grid,
                        const std::optional<SkyShift>& nucleus, const SkyShift& shift) {
    const auto refuse = [&](std::string what, std::string mend) {
        return fail(
            {.what = std::move(what), .where = place_words(around.transient), .mend = std::move(mend)});
    };
    const std::string measure_again = "Measure the frame again.";
    const frame::PixelBox& box = around.cutout.box;
    const bool box_good = box.width > 0 && box.height > 0 && box.width <= largest_side_px &&
                          box.height <= largest_side_px && around.cutout.adu.size() == box.pixels();
    if (!box_good)
        return refuse("The cut-out about the transient has no pixels, or too many.", measure_again);
    const auto sane = [](double v) { return v >= least_unit && v <= most_unit; };
    if (!sane(around.sky_scatter_adu) || !sane(around.gain_e_per_adu) ||
        !(std::abs(around.sky_adu) <= most_unit) ||
        !(around.sky_err_adu >= 0.0 && around.sky_err_adu <= most_unit))
        return refuse("The sky level, its scatter or the gain is not a number that can be used.",
                      "Check the frame's gain and sky, and measure it again.");
    Setting out;
    for (std::size_t k = 0; k < grid.radii_px.size(); ++k) {
        if (grid.psf == k) continue;
        if (!(grid.radii_px[k] > 0.0) || !std::isfinite(grid.radii_px[k]))
            return refuse("An aperture has no radius above zero.", "Check the aperture settings.");
        out.apertures.push_back(k);
    }
    if (grid.radii_px.empty() || (grid.psf && *grid.psf >= grid.radii_px.size()))
        return refuse("There is no aperture to measure in.", "Check the aperture settings.");
    std::sort(out.apertures.begin(), out.apertures.end(),
              [&](std::size_t a, std::size_t b) { return grid.radii_px[a] < grid.radii_px[b]; });
    if (grid.psf && around.psf.empty())
        return refuse("The PSF fit is asked for, but the frame has no PSF.",
                      "Use apertures for this frame, or measure it with stars enough for a PSF.");
    if (!around.psf.empty()) {
        auto psf = Psf::from_numbers(around.psf);
        if (!psf) return fail(at(place_words(around.transient), std::move(psf.error())));
        out.fwhm_px = psf->fwhm_px();
        out.psf = std::move(*psf);
        out.image_err = own_psf_err;
    } else {
        out.image_err = stand_in_err;
        out.fwhm_px = std::sqrt(grid.radii_px[out.apertures.front()] * grid.radii_px[out.apertures.back()]) /
                      middle_radius_fwhm;
    }
    out.fwhm_px = std::clamp(out.fwhm_px, smallest_fwhm_px, largest_fwhm_px);
    if (!out.psf) {
        auto psf = Psf::make({.fwhm_px = out.fwhm_px, .moffat_beta = stand_in_beta});
        if (!psf) return fail(at(place_words(around.transient), std::move(psf.error())));
        out.psf = std::move(*psf);
    }
    out.transient = around.pixel(shift.east_arcsec, shift.north_arcsec);
    if (nucleus) out.nucleus = around.pixel(nucleus->east_arcsec, nucleus->north_arcsec);
    if (!finite(out.transient) || (out.nucleus && !finite(*out.nucleus)) || !(shift.err_arcsec >= 0.0) ||
        !std::isfinite(shift.err_arcsec) ||
        (nucleus && !(nucleus->err_arcsec >= 0.0 && std::isfinite(nucleus->err_arcsec))))
        return refuse("A position or its error is not a number.",
                      "Check the coordinates of transient and nucleus.");
    const double px_per_arcsec = around.mean_px_per_arcsec();
    if (!(px_per_arcsec > 0.0) || !std::isfinite(px_per_arcsec))
        return refuse("The scale of the pixels on the sky is not known.", "Solve the frame's plate again.");
    out.position_err_px = shift.err_arcsec * px_per_arcsec;
    if (nucleus) out.centre_err_px = nucleus->err_arcsec * px_per_arcsec;
    if (!box.covers(out.transient.x, out.transient.y))
        return refuse("The transient lies outside the pixels kept about it.",
                      "Check its coordinates and the frame's plate solution.");
    return out;
}

}  // namespace emberline::photometry::smooth
