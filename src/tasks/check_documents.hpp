// SPDX-License-Identifier: MIT
// tasks/check_documents — what check_campaign found, as JSON.
#pragma once

#include "tasks/check_campaign.hpp"
#include "tasks/documents.hpp"

namespace emberline::tasks {

[[nodiscard]] Json document(const CampaignCheck& check);

}  // namespace emberline::tasks
