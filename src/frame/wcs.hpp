// SPDX-License-Identifier: MIT
// frame/wcs — between pixels and sky, by WCSLIB: every projection and distortion that it knows.
// Pixels count from 0: the centre of the first pixel is (0, 0); FITS counts it (1, 1).
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::frame {

struct PixelPosition {
    double x = 0.0;  // along a row
    double y = 0.0;  // across rows, up where the first stored row is the lowest
    bool operator==(const PixelPosition&) const = default;
};

struct Lattice;

class Wcs {
  public:
    // `cards`: the header as one text of 80-character cards without the terminating END, or with it.
    // Problem: no celestial axes, a singular matrix, something that WCSLIB cannot use.
    static Result<Wcs> parse(std::string_view cards);

    // Problem: a place that the projection does not reach, or a distortion that does not converge.
    [[nodiscard]] Result<PixelPosition> pixel(const SkyPosition& position) const;
    [[nodiscard]] Result<SkyPosition> sky(const PixelPosition& position) const;

    // The same solution in the pixels of one colour of a mosaic, exactly: positions go through the lattice's
    // whole-number map and then through the stored frame's solution, distortions and all. This one must be
    // the stored frame's. FITS, the same said in keywords, for a red or blue lattice that begins at p = 0 or
    // 1 on an axis: CRPIX′ = (CRPIX − p + 1) / 2, CD′ = 2 CD, SIP A′_ij = 2^(i + j − 1) A_ij.
    [[nodiscard]] Wcs on(const Lattice& lattice) const;

    // At the reference pixel.
    [[nodiscard]] double scale_arcsec_per_px() const;      // sqrt |det CD|
    [[nodiscard]] bool mirrored() const;                   // det CD > 0: east right of north
    [[nodiscard]] Angle position_angle_of_y() const;       // east of north
    [[nodiscard]] const std::string& description() const;  // "TAN with SIP distortion"

  private:
    struct Impl;
    std::shared_ptr<const Impl> impl_;  // copies share it; WCSLIB's structure is used read-only behind a lock
    std::shared_ptr<const Lattice> lattice_;  // none: the stored pixels themselves
};

}  // namespace emberline::frame
