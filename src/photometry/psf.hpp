// SPDX-License-Identifier: MIT
// photometry/psf — the image of a point on one frame: an elliptical Moffat core (Moffat 1969, A&A 3, 455)
// plus a table of what the frame's own stars show beyond it, both as the light that falls into a pixel
// (the effective PSF of Anderson & King 2000, PASP 112, 1360), so that no integration over pixels is left to
// do. Where enough stars allow it, the table changes linearly with x and y across the frame.
#pragma once

#include <array>
#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct MoffatCore {
    double fwhm_px = 0.0;  // geometric mean of the axes
    double moffat_beta = 3.5;
    double elongation = 1.0;     // long over short axis
    double direction_rad = 0.0;  // of the long axis, from +x towards +y
    bool operator==(const MoffatCore&) const = default;
};

// The table's nodes lie `step_px` apart, from −half to +half steps on both axes, about the star's centre.
// Row-major, (2 half + 1)², light share of a pixel beyond the core's; empty: none.
struct PsfTable {
    int half = 0;
    double step_px = 0.5;
    std::vector<double> constant, along_x, along_y;  // the last two are empty without variation
    frame::PixelPosition middle;                     // where x and y of the variation count from …
    double span_px = 1.0;                            // … and by which they are divided
    bool operator==(const PsfTable&) const = default;
};

class Psf {
  public:
    // The shares of all pixels within `reach_px` sum to 1 (mean over sub-pixel positions).
    // Problem: a core without a width, or β ≤ 1; a table of another size than it says, or that reaches far
    // beyond so sharp a core; numbers not finite.
    static Result<Psf> make(const MoffatCore& core, PsfTable table = {});

    // Of the light of a star at `star`, the share that falls into pixel (x, y). 0 beyond the reach.
    [[nodiscard]] double share(const frame::PixelPosition& star, int x, int y) const;
    // The same over a whole box, row-major.
    [[nodiscard]] std::vector<double> stamp(const frame::PixelPosition& star,
                                            const frame::PixelBox& box) const;
    // The share of the light that an aperture of that radius about the star collects, pixels at the edge by
    // the area covered, as sum_apertures counts.
    [[nodiscard]] double encircled(const frame::PixelPosition& star, double radius_px) const;
    // 1 / Σ share²: so many pixels of sky noise a fit with equal weights takes in.
    [[nodiscard]] double noise_area_px(const frame::PixelPosition& star) const;
    // Σ share³ / (Σ share²)²: photon noise of such a fit over that of the star itself (4/3 for a Gaussian).
    [[nodiscard]] double photon_factor(const frame::PixelPosition& star) const;

    [[nodiscard]] double fwhm_px() const { return core_.fwhm_px; }
    [[nodiscard]] double reach_px() const { return reach_px_; }
    [[nodiscard]] const MoffatCore& core() const { return core_; }
    [[nodiscard]] const PsfTable& table() const { return table_; }

    // As a plain list, for the ledger; `from_numbers` gives the same PSF again to the last bit.
    [[nodiscard]] std::vector<double> numbers() const;
    // Problem: a list that `numbers` did not write.
    static Result<Psf> from_numbers(std::span<const double> numbers);

  private:
    struct Grids;
    Psf() = default;
    [[nodiscard]] std::array<double, 3> factors(const frame::PixelPosition& star) const;
    // As stamp(), of a star that lies `within` the box but has the shape of one at `star`.
    [[nodiscard]] std::vector<double> own_stamp(const frame::PixelPosition& star,
                                                const frame::PixelPosition& within,
                                                const frame::PixelBox& box) const;
    MoffatCore core_;
    PsfTable table_;
    double reach_px_ = 0.0;
    std::shared_ptr<const Grids> grids_;  // copies share them
};

// Closed forms (Moffat 1969): what a round profile holds inside r, and its second moment on one axis (β > 2).
[[nodiscard]] double moffat_encircled(double fwhm_px, double moffat_beta, double radius_px);
[[nodiscard]] double moffat_variance_px2(double fwhm_px, double moffat_beta);
[[nodiscard]] double gaussian_encircled(double fwhm_px, double radius_px);

}  // namespace emberline::photometry
