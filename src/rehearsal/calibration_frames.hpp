// SPDX-License-Identifier: MIT
// rehearsal/calibration_frames — bias, dark and flat exposures of an invented camera.
#pragma once

#include <cstdint>
#include <vector>

#include "rehearsal/invented_instrument.hpp"

namespace emberline::rehearsal {

// One exposure, ADU. Deterministic for a seed; the sensor's own pattern follows its sensor_seed.
[[nodiscard]] std::vector<std::uint16_t> expose_bias(const InventedInstrument& instrument,
                                                     std::uint64_t seed);
[[nodiscard]] std::vector<std::uint16_t> expose_dark(const InventedInstrument& instrument, double exposure_s,
                                                     std::uint64_t seed);
// An even light that gives about `level_e` electrons in the middle of the frame (of a mosaic: in its green);
// what vignetting, dust and each pixel's response make of it, which is the same in every band.
[[nodiscard]] std::vector<std::uint16_t> expose_flat(const InventedInstrument& instrument, double level_e,
                                                     double exposure_s, std::uint64_t seed);

}  // namespace emberline::rehearsal
