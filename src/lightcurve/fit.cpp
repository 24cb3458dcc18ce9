// SPDX-License-Identifier: MIT
// lightcurve/fit — the order of the work: check, choose an epoch, follow every
// start, settle the noise, tell what came of it.
#include "lightcurve/fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/likeliest_start.hpp"
#include "lightcurve/likelihood.hpp"
#include "lightcurve/noise_search.hpp"
#include "lightcurve/parameter_prediction.hpp"
#include "quantities/instant.hpp"

namespace emberline::lightcurve {
namespace {

// Two points closer than this say nothing about a rate, and a Julian date in a
// double resolves 40 µs.
constexpr double same_time_d = 1.0 / seconds_per_day;
// Longer than any plate archive: a curve that spans this mixes Julian dates
// with modified ones.
constexpr double absurd_span_d = 100000.0;
// In a robust fit, the chance that a limit is a mistake: at 3 sigma it changes
// nothing, at 10 it wins.
constexpr std::size_t fewest_for_extra_scatter = 4;
// Within so many sigma of the curve a point is shown as one like the others,
// whatever tails it has.
constexpr double outlier_sigma = 3.0;
// One bad point can be told from the others when at least this many more rows
// than parameters speak.
constexpr std::size_t spare_rows_for_outliers = 3;

bool is_detection(const Point& point) {
    if (point.is_limit) return false;
    return point.flux ? point.flux->value > 0.0 : true;
}

Problem in_curve(const LightCurve& curve, Problem problem) {
    return curve.band.empty() ? problem : at("Light curve in " + curve.band.name(), std::move(problem));
}

Result<void> check_options(const FitOptions& options) {
    for (const auto& end : {options.from_bjd_tdb, options.to_bjd_tdb}) {
        if (end && !std::isfinite(*end)) {
            return fail({.what = "An end of the interval to fit is not a number.",
                         .where = {},
                         .mend = "Give a Julian date, or leave that end open.",
                         .kind = ProblemKind::request});
        }
    }
    if (options.from_bjd_tdb && options.to_bjd_tdb && *options.from_bjd_tdb > *options.to_bjd_tdb) {
        return fail({.what = "The interval to fit ends before it begins.",
                     .where = fmt::format("from {} to {}", *options.from_bjd_tdb, *options.to_bjd_tdb),
                     .mend = "Exchange the two dates.",
                     .kind = ProblemKind::request});
    }
    return {};
}

Result<void> check_points(const LightCurve& curve, const std::vector<std::size_t>& used, const Model& model) {
    const auto infos = model.parameters(0.0);
    // A prior stands for a point.
    const auto needed = static_cast<std::size_t>(std::count_if(
        infos.begin(), infos.end(), [](const ParameterInfo& info) { return !info.prior.has_value(); }));
    std::size_t found = 0;
    std::vector<double> times;
    for (const std::size_t i : used) {
        if (const auto good = check_point(curve, i); !good) return good;
        times.push_back(curve.points[i].bjd_tdb);
        if (is_detection(curve.points[i])) ++found;
    }
    if (found == 0 && !used.empty()) {
        return fail({.what = fmt::format("None of the {} points is a detection: limits alone fix no model.",
                                         used.size()),
                     .where = {},
                     .mend = "Widen the range of dates, or combine more frames a night."});
    }
    if (found < needed) {
        return fail({.what = fmt::format("The model {} needs {} detections, and there {} {}.", model.name(),
                                         needed, found == 1 ? "is" : "are", found),
                     .where = {},
                     .mend = "Wait for more nights, widen the range of dates, or "
                             "choose a simpler model."});
    }
    const auto [first, last] = std::minmax_element(times.begin(), times.end());
    if (*last - *first > absurd_span_d) {
        return fail({.what = fmt::format("The times span {:.0f} days: two ways of "
                                         "counting days seem to be mixed.",
                                         *last - *first),
                     .where = fmt::format("from {:.4f} to {:.4f}", *first, *last),
                     .mend = "Give all times as Julian dates (a modified one plus "
                             "2400000.5)."});
    }
    if (needed > 1 && *last - *first < same_time_d) {
        return fail({.what = "All points were taken at one time: they say nothing "
                             "about a change.",
                     .where = {},
                     .mend = "Add another night."});
    }
    return {};
}

// Where level and rate are least correlated. A flux below its error weighs as
// if it were as large as that.
double weighted_mean_time(const LightCurve& curve, const std::vector<std::size_t>& used) {
    const double origin = curve.points[used.front()].bjd_tdb;  // keeps the sum's rounding small
    double sum_w = 0.0, sum_wt = 0.0;
    for (const std::size_t i : used) {
        const Point& point = curve.points[i];
        if (point.is_limit && !point.flux) continue;
        const double err_mag = point.flux ? mag_per_relative_flux * point.flux->err /
                                                std::max(point.flux->value, point.flux->err)
                                          : *point.random_err_mag;
        const double w = 1.0 / (err_mag * err_mag);
        sum_w += w;
        sum_wt += w * (point.bjd_tdb - origin);
    }
    return origin + sum_wt / sum_w;
}

bool stands_at_bound(const Model& model, std::vector<double> parameters, std::size_t j, double step) {
    const double here = parameters[j];
    for (const double moved : {here - step, here + step}) {
        parameters[j] = moved;
        if (!model.allowed(parameters)) return true;
    }
    return false;
}

void remark_on_scatter(CurveFit& fit, double chi2_before) {
    if (fit.extra_scatter_mag > 0.0) {
        fit.remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} "
                        "for {} degrees of freedom): "
                        "{:.3f} mag were added in quadrature to each random error.",
                        chi2_before, fit.dof, fit.extra_scatter_mag));
    } else if (fit.dof > 0 && fit.chi2 > 4.0 * static_cast<double>(fit.dof)) {
        fit.remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} for {} degrees "
                        "of freedom), "
                        "and nothing was added to them: the errors of this fit are too small.",
                        fit.chi2, fit.dof));
    }
}

void remark_on_outliers(CurveFit& fit) {
    const std::string tails =
        fit.student_nu
            ? fmt::format(" (errors with tails: Student's t, {:.0f} degrees of freedom)", *fit.student_nu)
            : std::string();
    const auto outliers = std::count_if(fit.points.begin(), fit.points.end(),
                                        [](const FitPoint& p) { return p.weight > 0.0 && p.weight < 0.5; });
    if (outliers > 0) {
        fit.remarks.push_back(
            fmt::format("{} away from the others and {} little{}.",
                        outliers == 1 ? "1 point lies" : fmt::format("{} points lie", outliers),
                        outliers == 1 ? "counts" : "count", tails));
    } else if (fit.student_nu) {
        fit.remarks.push_back(
            fmt::format("Some points lie further out than Gaussian errors allow{}.", tails));
    }
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

// The numbers by which models compare.
void set_criteria(CurveFit& fit) {
    const double free = static_cast<double>(fit.parameters.size()) +
                        (fit.extra_scatter_mag > 0.0 ? 1.0 : 0.0) + (fit.student_nu ? 1.0 : 0.0);
    const double n = static_cast<double>(fit.n);
    fit.bic = fit.minus_two_log_likelihood + free * std::log(n);
    fit.aicc = n > free + 1.0 ? fit.minus_two_log_likelihood + 2.0 * free * n / (n - free - 1.0) : HUGE_VAL;
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
    if (const auto good = check_points(curve, used, *model); !good)
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
    set_criteria(result);
    result.from_bjd_tdb = chosen.points.front().bjd_tdb;
    result.to_bjd_tdb = chosen.points.back().bjd_tdb;
    result.n_limits = static_cast<std::size_t>(
        std::count_if(chosen.points.begin(), chosen.points.end(), [](const Point& p) { return p.is_limit; }));
    result.points = points_of(curve, *model, likelihood, at, reference);
    remark_on_scatter(result, found->settled.chi2_without_scatter);
    remark_on_outliers(result);
    remark_on_search(result, *model);
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
