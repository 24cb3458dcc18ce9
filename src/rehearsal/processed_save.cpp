// SPDX-License-Identifier: MIT
#include "rehearsal/processed_save.hpp"

namespace emberline::rehearsal {

std::string_view word(Processing) {
    return "none";
}

const std::vector<Processing>& all_processings() {
    static const std::vector<Processing> all{Processing::none};
    return all;
}

ProcessedImage process(std::span<const float> adu, int, int, Processing, double) {
    return {{adu.begin(), adu.end()}, false};
}

}  // namespace emberline::rehearsal
