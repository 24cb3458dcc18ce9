// SPDX-License-Identifier: MIT
// rehearsal/campaign_text — the texts that go beside the frames. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "frame/header.hpp"
#include "rehearsal/invented_campaign.hpp"

namespace emberline::rehearsal {

[[nodiscard]] std::string campaign_toml(const InventedCampaign& campaign);
[[nodiscard]] std::string comparison_csv(const InventedCampaign& campaign);
// Every star of the sky: what a catalogue service would hand out.
inline constexpr const char* field_catalogue_name = "field.csv";
[[nodiscard]] std::string field_csv(const InventedCampaign& campaign);
[[nodiscard]] std::string truth_stars_csv(const InventedCampaign& campaign);

[[nodiscard]] std::string truth_heading();
// A line, or one for each colour of a mosaic.
struct FrameTruth {
    Instant middle;
    double transient_mag = 0.0, transient_flux_e = 0.0, airmass = 1.0;
    std::vector<InventedColour> colours;
};
[[nodiscard]] std::string truth_line(const InventedCampaign& campaign, const PlannedFrame& planned,
                                     const FrameTruth& truth);

// Of a campaign with a host: its light within 4″ of the transient.
[[nodiscard]] std::string truth_host_heading();
[[nodiscard]] std::string truth_host_line(const InventedCampaign& campaign, const PlannedFrame& planned);

// One for every band; one for all where the options name its band.
[[nodiscard]] std::vector<Band> template_bands(const InventedCampaign& campaign);
[[nodiscard]] std::string template_path(const InventedCampaign& campaign, const Band& band);

// What a camera's program writes about an exposure of any kind.
struct Exposed {
    std::string kind;  // "Light Frame"
    Instant start_utc;
    double exposure_s = 0.0;
    std::optional<Band> band;  // of the filter; a colour camera has none
    bool debayered = false;
};
[[nodiscard]] std::vector<frame::Card> camera_cards(const InventedCampaign& campaign, const Exposed& exposed);

// What a camera's program and a plate solver would have written.
[[nodiscard]] std::vector<frame::Card> header_cards(const InventedCampaign& campaign,
                                                    const PlannedFrame& planned, double airmass);

}  // namespace emberline::rehearsal
