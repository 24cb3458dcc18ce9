// SPDX-License-Identifier: MIT
// rehearsal/invented_template — the field of a campaign without its transient, as another instrument saw it.
#pragma once

#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"
#include "rehearsal/invented_campaign.hpp"

namespace emberline::rehearsal {

struct ExposedTemplate {
    InventedFrame frame;
    InventedInstrument instrument;
    InventedPointing pointing;
    Band band;
    Instant start_utc;
    double exposure_s = 0.0;
};

// `band`: where the options name none. Its header's plate solution is exact.
// Problem (kind request): an option that makes no frame, the field below the horizon at that time.
[[nodiscard]] Result<ExposedTemplate> expose_template(const InventedCampaign& campaign,
                                                      const TemplateOptions& options, const Band& band);
// The campaign's first band.
[[nodiscard]] Result<ExposedTemplate> expose_template(const InventedCampaign& campaign,
                                                      const TemplateOptions& options);

// What another camera's program would have written.
[[nodiscard]] std::vector<frame::Card> template_cards(const ExposedTemplate& exposed);

// Problem (storage): the disk.
[[nodiscard]] Result<void> write_template(const std::string& path, const ExposedTemplate& exposed);

}  // namespace emberline::rehearsal
