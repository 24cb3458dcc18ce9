// SPDX-License-Identifier: MIT
// exchange/network_lines — from measurements of the transient to lines of the network's report.
// Needs: night measurements (or those of frames) and the campaign.  Feeds: exchange/network_report.
//
// One comparison star: CNAME and CMAG are its own, KMAG is the check star's instrumental magnitude. More:
// CNAME is ENSEMBLE, CMAG na, and KMAG the check star's magnitude on the standard system.
// The notes hold VMAGINS, CMAGINS, CREFMAG, KMAGINS, KREFMAG and KMAGSTD where known. CMAGINS is defined by
// the solution: CREFMAG, the mean catalogue magnitude of the stars used, minus the zero point before any
// colour term; so that KMAGSTD = CREFMAG − CMAGINS + KMAGINS holds for one star and for an ensemble. All are
// rounded to 0.001 mag first and KMAGSTD is the sum of the rounded, so that the printed digits agree.
// Where a colour term moved the check star, that sum is not its magnitude: KMAGSTD is then left out.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "exchange/network_report.hpp"
#include "night/campaign.hpp"
#include "night/measurement.hpp"

namespace emberline::exchange {

// Empty or absent: as the campaign says.
struct LineChoice {
    std::string software;                             // goes into #SOFTWARE
    std::optional<std::string> from_night, to_night;  // YYYY-MM-DD, both included
    std::optional<std::string> obstype, chart, transient_name;
    std::string delimiter = ",";
};

struct SkippedLine {
    std::string night;
    std::string band;
    std::string frame;   // of frames only
    std::string reason;  // one sentence
    bool operator==(const SkippedLine&) const = default;
};

struct NetworkLines {
    NetworkReport report;
    std::vector<std::string> subjects;  // one a line: subject_of its row
    std::vector<SkippedLine> skipped;   // in the order of the rows
    std::vector<std::string> remarks;  // "2 nights lie outside the dates asked for.", "No chart is named …"
};

// Dates of nights as a request gives them. Problem (request): one that is none, or the wrong order.
[[nodiscard]] Result<void> check_night_range(const std::optional<std::string>& from,
                                             const std::optional<std::string>& to);

// What a line is about, the same whenever it is written: "night 2024-03-18 V main", "frame frames/a.fits TG
// main".
[[nodiscard]] std::string subject_of(const night::NightMeasurement& m);
[[nodiscard]] std::string subject_of(const night::FrameMeasurement& m);

// One line a night and band. Nights with several bands get a GROUP, the same for all of its lines.
// Problem (kind request): no observer's code or no name of the transient, dates that are none or in the wrong
// order, an observation type or delimiter that the format does not have, a name or chart that is too long for
// it. What cannot be a line by itself is skipped with its reason. An instrument with an observer of its own
// (observer_codes of the campaign) has lines under that code.
[[nodiscard]] Result<NetworkLines> network_lines(std::span<const night::NightMeasurement> nights,
                                                 const night::Campaign& campaign, const LineChoice& choice);
// One line a frame; GROUP stays na.
[[nodiscard]] Result<NetworkLines> network_lines(std::span<const night::FrameMeasurement> frames,
                                                 const night::Campaign& campaign, const LineChoice& choice);

}  // namespace emberline::exchange
