// SPDX-License-Identifier: MIT
// night/audit_sequence — the comparison stars held to account after some nights: which vary, which are
// blended, which have a wrong catalogue magnitude, and what each does to the light curve.
// Needs: the fluxes of all frames, the sequence, what is set aside.  Feeds: the observer's decision.
// To be honest: a star that varies by less than the others scatter, or that has its companion within a third
// of the star images' width, is not found; nor is a fault that most stars share. Of 25 invented campaigns
// each (twelve stars of 11.5 to 15 mag, catalogue errors of 0.03 mag, six nights of five frames,
// tests/studies/ audit_study), a variation by 0.05 mag either way was found in all, by 0.02 in 11; a
// magnitude wrong by 0.2 in all, by 0.15 in 13, by 0.1 in none; a companion 3 mag fainter in all, 4 mag
// fainter in none.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/audited_star.hpp"
#include "night/removal_effect.hpp"
#include "night/solve_campaign.hpp"

namespace emberline::night {

enum class Advice { keep, exclude, other_magnitude, wait };
[[nodiscard]] std::string_view word(Advice advice);

struct StarOnTrial {
    AuditedStar star;
    // Of taking it out of all bands; absent where it was not asked for, or the star takes no part anyway.
    std::optional<RemovalEffect> removal;
    std::string no_removal;  // why there is none, one sentence
    Advice advice = Advice::keep;
    std::string advice_text;                         // one sentence or two
    std::optional<ValueWithError> better_magnitude;  // what the others make of it, where it is steady
    [[nodiscard]] double harm() const { return removal ? removal->harm : 0.0; }
};

// Offsets against the catalogue that follow the stars' colours: what a colour term takes up.
struct OffsetsByColour {
    Band band;
    std::string instrument;
    ValueWithError mag_per_mag;  // d(measured − catalogue)/d(colour), of the stars that are not accused
};

struct SequenceAudit {
    std::vector<StarOnTrial> stars;  // accused ones first, then doubtful ones, the rest; each by harm
    // Sigma from which a star is accused: chance does it to one star of one campaign in a thousand, each
    // fault.
    double varies_from_sigma = 0.0, blended_from_sigma = 0.0, catalogue_from_sigma = 0.0;
    std::vector<OffsetsByColour> by_colour;
    std::vector<std::string> remarks;
    std::size_t frames = 0, nights = 0;  // in use
};

struct AuditRequest {
    std::vector<Band> bands;   // empty: all
    bool remove_each = false;  // the effect of removing every star, not of the accused ones alone
};

// Problem: no frame at all, or none that can be solved; no comparison star in these bands (kind request).
[[nodiscard]] Result<SequenceAudit> audit_sequence(const std::vector<photometry::FrameFluxes>& frames,
                                                   const standard::Sequence& sequence,
                                                   const Campaign& campaign,
                                                   const SetAsideByObserver& set_aside,
                                                   const AuditRequest& request = {});

}  // namespace emberline::night
