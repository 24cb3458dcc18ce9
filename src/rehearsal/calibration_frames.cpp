// SPDX-License-Identifier: MIT
#include "rehearsal/calibration_frames.hpp"

namespace emberline::rehearsal {

std::vector<std::uint16_t> expose_bias(const InventedInstrument&, std::uint64_t) {
    return {};
}

std::vector<std::uint16_t> expose_dark(const InventedInstrument&, double, std::uint64_t) {
    return {};
}

std::vector<std::uint16_t> expose_flat(const InventedInstrument&, const Band&, double, double,
                                       std::uint64_t) {
    return {};
}

}  // namespace emberline::rehearsal
