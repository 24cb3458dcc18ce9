// SPDX-License-Identifier: MIT
// rehearsal/sensor — what a camera does to light before it is counted, and what it counts without any.
// All of it follows from the instrument's sensor_seed: it is the same in every frame. Private to this room.
#pragma once

#include <vector>

#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/light_map.hpp"

namespace emberline::rehearsal {

// Vignetting, dust, dead pixels and each pixel's response take their shares.
void dim(LightMap& light, const InventedInstrument& instrument);

struct HotPixel {
    std::size_t index;  // among the row-major pixels
    double dark_e_per_s;
    bool unstable;  // hot in half of the frames only
};
[[nodiscard]] std::vector<HotPixel> hot_pixels_of(const InventedInstrument& instrument);
[[nodiscard]] std::vector<std::size_t> dead_pixels_of(const InventedInstrument& instrument);

// Dark current of every pixel, glow; hot pixels are apart.
void add_dark(LightMap& light, const InventedInstrument& instrument, double exposure_s);

// Of each column, ADU from the instrument's offset; empty where there is none.
[[nodiscard]] std::vector<double> column_offsets_adu(const InventedInstrument& instrument);

}  // namespace emberline::rehearsal
