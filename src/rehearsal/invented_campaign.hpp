// SPDX-License-Identifier: MIT
// rehearsal/invented_campaign — a campaign in memory: what is in the sky, what looks at it, and every frame
// that it will take. Studies expose the frames that they need; rehearse() writes them all to disk.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/invented_sky.hpp"

namespace emberline::rehearsal {

struct RehearsalOptions {
    std::uint64_t seed = 2;
    int nights = 6;
    int frames = 10;  // a night and band
    double night_spacing_days = 4.0;
    std::vector<std::string> bands = {"V"};
    double exposure_s = 60.0;
    double peak_mag = 13.5;  // in the first band
    double decline_mag_per_day = 0.05;
    double catalogue_err_mag = 0.03;
    int comparison_stars = 10;
    double faintest_comparison_mag = 15.0;
    bool host = true;
    double host_offset_arcsec = 16.0;
    bool cloud = true;     // some nights have some
    bool flip = true;      // a meridian flip in the middle of each night
    bool trailing = true;  // a few frames trail
    int width_px = 800, height_px = 600;
    double fwhm_arcsec = 3.0;
    double colour_term = 0.03;
    bool transient_colour_known = true;
};

struct PlannedFrame {
    std::string path;   // "frames/2024-03-14/V_001.fits", relative to the campaign's folder
    std::string night;  // "2024-03-14"
    Band band;
    Instant start_utc;
    double exposure_s = 0.0;
    InventedAir air;
    InventedPointing pointing;
    std::uint64_t seed = 0;
};

struct InventedCampaign {
    RehearsalOptions options;
    InventedSky sky;
    InventedInstrument instrument;
    sky::Site site;
    std::vector<Band> bands;
    std::vector<PlannedFrame> frames;  // by time
};

// Problem (kind request): an option that makes no campaign. The same for the same options.
[[nodiscard]] Result<InventedCampaign> invent_campaign(const RehearsalOptions& options);
[[nodiscard]] InventedFrame expose(const InventedCampaign& campaign, const PlannedFrame& frame);

}  // namespace emberline::rehearsal
