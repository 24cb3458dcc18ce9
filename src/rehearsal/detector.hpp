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

// `light` comes as the sky sends it, star and all. In the order of things: vignetting, dust and each pixel's
// response take their shares; dark current, glow, hot pixels and cosmic rays are added; what is counted has
// photon noise, what is read has read noise and the offset; then whole numbers, clipped. The light's size is
// the instrument's.
[[nodiscard]] std::vector<std::uint16_t> detect(LightMap light, const InventedInstrument& instrument,
                                                double exposure_s, const numerics::Random& random);

}  // namespace emberline::rehearsal
