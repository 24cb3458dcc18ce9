// SPDX-License-Identifier: MIT
// lightcurve/fit — maximum likelihood with the covariance that the points
// really have: C = diag(random² + σ_x²) + V Vᵀ, one column of V for each common
// error (design section 4). Points with a flux are Gaussian in flux, others in
// magnitude; a limit without flux contributes the probability that a flux this
// faint stays below it, apart from the common errors and from σ_x.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "lightcurve/model.hpp"
#include "lightcurve/prediction.hpp"
#include "numerics/matrix.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::lightcurve {

struct FitOptions {
    std::optional<double> from_bjd_tdb, to_bjd_tdb;
    bool robust = true;             // Student's t where points lie further out than Gaussian
                                    // errors allow
    bool fit_extra_scatter = true;  // σ_x added in quadrature when the points ask
                                    // for it (needs 4 or more)
};

struct FitPoint {
    std::size_t point = 0;  // index into the curve
    double model_mag = 0.0;
    std::optional<double> residual_mag;  // measured − model; absent for limits
    // 1 within 3 sigma of the curve; further out the weight of the t, (ν + 1)/(ν
    // + z²); of a limit the probability that it is none by mistake; 0: outside
    // the interval
    double weight = 1.0;
};

struct CurveFit {
    std::string model, source;
    std::vector<ParameterInfo> parameter_info;
    double reference_bjd_tdb = 0.0;
    std::vector<double> parameters;
    numerics::Matrix covariance;
    // Of all points (normalised: ln|C| + n ln 2π where Gaussian), limits and
    // priors ((θ − mean)²/σ²), the common errors integrated out.
    double minus_two_log_likelihood = 0.0;
    double chi2 = 0.0;    // rᵀ C⁻¹ r with the t's weights and σ_x in C, and priors;
                          // limits without flux not counted
    std::size_t dof = 0;  // rows and priors in chi2 − parameters
    double bic = 0.0;     // −2 ln L + k ln n; σ_x and ν count as parameters where
                          // they were needed
    double aicc = 0.0;    // Hurvich & Tsai 1989; infinite where n is too small for it
    double extra_scatter_mag = 0.0;
    std::optional<double> student_nu;  // degrees of freedom of the Student-t; absent: Gaussian
    std::size_t starts = 1;            // tried; `starts_agreeing` of them came to this place
    std::size_t starts_agreeing = 1;
    // Most probable value of each common error, in units of its own sigma: an
    // offset between series is one.
    std::vector<ValueWithError> commons;
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
    std::size_t n = 0;  // points used, limits included
    std::size_t n_limits = 0;
    std::vector<FitPoint> points;
    std::vector<std::string> remarks;              // "the error of the rate is scaled by …",
                                                   // "2 points are outliers"
    std::shared_ptr<const Prediction> prediction;  // never null in what fit() returns

    // One parameter by its name, epochs as BJD(TDB); nothing where the model has
    // none of that name.
    [[nodiscard]] std::optional<ValueWithError> parameter(std::string_view name) const;
};

// Gaussian in flux where the flux is kept (limits too), else Gaussian in
// magnitude, censored for limits. Errors are those of a Gaussian fit widened by
// what tails cost (tail_spread()), not scaled by chi2. Times count from the
// weighted mean time of the points used. The order of the points does not
// matter. Problem: fewer detections than parameters, all limits, all at one
// time, times on two scales, a point that check_point() refuses, no
// convergence.
[[nodiscard]] Result<CurveFit> fit(const LightCurve& curve, std::shared_ptr<const Model> model,
                                   const FitOptions& options = {});

struct DeclineRate {
    ValueWithError mag_per_day;
    double from_bjd_tdb = 0.0, to_bjd_tdb = 0.0;
};
// Of a straight-line fit.
[[nodiscard]] std::optional<DeclineRate> decline_rate(const CurveFit& fit);

// ⁵⁶Co: half-life 77.236 d (NUBASE, via an encyclopaedia's table of
// isotopes); 2.5 log10(2) / T½.
inline constexpr double cobalt56_half_life_d = 77.236;
inline constexpr double cobalt56_decline_mag_per_day = 0.009743836930446333;

}  // namespace emberline::lightcurve
