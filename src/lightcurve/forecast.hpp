// SPDX-License-Identifier: MIT
// lightcurve/forecast — where the curve goes if nothing new happens to it.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "lightcurve/fit.hpp"

namespace emberline::lightcurve {

struct ForecastPoint {
    double bjd_tdb = 0.0;
    double mag = 0.0;                      // median
    double low_mag = 0.0, high_mag = 0.0;  // 68.27 % of the possible curves
};

// All fits count, each by its weight (ModelChoice::weights), so that models which the past cannot tell apart
// widen the future's band; a rate may wander after the last point as it did before it. Problem: no fit with a
// weight, times before the first point.
class Forecast {
  public:
    static Result<Forecast> make(const std::vector<CurveFit>& fits, std::span<const double> weights,
                                 std::uint64_t seed = 1, std::size_t draws = 2000);
    [[nodiscard]] std::vector<ForecastPoint> at(std::span<const double> bjd_tdb) const;
    // When it fades past that magnitude: median and interval, searched until `until_bjd_tdb`. Nothing where
    // half of the curves have not by then; `high` is infinite where less than 84 % have.
    struct Passing {
        double bjd_tdb = 0.0, low_bjd_tdb = 0.0, high_bjd_tdb = 0.0;
    };
    [[nodiscard]] std::optional<Passing> passes(double mag, double until_bjd_tdb) const;

  private:
    std::vector<CurveFit> fits_;
    std::vector<double> weights_;
    std::uint64_t seed_ = 1;
    std::size_t draws_ = 0;
};

}  // namespace emberline::lightcurve
