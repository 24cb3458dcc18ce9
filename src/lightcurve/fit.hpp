// SPDX-License-Identifier: MIT
// lightcurve/fit — maximum likelihood with the covariance that the points really have.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/model.hpp"
#include "numerics/matrix.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

struct FitOptions {
    std::optional<double> from_bjd_tdb, to_bjd_tdb;
    bool robust = true;            // iterated weights against single bad points; never below one half of them
    bool fit_extra_scatter = true; // σ_x added in quadrature when chi² asks for it (needs 4 points or more)
};

struct FitPoint {
    std::size_t point = 0;         // index into the curve
    double model_mag = 0.0;
    std::optional<double> residual_mag;  // measured − model; absent for limits
    double weight = 1.0;           // robust weight; 0: outside the interval
};

struct CurveFit {
    std::string model;
    std::vector<ParameterInfo> parameter_info;
    double reference_bjd_tdb = 0.0;
    std::vector<double> parameters;
    numerics::Matrix covariance;
    double minus_two_log_likelihood = 0.0;
    double chi2 = 0.0;
    std::size_t dof = 0;
    double bic = 0.0;
    double extra_scatter_mag = 0.0;
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
    std::size_t n = 0;             // points used, limits included
    std::size_t n_limits = 0;
    std::vector<FitPoint> points;
    std::vector<std::string> remarks;   // "the error of the rate is scaled by …", "2 points are outliers"
};

// Gaussian in flux where the flux is kept (limits too), else Gaussian in magnitude, censored for limits.
// Problem: fewer points than parameters, all limits, all at one time, an error that is zero or negative.
[[nodiscard]] Result<CurveFit> fit(const LightCurve& curve, const Model& model, const FitOptions& options = {});

// Model value and one sigma of it at a time, from the parameter covariance: the band in the picture.
[[nodiscard]] ValueWithError predict(const CurveFit& fit, const Model& model, double bjd_tdb);

struct DeclineRate {
    ValueWithError mag_per_day;
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
};
// Of a straight-line fit.
[[nodiscard]] std::optional<DeclineRate> decline_rate(const CurveFit& fit);

// ⁵⁶Co: half-life 77.236 d (NUBASE, via an encyclopaedia's table of isotopes); 2.5 log10(2) / T½.
inline constexpr double cobalt56_half_life_d = 77.236;
inline constexpr double cobalt56_decline_mag_per_day = 0.009743836930446333;

}  // namespace emberline::lightcurve
