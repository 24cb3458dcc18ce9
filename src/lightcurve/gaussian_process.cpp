// SPDX-License-Identifier: MIT
// lightcurve/gaussian_process — the order of the work: check, settle, sum over what few points leave open,
// tell.
#include "lightcurve/gaussian_process.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "lightcurve/every_fit.hpp"
#include "lightcurve/settle_process.hpp"
#include "lightcurve/student_t.hpp"

namespace emberline::lightcurve {
namespace {

using numerics::MaternPosterior;

constexpr std::size_t fewest_detections = 5;

// Of the rows about the curve; `with_scatter`: σ_x is part of their errors.
double chi2_of(const SettledProcess& at, bool with_scatter) {
    const double scatter2 = with_scatter ? 0.0 : std::pow(extra_scatter_of(at.scales), 2);
    double sum = 0.0;
    for (const Touch& t : at.problem.touches) {
        if (!t.is_limit) sum += t.weight * t.z2 * (1.0 + scatter2 / t.variance);
    }
    return sum;
}

// The posterior with the scales that were found and, where few points leave them open, with others.
Result<std::vector<WeightedPosterior>> possible_posteriors(SettledProcess& at,
                                                           const numerics::Matrix& covariance) {
    // More points than that know their scales. With the best scales alone, curves drawn from the process were
    // inside one sigma at unseen times in 0.63 of cases for 8 points and 0.66 for 30, with others 0.68 and
    // 0.68.
    constexpr std::size_t few_points = 200;
    if (at.problem.touches.size() > few_points) {
        return std::vector<WeightedPosterior>{{.weight = 1.0, .posterior = *at.posterior}};
    }
    std::vector<WeightedPosterior> posteriors;
    for (const PossibleScales& possible : possible_scales(at.problem, at.scales, covariance)) {
        at.problem.set_noise(extra_scatter_of(possible.scales));
        auto posterior =
            MaternPosterior::make(process_of(at.problem.order, possible.scales), at.problem.data);
        if (!posterior) return fail(posterior.error());
        posteriors.push_back({.weight = possible.weight, .posterior = std::move(*posterior)});
    }
    return posteriors;
}

void set_scales(CurveFit& fit, const SettledProcess& at, const numerics::Matrix& covariance) {
    fit.parameter_info = {
        {.name = "amplitude", .unit = "mag", .about = "Standard deviation of the curve about its mean line."},
        {.name = "time_scale", .unit = "d", .about = "Days over which the curve forgets what it was."}};
    fit.parameters = {std::exp(at.scales[0]), std::exp(at.scales[1])};
    fit.covariance = numerics::Matrix(2, 2);
    for (std::size_t i = 0; i < 2; ++i) {
        for (std::size_t j = 0; j < 2; ++j)
            fit.covariance(i, j) = covariance(i, j) * fit.parameters[i] * fit.parameters[j];
    }
}

void set_dof(CurveFit& fit, const SettledProcess& at) {
    double left = 0.0;
    for (std::size_t i = 0; i < at.problem.touches.size(); ++i) {
        const Touch& t = at.problem.touches[i];
        if (!t.is_limit) left += 1.0 - at.variances[i] / t.total_variance(fit.extra_scatter_mag);
    }
    fit.dof = static_cast<std::size_t>(std::max(std::lround(left), 0L));
}

void set_points(CurveFit& fit, const LightCurve& curve, const ProcessSetup& setup, const SettledProcess& at) {
    fit.points.resize(curve.points.size());
    for (std::size_t i = 0; i < fit.points.size(); ++i) {
        const Point& point = curve.points[i];
        FitPoint& out = fit.points[i];
        out = {.point = i,
               .model_mag = std::numeric_limits<double>::quiet_NaN(),
               .residual_mag = {},
               .weight = 0.0};
        if (std::isfinite(point.bjd_tdb)) out.model_mag = fit.prediction->magnitude(point.bjd_tdb).value;
        if (!point.is_limit && point.magnitude_mag) out.residual_mag = *point.magnitude_mag - out.model_mag;
    }
    for (std::size_t r = 0; r < setup.rows.size(); ++r) {
        const Touch& t = at.problem.touches[r];
        fit.points[setup.rows[r].point].weight = t.is_limit ? t.weight : standing_weight(t.z2, at.nu);
    }
}

}  // namespace

Result<CurveFit> fit_gaussian_process(const LightCurve& curve, Smoothness smoothness,
                                      const FitOptions& options) {
    if (const auto good = check_options(options); !good) return fail(good.error());
    const auto used = within(curve, options.from_bjd_tdb, options.to_bjd_tdb);
    CurveFit result;
    result.model = smoothness == Smoothness::matern_3_2 ? "gaussian-process-3/2" : "gaussian-process-5/2";
    if (const auto good = check_points(curve, used, result.model, fewest_detections); !good)
        return fail(in_curve(curve, good.error()));
    const double reference = weighted_mean_time(curve, used);
    const auto order = smoothness == Smoothness::matern_3_2 ? numerics::MaternOrder::three_halves
                                                            : numerics::MaternOrder::five_halves;
    const ProcessSetup setup = set_up_process(curve, used, order, reference, options.robust);
    auto at = settle_process(setup, options);
    if (!at) return fail(in_curve(curve, at.error()));

    result.source = "Rasmussen & Williams 2006; state-space form: Hartikainen & Särkkä 2010";
    result.reference_bjd_tdb = reference;
    const auto covariance = scales_covariance(at->problem, at->scales);
    auto posteriors = possible_posteriors(*at, covariance);
    if (!posteriors) return fail(in_curve(curve, posteriors.error()));
    set_scales(result, *at, covariance);
    result.extra_scatter_mag = extra_scatter_of(at->scales);
    result.student_nu = at->nu;
    const MaternPosterior& posterior = *at->posterior;
    result.minus_two_log_likelihood =
        posterior.evidence().minus_two_log_likelihood(setup.frame.commons) + at->corrections();
    result.chi2 = chi2_of(*at, true);
    set_dof(result, *at);
    result.n = used.size();
    set_criteria(result, result.parameters.size() + free_of_mean + (setup.frame.clock.is_plain() ? 0 : 1));
    for (std::size_t c = 0; c < setup.frame.commons; ++c) {
        result.commons.push_back(
            {posterior.coefficients()[c], std::sqrt(posterior.coefficient_covariance()(c, c))});
    }
    result.from_bjd_tdb = reference + setup.rows.front().days;
    result.to_bjd_tdb = reference + setup.rows.back().days;
    for (const std::size_t i : used) {
        if (curve.points[i].is_limit) ++result.n_limits;
    }
    result.prediction = process_prediction(std::move(*posteriors), setup.frame);
    set_points(result, curve, setup, *at);
    remark_on_scatter(result, chi2_of(*at, false));
    remark_on_outliers(result);
    if (!setup.frame.clock.is_plain()) {
        result.remarks.push_back(fmt::format(
            "The curve changes more slowly with age: the time scale is that of its brightest point, "
            "and {:.0f} days later its changes take twice as long.",
            setup.frame.clock.slowing_d));
    }
    return result;
}

}  // namespace emberline::lightcurve
