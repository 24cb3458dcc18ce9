// SPDX-License-Identifier: MIT
// photometry/smooth_host_mean — the mean light that a smooth host has, ready for the fit. Private to the
// room.
#pragma once

#include <optional>
#include <vector>

#include "frame/wcs.hpp"
#include "photometry/smooth_host_ellipse.hpp"
#include "photometry/smooth_host_pixels.hpp"
#include "photometry/smooth_host_surface.hpp"

namespace emberline::photometry::smooth {

struct MeanHost {
    MeanBasis basis;
    std::optional<Profile> profile;  // absent: a polynomial
    std::size_t degree = 0;          // of that
    double structure_adu2 = 0.0;     // variance at the transient of what the mean does not follow
    double scale_adu = 0.0;          // light of the mean at the transient
};

struct MeanOptions {
    double fwhm_px = 0.0;
    double gain_e_per_adu = 1.0;
    double centre_err_px = 0.0;
};

// Both fill in the map's variances and take stars and cosmic rays out of it. `hidden`: the transient's
// pixels.
[[nodiscard]] MeanHost profile_host(PixelMap& pixels, const std::vector<char>& hidden,
                                    const frame::PixelPosition& transient,
                                    const frame::PixelPosition& nucleus, const MeanOptions& options);
// Degree 0 to 3, the one that the BIC (Schwarz 1978) prefers near the transient.
[[nodiscard]] MeanHost polynomial_host(PixelMap& pixels, const std::vector<char>& hidden,
                                       const frame::PixelPosition& transient, const MeanOptions& options);

[[nodiscard]] MeanBasis polynomial_basis(const PixelMap& pixels, const frame::PixelPosition& about,
                                         double unit_px, std::size_t degree, bool whole_box);

// Where no nucleus is known, pixels this near take part.
inline constexpr double polynomial_reach_fwhm = 6.0;

}  // namespace emberline::photometry::smooth
