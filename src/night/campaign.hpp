// SPDX-License-Identifier: MIT
// night/campaign — campaign.toml, read strictly: a misspelt key is refused with the line and the nearest
// word.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "frame/calibration.hpp"
#include "frame/instrument.hpp"
#include "night/server_settings.hpp"
#include "photometry/host_light.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "quantities/value_with_error.hpp"
#include "sky/site.hpp"

namespace emberline::night {

struct MeasureSettings {
    std::optional<double> aperture_fwhm;    // radius in FWHM: wins over the automatic one
    std::optional<double> aperture_arcsec;  // radius as an angle on the sky, for the whole campaign
    double annulus_inner_fwhm = 4.0;        // r_in = max(this · FWHM, largest aperture + 1 px)
    double annulus_outer_fwhm = 7.0;        // r_out, at least enough for 200 pixels
    std::optional<double> annulus_inner_arcsec, annulus_outer_arcsec;  // both: fixed on the sky
    double limit_sigma = 3.0;                                          // F < limit_sigma · σ_F: a limit
    double flat_err = 0.0;   // σ_flat, relative, from frame to frame; the scatter floor finds it anyway
    double cloud_mag = 0.3;  // z_f below the night's best by more: flagged cloud
    double refuse_cloud_mag = 2.0;    // … by more: refused
    double refuse_elongation = 2.5;   // a/b above: refused
    int least_comparison_stars = 1;   // fewer found: the frame is refused
    double most_shift_arcsec = 15.0;  // stars are looked for this far from the plate solution
    bool refuse_processed = true;     // pictures that no longer count light; false: flagged alone
    bool colour_term = true;          // fit and apply one where the sequence allows
    std::optional<bool> psf;  // true: the PSF fit always counts; false: never; absent: where it is better
    bool operator==(const MeasureSettings&) const = default;
};

// How frames without a usable plate solution get one.
struct PlateSettings {
    std::string catalogue;                      // of the field's stars: relative to the folder; "": none
    std::optional<double> catalogue_epoch;      // Julian year of its positions, where the file is silent
    std::optional<double> scale_arcsec_per_px;  // about; absent: any
    bool solve = true;                          // false: such frames are refused
    bool operator==(const PlateSettings&) const = default;
};

// What a report holds back.
struct ReportSettings {
    std::string obstype = "CCD";
    Caveats hold;                   // measurements with one of these flags
    bool transformed_only = false;  // without a colour term
    bool limits = true;             // false: limits
    ServerSettings server;          // [report.server]
    bool operator==(const ReportSettings&) const = default;
};

struct Campaign {
    std::string folder;
    // [transient]
    std::string name;
    SkyPosition position;
    std::optional<SkyPosition> nucleus;
    std::string type;
    std::optional<std::string> discovered;  // YYYY-MM-DD
    std::optional<std::string> exploded;    // YYYY-MM-DD, where it is known: plateaus and tails count from it
    std::optional<ValueWithError> distance_modulus;
    std::optional<double> redshift;
    std::optional<double> ebv_mag;
    std::map<std::string, double> colours;  // "B-V" -> 0.6
    // [site] [observer]
    std::optional<sky::Site> site;
    std::string observer_code, observer_name;
    std::map<std::string, std::string> observer_codes;  // of instruments that somebody else observes with
    // [instrument]
    std::vector<frame::Instrument> instruments;                                 // at least one
    std::map<std::string, std::map<std::string, ValueWithError>> colour_terms;  // instrument -> band -> T
    // Likewise the extinction, mag per airmass, where earlier nights told it. Not of the file.
    std::map<std::string, std::map<std::string, ValueWithError>> known_extinction;
    // [comparison]
    std::string catalog = "comparison.csv";  // relative to the folder
    std::string check_label;
    std::string chart;
    // [host]
    std::map<std::string, std::string> host_templates;  // band -> path; "" for every band
    std::optional<std::string> faded;  // night from which on frames hold no transient light: YYYY-MM-DD
    std::optional<photometry::HostMethod> host_method;  // absent: the most trusted that the data allow
    // [masters]
    frame::MasterPaths masters;  // as written: relative to the folder
    PlateSettings plate;         // [plate]
    ReportSettings report;       // [report]
    MeasureSettings measure;
    std::vector<std::string> remarks;  // values that are allowed and hardly meant, one sentence each

    [[nodiscard]] std::string path(std::string_view relative) const;  // folder / relative
    [[nodiscard]] frame::MasterPaths master_paths() const;            // of [masters], each with its folder
};

// Problem (kind request): no folder or file, TOML that cannot be parsed (line and column), a key or type
// that does not belong there, a value out of range.
[[nodiscard]] Result<Campaign> read_campaign(const std::string& folder);
[[nodiscard]] Result<Campaign> parse_campaign(std::string_view text, std::string folder);

}  // namespace emberline::night
