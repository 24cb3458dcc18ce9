// SPDX-License-Identifier: MIT
// rehearsal/detector — from expected light to the integers of a frame.
#pragma once

#include <cstdint>
#include <vector>

#include "numerics/random.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/light_map.hpp"

namespace emberline::rehearsal {

// What one pixel reads, electrons: photons counted, read noise added.
[[nodiscard]] double detected_e(numerics::Random& random, double expected_e, double read_noise_e);

// `light` comes as what falls on the sensor, star and sky; each pixel's response, dark current, hot pixels,
// cosmic rays, noise, digitisation and clipping are added here.
[[nodiscard]] std::vector<std::uint16_t> detect(LightMap light, const InventedInstrument& instrument,
                                                double exposure_s, const numerics::Random& random);

}  // namespace emberline::rehearsal
