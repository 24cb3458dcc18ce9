// SPDX-License-Identifier: MIT
// lightcurve/fit — the order of the work: check, choose an epoch, follow every start, settle the noise, tell
// what came of it.
#include "lightcurve/fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/every_fit.hpp"
#include "lightcurve/likeliest_start.hpp"
#include "lightcurve/likelihood.hpp"
#include "lightcurve/noise_search.hpp"
#include "lightcurve/parameter_prediction.hpp"

namespace emberline::lightcurve {
namespace {

std::size_t detections_needed(const Model& model) {
    const auto infos = model.parameters(0.0);
    // A prior stands for a point.
    return static_cast<std::size_t>(std::count_if(
        infos.begin(), infos.end(), [](const ParameterInfo& info) { return !info.prior.has_value(); }));
}

bool stands_at_bound(const Model& model, std::vector<double> parameters, std::size_t j, double step) {
    const double here = parameters[j];
    for (const double moved : {here - step, here + step}) {
        parameters[j] = moved;
        if (!model.allowed(parameters)) return true;
    }
    return false;
}

void remark_on_search(CurveFit& fit, const Model& model) {
    if (fit.starts > 1 && fit.starts_agreeing == 1) {
        fit.remarks.push_back(
            fmt::format("Only one of {} starts led to this place: another may be likelier.", fit.starts));
    }
    for (std::size_t j = 0; j < fit.parameters.size(); ++j) {
        const double err = std::sqrt(fit.covariance(j, j));
        if (stands_at_bound(model, fit.parameters, j, 1e-6 * err)) {
            fit.remarks.push_back(
                fmt::format("{} stands at the edge of what the model {} allows: its error "
                            "is not that of a Gaussian.",
                            fit.parameter_info[j].name, fit.model));
        }
    }
    if (fit.dof == 0) fit.remarks.emplace_back("As many parameters as points: nothing checks the errors.");
}

// By how much −2 ln L rises where one parameter is moved and the others make the best of it; not at all where
// that is out of bounds or leads nowhere.
std::optional<double> rise_at(const Likelihood& likelihood, const Model& model, const Expansion& at,
                              const numerics::Matrix& covariance, std::size_t held, double step) {
    Place there = at.place;
    for (std::size_t j = 0; j < there.parameters.size(); ++j)
        there.parameters[j] += step * covariance(j, held) / covariance(held, held);
    if (!model.allowed(there.parameters)) return std::nullopt;
    std::vector<bool> mask(there.parameters.size(), false);
    mask[held] = true;
    const auto best = likelihood.climb(std::move(there), at.noise, Precision::rough, mask);
    if (!best) return std::nullopt;
    return likelihood.minus_two_log(best->place, at.noise) - likelihood.minus_two_log(at.place, at.noise);
}

// Times at which a curve bends are known by the few points beside them: far from the parabola that the
// covariance stands for, and wider.
void remark_on_epochs(CurveFit& fit, const Model& model, const Likelihood& likelihood, const Expansion& at,
                      const Uncertainty& uncertainty) {
    constexpr double far_less = 0.6;  // than one sigma should raise −2 ln L: the error is 1.3 times too small
    for (std::size_t j = 0; j < fit.parameters.size(); ++j) {
        const ParameterInfo& info = fit.parameter_info[j];
        if (!info.is_epoch || info.prior) continue;
        const double err = std::sqrt(uncertainty.covariance(j, j));
        for (const double step : {-err, err}) {
            const auto rise = rise_at(likelihood, model, at, uncertainty.covariance, j, step);
            if (!rise || *rise >= far_less * uncertainty.spread.likelihood) continue;
            fit.remarks.push_back(
                fmt::format("The error of {} is not a parabola's and too small: its profile (--profile) or a "
                            "sample of the posterior tells more.",
                            info.name));
            break;
        }
    }
}

std::vector<FitPoint> points_of(const LightCurve& curve, const Model& model, const Likelihood& likelihood,
                                const Expansion& at, double reference_bjd_tdb) {
    std::vector<FitPoint> points(curve.points.size());
    for (std::size_t i = 0; i < points.size(); ++i) {
        const Point& point = curve.points[i];
        points[i] = {.point = i,
                     .model_mag = model.magnitude(point.bjd_tdb - reference_bjd_tdb, at.place.parameters),
                     .residual_mag = {},
                     .weight = 0.0};
        if (!point.is_limit && point.magnitude_mag)
            points[i].residual_mag = *point.magnitude_mag - points[i].model_mag;
    }
    const auto z2 = at.squared_residuals();
    for (std::size_t r = 0; r < likelihood.rows(); ++r)
        points[likelihood.row_point(r)].weight = standing_weight(z2[r], at.noise.student_nu);
    for (std::size_t l = 0; l < likelihood.limits(); ++l)
        points[likelihood.limit_point(l)].weight = likelihood.limit_trust(l, at.place.parameters);
    return points;
}

void set_unknowns(CurveFit& fit, const Place& place, const numerics::Matrix& covariance) {
    const std::size_t p = place.parameters.size();
    fit.parameters = place.parameters;
    fit.covariance = numerics::Matrix(p, p);
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j < p; ++j)
            fit.covariance(i, j) = covariance(i, j);
    }
    for (std::size_t k = 0; k < place.commons.size(); ++k)
        fit.commons.push_back({place.commons[k], std::sqrt(covariance(p + k, p + k))});
}

}  // namespace

Result<CurveFit> fit(const LightCurve& curve, std::shared_ptr<const Model> model, const FitOptions& options) {
    if (const auto good = check_options(options); !good) return fail(good.error());
    auto used = within(curve, options.from_bjd_tdb, options.to_bjd_tdb);
    if (const auto good = check_points(curve, used, model->name(), detections_needed(*model)); !good)
        return fail(in_curve(curve, good.error()));

    std::stable_sort(used.begin(), used.end(), [&](std::size_t a, std::size_t b) {
        return curve.points[a].bjd_tdb < curve.points[b].bjd_tdb;
    });
    LightCurve chosen{
        .band = curve.band, .series = curve.series, .common_names = curve.common_names, .points = {}};
    for (const std::size_t i : used)
        chosen.points.push_back(curve.points[i]);
    const double reference = weighted_mean_time(curve, used);
    const auto starts = model->starts(chosen, reference);
    if (!starts) return fail(in_curve(curve, starts.error()));

    const Likelihood likelihood(curve, *model, used, reference, mistaken_limit(options.robust));
    const std::size_t n_parameters = likelihood.parameters(), rows = likelihood.rows();
    const NoiseOptions noise{
        .tails = options.robust && rows >= n_parameters + spare_rows_for_outliers,
        .scatter = options.fit_extra_scatter && rows >= fewest_for_extra_scatter && rows > n_parameters};
    const auto found = likeliest_start(curve, *model, used, likelihood, reference,
                                       mistaken_limit(options.robust), *starts, noise);
    if (!found) return fail(in_curve(curve, found.error()));
    const Expansion& at = found->settled.at;
    const auto uncertainty = uncertainty_at(likelihood, at);
    if (!uncertainty) return fail(in_curve(curve, uncertainty.error()));

    CurveFit result;
    result.model = model->name();
    result.source = model->source();
    result.parameter_info = model->parameters(reference);
    result.reference_bjd_tdb = reference;
    set_unknowns(result, at.place, uncertainty->covariance);
    result.minus_two_log_likelihood = likelihood.minus_two_log(at.place, at.noise);
    result.chi2 = chi2_of(likelihood, at);
    const std::size_t rows_and_priors = rows + likelihood.priors();
    result.dof = rows_and_priors > n_parameters ? rows_and_priors - n_parameters : 0;
    result.extra_scatter_mag = at.noise.extra_scatter_mag;
    result.student_nu = at.noise.student_nu;
    result.starts = found->starts;
    result.starts_agreeing = found->agreeing;
    result.n = used.size();
    set_criteria(result, n_parameters);
    result.from_bjd_tdb = chosen.points.front().bjd_tdb;
    result.to_bjd_tdb = chosen.points.back().bjd_tdb;
    result.n_limits = static_cast<std::size_t>(
        std::count_if(chosen.points.begin(), chosen.points.end(), [](const Point& p) { return p.is_limit; }));
    result.points = points_of(curve, *model, likelihood, at, reference);
    remark_on_scatter(result, found->settled.chi2_without_scatter);
    remark_on_outliers(result);
    remark_on_search(result, *model);
    remark_on_epochs(result, *model, likelihood, at, *uncertainty);
    result.prediction =
        parameter_prediction(std::move(model), reference, result.parameters, result.covariance);
    return result;
}

std::optional<ValueWithError> CurveFit::parameter(std::string_view name) const {
    for (std::size_t j = 0; j < parameter_info.size(); ++j) {
        if (parameter_info[j].name != name) continue;
        const double zero = parameter_info[j].is_epoch ? reference_bjd_tdb : 0.0;
        return ValueWithError{zero + parameters[j], std::sqrt(covariance(j, j))};
    }
    return std::nullopt;
}

std::optional<DeclineRate> decline_rate(const CurveFit& fit) {
    for (std::size_t j = 0; j < fit.parameter_info.size() && fit.model == straight_line()->name(); ++j) {
        if (fit.parameter_info[j].name != "decline_rate") continue;
        return DeclineRate{.mag_per_day = {fit.parameters[j], std::sqrt(fit.covariance(j, j))},
                           .from_bjd_tdb = fit.from_bjd_tdb,
                           .to_bjd_tdb = fit.to_bjd_tdb};
    }
    return std::nullopt;
}

}  // namespace emberline::lightcurve
