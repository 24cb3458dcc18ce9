// SPDX-License-Identifier: MIT
// lightcurve/likeliest_start — the likeliest place that any of a model's starts leads to, without paying for
// every start in full. Needs: noise_search. Feeds: fit.
#pragma once

#include "lightcurve/noise_search.hpp"

namespace emberline::lightcurve {

struct Found {
    Settled settled;
    std::size_t starts = 0;    // that the model allows
    std::size_t agreeing = 0;  // of them, how many came to a place as likely
};

// Every start is first followed with a likelihood that forgives much (t with 5 degrees of freedom and a free
// scale), on at most some 1500 of the points; the noise is settled only where that leads to, for the best few
// places. `used` ascends in time. Problem: none leads anywhere, in the words of the last one.
[[nodiscard]] Result<Found> likeliest_start(const LightCurve& curve, const Model& model,
                                            const std::vector<std::size_t>& used,
                                            const Likelihood& likelihood, double reference_bjd_tdb,
                                            double mistaken_limit_probability,
                                            const std::vector<std::vector<double>>& starts,
                                            const NoiseOptions& options);

}  // namespace emberline::lightcurve
