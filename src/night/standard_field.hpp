// SPDX-License-Identifier: MIT
// night/standard_field — many stars of a catalogue on a frame of any field, and what they tell of the
// instrument's colours and the night's air. A standard field needs no transient, and no campaign about it.
#pragma once

#include <cstddef>
#include <set>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"
#include "standard/transformation.hpp"

namespace emberline::night {

inline constexpr std::size_t most_field_stars = 150;  // the brightest of a frame

// Stars within the frame with a magnitude in its band; those whose neighbours in the catalogue add more than
// a hundredth of a magnitude are left out. Airmasses count from the frame's middle, where X_f is.
// Problem: as measure_frame; no star of the catalogue on the frame.
[[nodiscard]] Result<photometry::FrameFluxes> measure_field(const frame::Frame& frame, std::string name,
                                                            std::string fingerprint,
                                                            const standard::Sequence& catalogue,
                                                            const Campaign& campaign);

struct BandTransformation {
    std::string instrument;
    Band band;
    ColourIndex index;
    std::vector<std::string> nights;  // in order
    standard::Transformation found;
};
struct Transformations {
    std::vector<BandTransformation> bands;  // by instrument, then band
    std::vector<std::string> remarks;       // bands that told nothing, and why
};

// Each instrument and band is one problem. Every frame counts with the same multiple of its FWHM, wide enough
// that the seeing takes hardly any light away. `usable`: labels of stars that may serve.
[[nodiscard]] Transformations find_transformations(const std::vector<photometry::FrameFluxes>& frames,
                                                   const standard::Sequence& stars,
                                                   const std::set<std::string>& usable,
                                                   const Campaign& campaign);

}  // namespace emberline::night
