// SPDX-License-Identifier: MIT
// rehearsal/rehearse — a whole invented campaign on disk: frames, campaign.toml, comparison.csv, truth.csv.
#pragma once

#include <cstddef>
#include <functional>
#include <string>

#include "quantities/problem.hpp"
#include "rehearsal/invented_campaign.hpp"

namespace emberline::rehearsal {

struct RehearsalSummary {
    std::string folder;
    std::size_t frames = 0;
    double decline_mag_per_day = 0.0;
};

// Problem (kind request): the folder exists and is not empty, or an option makes no sense; (storage): the
// disk.
[[nodiscard]] Result<RehearsalSummary> rehearse(
    const std::string& folder, const RehearsalOptions& options,
    const std::function<void(std::size_t done, std::size_t of)>& progress = {});

// One that was changed after its invention.
[[nodiscard]] Result<RehearsalSummary> rehearse(
    const std::string& folder, const InventedCampaign& campaign,
    const std::function<void(std::size_t done, std::size_t of)>& progress = {});

// truth.csv: frame,night,band,jd_utc_mid,bjd_tdb,true_mag,true_flux_e,cloud_mag,airmass: a line a frame, of
// a colour camera's three, of a stack at the middle of its light; plus truth_stars.csv:
// label,band,true_mag,catalogue_mag,catalogue_err; with a host truth_host.csv:
// frame,nucleus_ra,nucleus_dec,offset_arcsec,host_within_4arcsec_e (as true_flux_e is, degrees); with a
// template template.fits, or template_<band>.fits of several bands; with processed frames
// truth_processed.csv: frame,processing; with stars that the table has wrong truth_troubles.csv:
// label,trouble,size_mag,period_days,distance_arcsec; with unsolved frames field.csv, a catalogue of all the
// sky's stars; calibration/bias, /dark, /flat_<band>: single exposures, no masters.

}  // namespace emberline::rehearsal
