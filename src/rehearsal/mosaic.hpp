// SPDX-License-Identifier: MIT
// rehearsal/mosaic — the colours of an invented colour camera. Private to this room.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "frame/colour_pattern.hpp"
#include "rehearsal/invented_instrument.hpp"

namespace emberline::rehearsal {

// TR, TG, TB: in the order of frame::Colour.
[[nodiscard]] const std::array<Band, 3>& mosaic_bands();
[[nodiscard]] const Band& green_band();

// Absent where each pixel sees the same.
[[nodiscard]] std::optional<frame::ColourPattern> pattern_of(const InventedInstrument& instrument);

// What the air that is described for TG is to another colour: typical differences of extinction, and a sky
// as blue as moonless skies are.
[[nodiscard]] InventedAir air_in(const InventedAir& air_in_green, const Band& colour);

// What dye filters over a sensor do (common practice, no source): zero points below the green's, and colour
// terms, m_standard = m_instrumental + T C: TG to V −0.05 (B−V), TB to B +0.20 (B−V), TR to Rc −0.10 (V−Rc).
void give_dye_filters(InventedInstrument& instrument, double green_zero_point_mag);

// Each colour a plane, red, green, blue: where a pixel did not see it, the mean of its nearest neighbours
// that did (bilinear).
[[nodiscard]] std::vector<float> debayered(std::span<const float> adu, int width_px, int height_px,
                                           const frame::ColourPattern& pattern);

}  // namespace emberline::rehearsal
