// SPDX-License-Identifier: MIT
// rehearsal/moffat — the image of a point: an elliptical Moffat profile, integrated over pixels.
// Source: Moffat 1969, A&A 3, 455: I(r) = (β − 1)/(π α²) (1 + r²/α²)^−β holds one electron in all, and
// 1 − (1 + r²/α²)^(1 − β) of it inside r.
#pragma once

#include <memory>
#include <vector>

#include "frame/wcs.hpp"
#include "rehearsal/light_map.hpp"

namespace emberline::rehearsal {

struct PointSpread {
    double fwhm_px = 2.5;        // geometric mean of the two axes
    double moffat_beta = 3.5;    // > 1
    double elongation = 1.0;     // long over short axis
    double direction_deg = 0.0;  // of the long axis, from +x towards +y
    double defocus_px = 0.0;     // radius of an evenly lit disk, convolved with the profile
    double trail_px = 0.0, trail_direction_deg = 0.0;  // length of an even line, convolved too
};

class BlurTable;

class Moffat {
  public:
    // The part of a star's light that is left out, the same for every star: far below what any frame shows.
    static constexpr double left_out = 2e-5;
    // What the pixel sums may differ from the exact integral by, in all.
    static constexpr double accuracy = 1e-4;

    explicit Moffat(const PointSpread& spread);

    // Before defocus and trail: electrons a square pixel at (dx, dy) pixels from the star, for a star of one
    // electron.
    [[nodiscard]] double density(double dx, double dy) const { return density_at(elliptical(dx, dy)); }
    // Electrons in the pixel whose centre lies (dx, dy) from the star.
    [[nodiscard]] double over_pixel(double dx, double dy) const;
    void add_star(LightMap& map, const frame::PixelPosition& position, double flux_e) const;

    // The light of a point that sits (x, y) from the centre of the middle pixel, out to `fwhms` times the
    // width, as shares that sum to 1.
    struct Kernel {
        int reach_x = 0, reach_y = 0;
        std::vector<double> share;  // row-major, (2 reach_x + 1) × (2 reach_y + 1)
    };
    [[nodiscard]] Kernel kernel(double x, double y, double fwhms) const;

  private:
    // r²/α² along the ellipse.
    [[nodiscard]] double elliptical(double dx, double dy) const {
        return xx_ * dx * dx + 2.0 * xy_ * dx * dy + yy_ * dy * dy;
    }
    [[nodiscard]] double density_at(double q) const;
    [[nodiscard]] double sharp_over_pixel(double dx, double dy) const;

    std::shared_ptr<const BlurTable> blurred_;  // where defocused or trailed
    double blur_px_ = 0.0;                      // how far that throws light
    double beta_ = 0.0, peak_ = 0.0;
    double xx_ = 0.0, xy_ = 0.0, yy_ = 0.0;
    double fwhm_squared_ = 0.0;  // elliptical() at one full width from the centre
    double last_ = 0.0;          // elliptical() beyond which no light is put
};

}  // namespace emberline::rehearsal
