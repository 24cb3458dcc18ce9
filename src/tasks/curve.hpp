// SPDX-License-Identifier: MIT
// tasks/curve — the light curve of the campaign, or of other people's points: fitted and drawn.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/fit.hpp"
#include "lightcurve/light_curve.hpp"
#include "night/measurement.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct CurveRequest {
    std::string campaign_folder;        // empty: none
    std::optional<std::string> series;  // a table of other people's points
    std::vector<std::string> bands;     // empty: all
    std::optional<double> from_bjd_tdb, to_bjd_tdb;
    std::optional<std::string> from_night,
        to_night;  // YYYY-MM-DD of the evening, both included; own points only
    std::vector<std::string> models = {"straight-line"};
    bool frames = false;  // points are frames instead of nights
    std::string picture;  // file to draw; empty: out/curve.svg of the campaign, or none
    bool draw = true;
};

struct BandCurve {
    lightcurve::LightCurve curve;
    std::vector<lightcurve::CurveFit> fits;  // one a model that could be fitted
    std::optional<std::size_t> chosen;       // the least BIC
    std::optional<Problem> problem;          // why nothing was fitted
};

struct CurveOutcome {
    std::string title;
    std::vector<BandCurve> bands;
    std::vector<std::string> pictures;
    std::vector<std::string> remarks;
    [[nodiscard]] bool any_fit() const;
};

// Problem: no such series or campaign, nothing measured, no points of those bands.
[[nodiscard]] Result<CurveOutcome> curve(const CurveRequest& request);

}  // namespace emberline::tasks
