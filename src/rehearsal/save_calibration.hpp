// SPDX-License-Identifier: MIT
// rehearsal/save_calibration — the bias, dark and flat exposures of a campaign on disk. Private to this room.
#pragma once

#include <string>

#include "quantities/problem.hpp"
#include "rehearsal/invented_campaign.hpp"

namespace emberline::rehearsal {

// Single exposures, no masters, in calibration/bias, calibration/dark and calibration/flat_<band> (of a
// colour camera calibration/flat), taken in the afternoon before the first night. Darks are as long as the
// frames, or as each exposure of a stack.
[[nodiscard]] Result<void> save_calibration(const std::string& folder, const InventedCampaign& campaign,
                                            const CalibrationOptions& options);

}  // namespace emberline::rehearsal
