// SPDX-License-Identifier: MIT
// tasks/curve — the light curve of the campaign, other people's points beside it or alone: fitted, read,
// drawn.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/analysis.hpp"
#include "lightcurve/colour_curve.hpp"
#include "lightcurve/luminosity.hpp"
#include "lightcurve/profile.hpp"
#include "lightcurve/sample_fit.hpp"
#include "lightcurve/shape_hint.hpp"
#include "night/measurement.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// What is known of the transient beside its points: the campaign's, or what was asked instead.
struct TransientFacts {
    std::optional<double> redshift, ebv_mag;
    std::optional<ValueWithError> distance_modulus_mag;
    std::optional<ValueWithError> explosion_bjd_tdb;
};

// Errors by other roads than the covariance; each costs time.
struct ErrorChecks {
    bool profile = false;
    std::size_t bootstrap_trials = 0;
    std::size_t sampler_steps = 0;
};

struct CurveRequest {
    std::string campaign_folder;      // empty: none
    std::vector<std::string> series;  // tables of other people's points
    std::vector<std::string> bands;   // empty: all
    std::optional<double> from_bjd_tdb, to_bjd_tdb;
    std::optional<std::string> from_night,
        to_night;                     // YYYY-MM-DD of the evening, both included; own points only
    std::vector<std::string> models;  // empty: all
    std::vector<lightcurve::Interval> rates;
    TransientFacts facts;  // win over the campaign's
    double offset_prior_mag = lightcurve::usual_offset_mag;
    ErrorChecks checks;
    int threads = 0;      // 0: one a core
    bool frames = false;  // points are frames instead of nights
    std::string picture;  // file to draw; empty: out/curve.svg of the campaign, or none
    bool draw = true;
};

// What the checks say of the chosen fit.
struct CheckedErrors {
    std::vector<std::optional<lightcurve::ProfileError>> profile;  // one a parameter
    std::optional<lightcurve::Bootstrap> bootstrap;
    std::optional<lightcurve::SampledFit> sample;
    std::vector<Problem> problems;
};

// Days since maximum of the first and the last point, on the transient's own clock where its redshift is
// known.
struct Phases {
    double first_d = 0.0, last_d = 0.0;
    bool rest_frame = false;
};

struct BandCurve {
    lightcurve::LightCurve curve;
    lightcurve::Analysis analysis;
    std::optional<Problem> problem;  // why nothing was fitted
    CheckedErrors checked;
    std::optional<lightcurve::AbsoluteMagnitude> absolute_peak;
    std::optional<Phases> phases;
    std::optional<double> extinction_mag;  // of the foreground dust, already in absolute_peak
    std::optional<lightcurve::StretchHint> stretch;
};

struct CurveOutcome {
    std::string title;
    TransientFacts facts;
    std::vector<BandCurve> bands;
    std::vector<lightcurve::ColourCurve> colours;
    std::optional<lightcurve::ShapeHints> shape;
    std::vector<std::string> pictures;
    std::vector<std::string> remarks;
    [[nodiscard]] bool any_fit() const;
};

// Problem: no such series or campaign, nothing measured, no points of those bands.
[[nodiscard]] Result<CurveOutcome> curve(const CurveRequest& request);

}  // namespace emberline::tasks
