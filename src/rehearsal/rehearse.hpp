// SPDX-License-Identifier: MIT
// rehearsal/rehearse — a whole invented campaign on disk: frames, campaign.toml, comparison.csv, truth.csv.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/invented_sky.hpp"

namespace emberline::rehearsal {

struct RehearsalOptions {
    std::uint64_t seed = 1;
    int nights = 6;
    int frames = 10;  // a night and band
    double night_spacing_days = 4.0;
    std::vector<std::string> bands = {"V"};
    double exposure_s = 60.0;
    double peak_mag = 13.5;
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

struct RehearsalSummary {
    std::string folder;
    std::size_t frames = 0;
    double decline_mag_per_day = 0.0;
};

// Problem (kind request): the folder exists and is not empty; (storage): the disk.
[[nodiscard]] Result<RehearsalSummary> rehearse(
    const std::string& folder, const RehearsalOptions& options,
    const std::function<void(std::size_t done, std::size_t of)>& progress = {});

// truth.csv: frame,night,band,jd_utc_mid,bjd_tdb,true_mag,true_flux_e,cloud_mag,airmass
// plus truth_stars.csv: label,band,true_mag,catalogue_mag,catalogue_err.

}  // namespace emberline::rehearsal
