// SPDX-License-Identifier: MIT
// photometry/host_light — what one method says of the transient on one frame once its host is taken away.
#pragma once

#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/caveat.hpp"

namespace emberline::photometry {

// In the order of trust.
enum class HostMethod { difference, scene, smooth, annulus };
[[nodiscard]] constexpr const char* word(HostMethod method) {
    switch (method) {
        case HostMethod::difference:
            return "template";
        case HostMethod::scene:
            return "scene";
        case HostMethod::smooth:
            return "smooth";
        case HostMethod::annulus:
            return "annulus";
    }
    return "";
}

// The apertures of a frame. One of them may be the PSF fit, which has no radius of its own: the flux there is
// the star's whole light by fit_psf with equal weights.
struct FluxGrid {
    std::vector<double> radii_px;  // as many as there are apertures; not used at `psf`
    std::optional<std::size_t> psf;
};

// A place on the sky beside the transient's catalogue position.
struct SkyShift {
    double east_arcsec = 0.0, north_arcsec = 0.0;
    double err_arcsec = 0.0;  // one axis
    bool operator==(const SkyShift&) const = default;
};

// One value an aperture of the frame's grid (the PSF fit counts as one of them).
struct HostLight {
    HostMethod method = HostMethod::annulus;
    std::vector<double> flux_e;        // of the transient alone
    std::vector<double> host_e;        // taken away there
    std::vector<double> variance_e2;   // random, beyond photons of transient and host and the sky's n s²
    std::vector<double> common_err_e;  // one sigma of what all frames of the band share, signed
    // By a template: the transient's own light in it, as a point on a smooth host, on this frame's scale.
    double template_light_e = 0.0, template_light_err_e = 0.0;
    Caveats caveats;
    std::vector<std::string> remarks;
    bool operator==(const HostLight&) const = default;
};

// The pixels about the transient, and how they lie on the sky: all that is needed to take the host away
// later, from the ledger alone.
struct Surroundings {
    frame::Cutout cutout;                     // ADU
    frame::PixelPosition transient;           // by the plate solution and the frame's registration
    std::array<double, 4> px_per_arcsec{};    // dx/d(east), dx/d(north), dy/d(east), dy/d(north)
    double sky_adu = 0.0, sky_err_adu = 0.0;  // far from the host where it could be
    double sky_scatter_adu = 0.0;             // of one pixel
    double gain_e_per_adu = 1.0;
    double saturation_adu = 65535.0;
    std::vector<double> psf;  // Psf::numbers(); empty: the frame has none
    // Where a template was subtracted: what was left on the same box, and the PSF that it has.
    std::vector<float> difference_adu;
    std::vector<double> difference_psf;
    bool operator==(const Surroundings&) const = default;

    // The geometric mean over directions; 0 where the matrix is singular.
    [[nodiscard]] double mean_px_per_arcsec() const {
        const auto& m = px_per_arcsec;
        return std::sqrt(std::abs(m[0] * m[3] - m[1] * m[2]));
    }
    // Where a place `east`, `north` arcseconds from the transient falls.
    [[nodiscard]] frame::PixelPosition pixel(double east_arcsec, double north_arcsec) const {
        return {transient.x + px_per_arcsec[0] * east_arcsec + px_per_arcsec[1] * north_arcsec,
                transient.y + px_per_arcsec[2] * east_arcsec + px_per_arcsec[3] * north_arcsec};
    }
};

}  // namespace emberline::photometry
