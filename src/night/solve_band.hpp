// SPDX-License-Identifier: MIT
// night/solve_band — the frames of one band and instrument: zero points found, frames judged, and the
// transient and the check star measured against them. Private to this room.
#pragma once

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "night/combine_frames.hpp"
#include "night/solve_campaign.hpp"
#include "photometry/frame_record.hpp"
#include "standard/sequence.hpp"
#include "standard/zero_points.hpp"

namespace emberline::night {

struct JudgedFrame {
    const photometry::FrameFluxes* fluxes = nullptr;
    std::optional<std::size_t> aperture;
    std::string refusal;                 // empty: used
    std::optional<std::size_t> solved;   // its index among the frames of the zero points
    double relative_transparency = 1.0;  // against the best of its night
    double extra_scatter_mag = 0.0;      // uneven cloud: beyond noise and floor
    Caveats caveats;                     // from the judgement
    bool on_nucleus = false;             // transient and nucleus as one
    std::vector<std::string> comparison_labels;
};

struct BandSolution {
    Band band;
    std::string instrument;
    std::vector<JudgedFrame> frames;  // by time
    std::optional<standard::ZeroPoints> zero_points;
    standard::CommonErrors common;
    ValueWithError colour_term_prior{0.0, 0.0};  // what T may be where it is not fitted
    std::vector<standard::SolveStar> stars;
    std::vector<StarVerdict> wrong_stars;  // left out, too far from their catalogue magnitudes
    Caveats caveats;                       // of all that is measured with it
    std::string no_solution;               // why there are no zero points
};

// The stars with these labels that the sequence has in the band, with their colours.
[[nodiscard]] std::vector<standard::SolveStar> calibrating_stars(const standard::Sequence& sequence,
                                                                 const Band& band,
                                                                 const std::set<std::string>& usable);
// What the colour term may be: as the campaign says of the instrument, or what is usual.
[[nodiscard]] ValueWithError colour_term_prior(const Band& band, const std::string& instrument,
                                               const Campaign& campaign);

// What the night's extinction may be: as measured on earlier nights, or what is usual.
[[nodiscard]] ValueWithError extinction_prior(const Band& band, const std::string& instrument,
                                              const Campaign& campaign);
// The lights of these stars in the frames that are not refused, which are numbered: JudgedFrame::solved.
[[nodiscard]] standard::SolveInput gather_lights(std::vector<JudgedFrame>& frames,
                                                 const std::vector<standard::SolveStar>& stars,
                                                 const Band& band, const std::string& instrument,
                                                 const Campaign& campaign);

// `usable`: labels that may calibrate (role, not set aside).
[[nodiscard]] BandSolution solve_band(std::vector<JudgedFrame> frames, const standard::Sequence& sequence,
                                      const std::set<std::string>& usable, const Campaign& campaign);

// One star of all used frames of one night, `members` indices into solution.frames. Absent where the star
// was measured in none of them.
struct StarOverNight {
    std::vector<std::size_t> members;  // those that have the star
    CombinedFlux combined;
    std::vector<double> gradient;  // d(zero point of the mean)/d(globals)
};
[[nodiscard]] std::optional<StarOverNight> star_over_night(const BandSolution& solution,
                                                           const std::vector<std::size_t>& members,
                                                           const std::string& label);

}  // namespace emberline::night
