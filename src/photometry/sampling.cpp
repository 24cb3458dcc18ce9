// SPDX-License-Identifier: MIT
#include "photometry/sampling.hpp"

namespace emberline::photometry {

SamplingEffect sampling_effect(const SampledImage&, const frame::PixelPosition&,
                               std::span<const double> radii_px) {
    return {std::vector<double>(radii_px.size(), 1.0), std::vector<double>(radii_px.size(), 0.0)};
}

}  // namespace emberline::photometry
