// SPDX-License-Identifier: MIT
// tasks/inspect — what each frame says, what was inferred, what is missing and what is wrong.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::tasks {

struct SolvedPlate {
    std::string description;
    double scale_arcsec_per_px = 0.0;
    bool mirrored = false;
    double position_angle_deg = 0.0;  // of +y, east of north
    SkyPosition centre;
};

struct InspectedFrame {
    frame::FrameFacts facts;
    std::optional<SolvedPlate> plate;
    std::optional<Problem> plate_problem;
    std::vector<std::string> missing;                      // sentences: what keeps it from being measured
    std::optional<int> stars_on_frame, stars_in_sequence;  // with a campaign
    bool transient_on_frame = true;                        // with a campaign
    bool late_date = false;  // beyond the last leap second that is known: at most a second
};

struct InspectedFile {
    std::string path;
    std::vector<InspectedFrame> frames;  // one a plane, or a colour of a mosaic
    std::optional<Problem> problem;
};

// `campaign_folder`: used where there is a campaign in it.
[[nodiscard]] Result<std::vector<InspectedFile>> inspect(const std::vector<std::string>& places,
                                                         const std::string& campaign_folder);

// "red", "green" or "blue": of a mosaic's picture.
[[nodiscard]] std::string colour_name(const frame::FrameFacts& facts);

}  // namespace emberline::tasks
