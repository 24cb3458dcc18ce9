// SPDX-License-Identifier: MIT
// tasks/star_course — every star of the sequence over the campaign's nights and frames: how far it came out
// from its catalogue magnitude, and what the solution says of it. Of the ledger's newest solution.
// Notation: a residual is measured − catalogue, mag, as in night/star_residuals; its error is the star's
// noise, without the catalogue's own.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/solution.hpp"
#include "night/star_residuals.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct StarFrame {
    std::string id;  // FINGERPRINT-PLANE
    std::string night;
    double jd_utc = 0.0;  // mid-exposure
    bool used = true;
};

struct StarPoint {
    std::size_t frame = 0;  // its place in StarCourses::frames
    double residual_mag = 0.0, err_mag = 0.0;
};

struct StarNight {
    std::string night;
    night::MeanResidual mean;  // of the frames in use
};

// In one band of one instrument.
struct StarInBand {
    Band band;
    std::string instrument;
    ValueWithError catalogue_mag;
    // Of a star that calibrates, or was left out as wrong; the check star and those set aside have none.
    std::optional<night::StarVerdict> verdict;
    std::size_t used_in_nights = 0;  // nights whose zero points it is part of
    std::vector<StarNight> nights;   // by date; those where it was measured
    std::vector<StarPoint> points;   // by time
};

enum class StarRole { comparison, check, unused };
[[nodiscard]] std::string_view word(StarRole role);

struct StarCourse {
    standard::ComparisonStar star;
    StarRole role = StarRole::comparison;
    std::optional<ledger::Exclusion> set_aside;
    std::vector<StarInBand> bands;  // with a catalogue magnitude, by wavelength, then instrument
};

struct StarCourses {
    std::vector<std::string> nights;  // of the campaign, by date
    std::vector<StarFrame> frames;    // by time
    std::vector<StarCourse> stars;    // in the sequence's order
    [[nodiscard]] const StarCourse* find(std::string_view label) const;
};

// The fluxes are read once, a frame at a time. Problem: a ledger that fails.
[[nodiscard]] Result<StarCourses> star_courses(const Workspace& workspace, const ledger::Ledger& ledger);

}  // namespace emberline::tasks
