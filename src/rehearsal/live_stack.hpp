// SPDX-License-Identifier: MIT
// rehearsal/live_stack — many short exposures aligned and put together, as capture programs do it live.
#pragma once

#include <vector>

#include "frame/header.hpp"
#include "quantities/instant.hpp"
#include "rehearsal/invented_campaign.hpp"
#include "rehearsal/stack_options.hpp"

namespace emberline::rehearsal {

struct InventedStack {
    std::vector<float> adu;
    int width_px = 0, height_px = 0;
    std::vector<frame::Card> cards;  // in place of a single exposure's
    Instant middle_of_light;         // UTC, exposures that were added only
    double exposure_s = 0.0;         // open shutter, all that were added
    double gain_e_per_adu = 0.0;     // of the stored pixels, photons of all exposures counted
    double transient_mag = 0.0;      // truth at the middle of the light
    double transient_flux_e = 0.0;   // truth, of all that were added
    double airmass = 1.0;
    std::vector<InventedColour> colours;  // of a mosaic: TR, TG, TB; the numbers above are then TG's
};

// `frame`: its exposure_s is one exposure's, its start the first one's; noise and pointing of each exposure
// follow from its seed.
// All but the pixels and the transient's light, which are not there: as another program would have headed the
// same picture.
[[nodiscard]] InventedStack head_stack(const InventedCampaign& campaign, const PlannedFrame& frame,
                                       const StackOptions& options);
// What the camera gave, before it is aligned and put together: the same for every kind, alignment and header,
// as long as the numbers and times of the exposures are.
struct StackExposure {
    InventedFrame frame;
    double dx_px = 0.0, dy_px = 0.0;  // drift against the first
};
[[nodiscard]] std::vector<StackExposure> expose_parts(const InventedCampaign& campaign,
                                                      const PlannedFrame& frame, const StackOptions& options);
[[nodiscard]] InventedStack put_together(const InventedCampaign& campaign, const PlannedFrame& frame,
                                         const StackOptions& options,
                                         const std::vector<StackExposure>& parts);
// Both in one.
[[nodiscard]] InventedStack expose_stack(const InventedCampaign& campaign, const PlannedFrame& frame,
                                         const StackOptions& options);

}  // namespace emberline::rehearsal
