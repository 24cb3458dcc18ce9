// SPDX-License-Identifier: MIT
#include "rehearsal/calibration_frames.hpp"

#include "rehearsal/detector.hpp"
#include "rehearsal/mosaic.hpp"

namespace emberline::rehearsal {
namespace {

// A lit screen or the twilight in the colours of a mosaic, green 1: bluer than the night.
constexpr double flat_share[] = {0.72, 1.0, 0.81};  // in the order of frame::Colour

LightMap nothing(const InventedInstrument& instrument) {
    return {instrument.width_px, instrument.height_px, 0.0};
}

}  // namespace

std::vector<std::uint16_t> expose_bias(const InventedInstrument& instrument, std::uint64_t seed) {
    return expose_dark(instrument, 0.0, seed);
}

std::vector<std::uint16_t> expose_dark(const InventedInstrument& instrument, double exposure_s,
                                       std::uint64_t seed) {
    return detect(nothing(instrument), instrument, exposure_s, numerics::Random(seed));
}

std::vector<std::uint16_t> expose_flat(const InventedInstrument& instrument, double level_e,
                                       double exposure_s, std::uint64_t seed) {
    LightMap light = nothing(instrument);
    const auto pattern = pattern_of(instrument);
    for (int y = 0; y < light.height_px; ++y) {
        for (int x = 0; x < light.width_px; ++x) {
            const double share = pattern ? flat_share[static_cast<std::size_t>(pattern->at(x, y))] : 1.0;
            light.e[light.index(x, y)] = level_e * share;
        }
    }
    return detect(std::move(light), instrument, exposure_s, numerics::Random(seed));
}

}  // namespace emberline::rehearsal
