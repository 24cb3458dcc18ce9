// SPDX-License-Identifier: MIT
// lightcurve/settle_process — the rows of a curve, its clock, the scales of its process and the Gaussians
// that touch the rows, until all of them agree. Needs: process_rows, process_search.  Feeds:
// gaussian_process.
#pragma once

#include <optional>
#include <vector>

#include "lightcurve/fit.hpp"
#include "lightcurve/process_prediction.hpp"
#include "lightcurve/process_search.hpp"

namespace emberline::lightcurve {

struct ProcessSetup {
    std::vector<ProcessRow> rows;
    std::vector<double> medians;  // magnitudes to begin with
    ProcessProblem problem;       // times by the clock; without its touches
    ProcessFrame frame;
    double mistaken_limit = 0.0;
    bool has_limits = false, magnitudes_only = true;  // limits without flux; neither limits nor fluxes
};

// Of those points, which check_point() accepts and of which some are detections. The clock is ours, unless
// one that slows down with age makes the points clearly likelier.
[[nodiscard]] ProcessSetup set_up_process(const LightCurve& curve, const std::vector<std::size_t>& used,
                                          numerics::MaternOrder order, double reference_bjd_tdb, bool robust);

// A place that the scales, the touching Gaussians and the curve agree on.
struct SettledProcess {
    std::optional<double> nu;
    ProcessScales scales;
    ProcessProblem problem;
    std::optional<numerics::MaternPosterior> posterior;
    std::vector<double> variances;  // of the curve at the rows, common errors included
    double total = 0.0;             // −2 ln of likelihood × priors

    [[nodiscard]] double corrections() const {
        double sum = 0.0;
        for (const Touch& t : problem.touches)
            sum += t.correction;
        return sum;
    }
};

// With extra scatter and tails where the options allow them and they earn their place as in fit(). Problem: a
// row that the filter refuses.
[[nodiscard]] Result<SettledProcess> settle_process(const ProcessSetup& setup, const FitOptions& options);

}  // namespace emberline::lightcurve
