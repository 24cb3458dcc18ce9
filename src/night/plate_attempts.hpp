// SPDX-License-Identifier: MIT
// night/plate_attempts — with which stars, and at which scales, a frame's plate solution is looked for; in
// that order. Private to this room.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/plate_finder.hpp"
#include "stars/solve_plate.hpp"

namespace emberline::night {

struct PlateAttempt {
    stars::PlateHints hints;
    std::vector<stars::ReferenceStar> references;
};

struct PlateSource {
    std::string name;           // "frames/a.fits", "field.csv"
    bool solved_frame = false;  // the campaign's field reference: its chip may be this one's
    std::size_t stars = 0;      // in all
    std::size_t attempts = 0;
    std::function<PlateAttempt(std::size_t)> attempt;
};

struct KnownField {
    const Campaign& campaign;
    const standard::Sequence& sequence;
    const PlateSearch& search;
    const standard::FieldCatalogue* catalogue = nullptr;
    const FieldReference* reference = nullptr;
};

// By its header: focal length and pixel size, or a keyword that states it. Stored pixels.
[[nodiscard]] std::optional<double> header_scale_arcsec_per_px(const frame::Header& header);

// What `known` points at must outlive the sources.
[[nodiscard]] std::vector<PlateSource> plate_sources(const KnownField& known, const frame::Frame& frame);

}  // namespace emberline::night
