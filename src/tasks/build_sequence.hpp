// SPDX-License-Identifier: MIT
// tasks/build_sequence — comparison.csv from a catalogue as a service exports it, and the finder chart.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "quantities/problem.hpp"
#include "standard/choose_sequence.hpp"

namespace emberline::tasks {

struct BuildRequest {
    std::string catalogue;  // file
    std::string output;     // empty: the campaign's [comparison] catalog
    std::vector<std::string>
        bands;  // empty: those of the instruments with their colours' partners, else B, V
    std::optional<double> brightest_mag, faintest_mag;  // both or none
    std::optional<double> transient_mag;                // absent: the last night's in the ledger
    std::size_t stars = 12;
    double radius_arcmin = 10.0;
    double isolation_arcsec = 15.0;
    std::optional<double> catalogue_epoch;  // Julian year of the file's positions; wins over the file
    std::string chart;                      // empty: out/finder.svg of the campaign
    bool replace = false;                   // in place of a file that holds stars; that one is kept beside it
    bool dry_run = false;                   // writes and draws nothing
};

struct BuildOutcome {
    std::string survey;
    std::size_t catalogue_stars = 0;
    double epoch_jyear = 2000.0;  // of the positions: the discovery's, else today's
    double transient_mag = 0.0;   // as expected
    double brightest_mag = 0.0, faintest_mag = 0.0;
    standard::SequenceChoice choice;
    std::vector<standard::StandardStar> stars;  // the chosen ones, in the sequence's order
    std::string file, kept, chart;              // written; the former file's copy; empty where there is none
    std::vector<Problem> refused;               // bands without a star, a chart that could not be drawn
    std::vector<std::string> remarks;
};

// Works from the settings alone: a campaign that has no sequence yet is what it is for. The same star keeps
// the label that it has in a sequence so far, stays ignored or the check star. Problem (request): a catalogue
// that cannot be read, unknown bands, a file with stars and no `replace`; (input): no star can be used;
// (storage): the disk.
[[nodiscard]] Result<BuildOutcome> build_sequence(const night::Campaign& campaign,
                                                  const BuildRequest& request);

}  // namespace emberline::tasks
