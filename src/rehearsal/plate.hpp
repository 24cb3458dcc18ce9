// SPDX-License-Identifier: MIT
// rehearsal/plate — where the sky falls on the sensor, in truth and by the header's plate solution.
#pragma once

#include <array>
#include <vector>

#include "frame/header.hpp"
#include "frame/wcs.hpp"
#include "quantities/sky_position.hpp"
#include "rehearsal/invented_instrument.hpp"

namespace emberline::rehearsal {

class Plate {
  public:
    Plate(const InventedInstrument& instrument, const InventedPointing& pointing);

    // Pixels from 0, tangent plane.
    [[nodiscard]] frame::PixelPosition by_header(const SkyPosition& star) const;
    [[nodiscard]] frame::PixelPosition truth(const SkyPosition& star) const;
    // What lies (dx, dy) pixels away lies there on the sky.
    [[nodiscard]] SkyOffset on_sky(double dx_px, double dy_px) const;
    // CTYPE, CRVAL, CRPIX, CD, RADESYS of a tangent projection: what a plate solver would have written.
    [[nodiscard]] std::vector<frame::Card> cards() const;

  private:
    InventedPointing pointing_;
    double middle_x_px_, middle_y_px_;
    std::array<double, 4> cd_deg_per_px_;  // d(east)/dx, d(east)/dy, d(north)/dx, d(north)/dy
};

}  // namespace emberline::rehearsal
