// SPDX-License-Identifier: MIT
#include "frame/calibration.hpp"

namespace emberline::frame {

struct Master {};

Result<void> Calibration::apply(std::vector<Cutout>&) const {
    return {};
}

Masters Masters::open(const MasterPaths&) {
    return {};
}

Calibration Masters::calibration_of(const FrameFacts&, const Header&) const {
    return {};
}

std::string Masters::text() const {
    return {};
}

}  // namespace emberline::frame
