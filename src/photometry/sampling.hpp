// SPDX-License-Identifier: MIT
// photometry/sampling — what a coarse lattice of pixels does to an aperture's sum. The sum of a star's
// samples over a circle depends on where the star falls between them: by aliasing of the image's spatial
// frequencies (Poisson's summation formula; Bracewell 1986, The Fourier Transform and Its Applications, ch.
// 10) and by the circle's edge through pixels that are not flat. With the frame's profile the effect of each
// star's place is known and taken out; what the profile does not know is in the error.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "frame/wcs.hpp"
#include "quantities/angle.hpp"
#include "stars/profile.hpp"

namespace emberline::photometry {

struct SampledImage {
    double fwhm_px = 0.0;  // of the star's image before the pixel gathers it, in the picture's pixels
    double elongation = 1.0;
    Angle direction;  // of the long axis, from +x towards +y
    double moffat_beta = 3.5;
    stars::PixelSquare square;  // that gathers light; half a pixel wide on a mosaic's red lattice
};

struct SamplingEffect {
    std::vector<double> correction;  // the sum times this is what an even lattice would give; one a radius
    std::vector<double> err;         // relative, one sigma, of what is left
};

// The image of a star as the pixels see it: an elliptical Moffat profile gathered over the square.
class GatheredImage {
  public:
    explicit GatheredImage(const SampledImage& image);
    // Share of the light in a pixel whose centre lies (dx, dy) from the star; all pixels of a fine lattice
    // share 1.
    [[nodiscard]] double at(double dx_px, double dy_px) const;

  private:
    double xx_ = 0.0, xy_ = 0.0, yy_ = 0.0;  // elliptical radius², in units of the Moffat core
    double beta_ = 3.5, peak_ = 0.0, fwhm_px_ = 0.0;
    double side_px_ = 1.0;
    double turn_x_ = 1.0, turn_y_ = 0.0;  // direction of the square's side
};

// The sums of one image for every place on the lattice: a Fourier series in the place, one a radius.
class SamplingTable {
  public:
    // Above it an image is so smooth that its sums vary by less than 1e-3: one place stands for all.
    static constexpr double smooth_fwhm_px = 4.5;

    // Radii in picture pixels, ascending from above 0; the image's numbers are finite, its width above 0.
    SamplingTable(const SampledImage& image, std::span<const double> radii_px);
    // `centre_err_px`: of one axis.
    [[nodiscard]] SamplingEffect at(const frame::PixelPosition& centre, double centre_err_px = 0.0) const;
    // One a radius: how much the sums vary over all places, one sigma, relative; how much of that stays when
    // it is taken out; the mean sum of a star of light 1; over how many pixels the light spreads, (Σ light)²
    // / Σ light².
    [[nodiscard]] const std::vector<double>& ripple() const { return ripple_; }
    [[nodiscard]] const std::vector<double>& unknown() const { return unknown_; }
    [[nodiscard]] const std::vector<double>& enclosed() const { return enclosed_; }
    [[nodiscard]] const std::vector<double>& pixels() const { return pixels_; }
    [[nodiscard]] const GatheredImage& image() const { return image_; }

  private:
    GatheredImage image_;
    std::vector<double> ripple_, unknown_, enclosed_, pixels_;
    std::vector<std::vector<double>> amplitude_;  // of the series, relative; one a radius; none: smooth
};

}  // namespace emberline::photometry
