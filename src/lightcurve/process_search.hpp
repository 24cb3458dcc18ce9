// SPDX-License-Identifier: MIT
// lightcurve/process_search — amplitude, time scale and extra scatter of a light curve's process, by the
// largest marginal likelihood.
#pragma once

#include <optional>
#include <vector>

#include "lightcurve/process_rows.hpp"
#include "numerics/matern_filter.hpp"

namespace emberline::lightcurve {

// Natural logarithms of amplitude/mag, of time scale/d and, where there is any, of σ_x/mag.
using ProcessScales = std::vector<double>;
[[nodiscard]] numerics::Matern process_of(numerics::MaternOrder order, const ProcessScales& scales);
[[nodiscard]] double extra_scatter_of(const ProcessScales& scales);

// Rows as Gaussians about a mean, ready for the filter.
struct ProcessProblem {
    numerics::MaternOrder order = numerics::MaternOrder::three_halves;
    numerics::MaternData data;  // times, basis; values and variances as `touches` and σ_x have them
    double centre_mag = 0.0;    // taken off the values
    std::vector<Touch> touches;
    double night_gap = 0.0;  // usual time between nights, in the unit of the times; 0 where there is but one

    void set_noise(double extra_scatter_mag);  // fills data.values and data.variances
};

// Every so-manieth row, at most `most` of them; all where there are no more.
[[nodiscard]] ProcessProblem thinned(const ProcessProblem& problem, std::size_t most);

// −2 ln of marginal likelihood × weak priors on the scales, without the rows' corrections. The priors are of
// no weight where many points speak; they keep a flat curve or a single night from running away: amplitude
// 0.5 mag and time scale 20 d, each within a factor of 4 (one sigma), what transients of weeks do about a
// line; σ_x 0.03 mag within a factor of 4.
// What a curve forgets from night to night is scatter, or a bad point: a time scale below three gaps is made
// unlikely.
[[nodiscard]] double depth(ProcessProblem& problem, const ProcessScales& scales);

struct FoundScales {
    ProcessScales scales;
    double depth = 0.0;
};
// From a coarse grid, then downhill. Of many rows the grid takes a few.
[[nodiscard]] FoundScales search_scales(ProcessProblem& problem, bool with_scatter);
// Downhill from scales that are nearly right.
[[nodiscard]] FoundScales polish_scales(ProcessProblem& problem, const ProcessScales& start);

// Covariance of the scales, by the curvature of `depth`.
[[nodiscard]] numerics::Matrix scales_covariance(ProcessProblem& problem, const ProcessScales& scales);

// Scales by which that Gaussian is summed exactly enough (three places a dimension, Gauss & Hermite's), each
// weighed by what the likelihood really is there.
struct PossibleScales {
    ProcessScales scales;
    double weight = 1.0;  // all sum to 1
};
[[nodiscard]] std::vector<PossibleScales> possible_scales(ProcessProblem& problem, const ProcessScales& best,
                                                          const numerics::Matrix& covariance);

}  // namespace emberline::lightcurve
