// SPDX-License-Identifier: MIT
// tasks/camera_gain — gain and read noise from an observer's own flats and biases.
#pragma once

#include <string>
#include <vector>

#include "frame/photon_transfer.hpp"
#include "quantities/problem.hpp"
#include "tasks/documents.hpp"

namespace emberline::tasks {

// Files, and folders of them; lights among them are passed over. `campaign_folder` is used where there is a
// campaign in it. Problem: none to be found, or no pairs that can be used.
[[nodiscard]] Result<frame::PhotonTransfer> camera_gain(const std::vector<std::string>& places,
                                                        const std::string& campaign_folder);

[[nodiscard]] Json document(const frame::PhotonTransfer& transfer);

// The lines for campaign.toml, to the figures that the errors allow.
[[nodiscard]] std::string settings_of(const frame::PhotonTransfer& transfer);

}  // namespace emberline::tasks
