// SPDX-License-Identifier: MIT
// tasks/name_masters — what masters are called, and the lines by which a campaign finds them.
#pragma once

#include <string>
#include <vector>

#include "frame/calibration_sets.hpp"
#include "tasks/build_masters.hpp"

namespace emberline::tasks {

// "dark_60s_gain120_-10C.fits", "flat_V.fits": one a set, in their order, no two alike.
[[nodiscard]] std::vector<std::string> master_names(const std::vector<frame::CalibrationSet>& sets);

// The lines of [masters] for campaign.toml: paths relative to its folder where they lie inside. Where there
// is no bias, the shortest dark stands in for one: it holds little else.
[[nodiscard]] std::string masters_settings(const MastersOutcome& outcome, const std::string& campaign_folder);

}  // namespace emberline::tasks
