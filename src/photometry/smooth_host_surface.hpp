// SPDX-License-Identifier: MIT
// photometry/smooth_host_surface — one linear fit of the light about a place. Private to the room.
// Notation: light = Σ_j m_j M_j (mean: profile or polynomial) + Σ_k b_k φ_k (bumps within a few FWHM) +
// F P (a point there). m_j and b_k have Gaussian priors of mean 0; b_k's variance is that of the structure
// measured in the residuals. Such a sum of bumps is a Gaussian process of low rank (Rasmussen & Williams
// 2006, section 8.1; kriging), so the fit also tells how well it knows the light under the point:
// C = (Aᵀ W A + Π)⁻¹, of which C Aᵀ W A C is the pixels' noise and C Π C the structure.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "frame/wcs.hpp"
#include "numerics/matrix.hpp"
#include "photometry/psf.hpp"
#include "photometry/smooth_host_pixels.hpp"

namespace emberline::photometry::smooth {

// The mean's columns at every pixel, row-major: pixels × columns.
struct MeanBasis {
    std::size_t columns = 0;
    std::vector<double> rows;
    std::vector<double> prior_weight;  // 1 / variance of a coefficient
    bool whole_box = false;            // fitted to all pixels; else only to those near the place
    [[nodiscard]] std::span<const double> row(std::size_t pixel) const {
        return std::span<const double>(rows).subspan(pixel * columns, columns);
    }
};

struct SurfaceOptions {
    double fwhm_px = 0.0;
    double reach_px = 0.0;        // pixels this near take part at full weight
    const Psf* psf = nullptr;     // given: a point is fitted at the place
    double structure_adu2 = 0.0;  // variance of the light that the bumps stand for
    double point_adu = 0.0;       // brightness of the point, about …
    double image_err = 0.0;       // … whose image is known that well, relative
};

// A sum of light Σ w (pixel), for an aperture or a fit of equal weights.
struct Footprint {
    std::vector<std::size_t> pixel;
    std::vector<double> weight;
};

// Aᵀ W A and Aᵀ W y of the mean alone over the whole box, structure counted as noise (in clumps of the
// bumps' size, so that a thousand pixels on one arm do not count as a thousand).
struct WholeNormal {
    numerics::Matrix normal;
    std::vector<double> right;
};
[[nodiscard]] WholeNormal whole_normal(const PixelMap& pixels, const MeanBasis& mean, double fwhm_px,
                                       const std::vector<char>& leave_out);

class Surface {
  public:
    // `leave_out`: pixels not to be used whatever the map says; `whole` was made with the same.
    Surface(const PixelMap& pixels, const MeanBasis& mean, const WholeNormal& whole,
            const frame::PixelPosition& place, const std::vector<char>& leave_out,
            const SurfaceOptions& options);

    [[nodiscard]] double host_adu(std::size_t pixel) const;  // without the point
    [[nodiscard]] double point_adu() const { return point_adu_; }
    [[nodiscard]] std::size_t pixels_near() const { return near_; }
    struct Known {
        double host_adu = 0.0;
        double variance_adu2 = 0.0;        // of it, by the fit's own account
        double noise_variance_adu2 = 0.0;  // the part that another frame would change
    };
    [[nodiscard]] Known known(const Footprint& footprint) const;

  private:
    // Of one pixel: which columns are not 0 there, the mean's before the bumps'.
    struct Row {
        std::vector<std::size_t> column;
        std::vector<double> value;
    };
    void fill(Row& row, std::size_t pixel) const;
    void lay_bumps(const frame::PixelPosition& place, double fwhm_px, double structure_adu2);
    void solve(numerics::Matrix normal, std::vector<double> right);

    const PixelMap* pixels_;
    const MeanBasis* mean_;
    double bump_px_ = 0.0;
    std::vector<frame::PixelPosition> bumps_;
    std::vector<double> coefficients_, prior_weight_;
    std::vector<double> scale_;  // of the columns, so that the factor below is of a matrix of unit diagonal
    numerics::Matrix lower_;
    double point_adu_ = 0.0;
    std::size_t near_ = 0;
};

}  // namespace emberline::photometry::smooth
