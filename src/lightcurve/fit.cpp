// SPDX-License-Identifier: MIT
// lightcurve/fit — the order of the work: check, choose an epoch, climb, judge outliers, ask for extra
// scatter.
#include "lightcurve/fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/likelihood.hpp"
#include "lightcurve/parameter_prediction.hpp"
#include "lightcurve/robust_noise.hpp"
#include "quantities/instant.hpp"

namespace emberline::lightcurve {
namespace {

// Two points closer than this say nothing about a rate, and a Julian date in a double resolves 40 µs.
constexpr double same_time_d = 1.0 / seconds_per_day;
// Longer than any plate archive: a curve that spans this mixes Julian dates with modified ones.
constexpr double absurd_span_d = 100000.0;
// In a robust fit, the chance that a limit is a mistake: at 3 sigma it changes nothing, at 10 it wins.
constexpr double mistaken_limit_probability = 1e-3;
constexpr std::size_t fewest_for_extra_scatter = 4;
// Without extra scatter in truth, one fit in twenty gains 2.7 (half of chi² with one degree of freedom). A
// gain of 1, which one in six has by chance, made rates' pulls spread by 0.85 over 200 campaigns; this one
// 0.9 and more.
constexpr double least_gain_of_extra_scatter = 2.7;
// One bad point can be told from the others when at least this many more rows than parameters speak.
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
    const std::size_t needed = model.parameters(0.0).size();
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
                     .mend = "Wait for more nights, widen the range of dates, or choose a simpler model."});
    }
    const auto [first, last] = std::minmax_element(times.begin(), times.end());
    if (*last - *first > absurd_span_d) {
        return fail(
            {.what = fmt::format("The times span {:.0f} days: two ways of counting days seem to be mixed.",
                                 *last - *first),
             .where = fmt::format("from {:.4f} to {:.4f}", *first, *last),
             .mend = "Give all times as Julian dates (a modified one plus 2400000.5)."});
    }
    if (needed > 1 && *last - *first < same_time_d) {
        return fail({.what = "All points were taken at one time: they say nothing about a change.",
                     .where = {},
                     .mend = "Add another night."});
    }
    return {};
}

// Where level and rate are least correlated. A flux below its error weighs as if it were as large as that.
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

// Weights and parameters in turns until the weights stand still.
Result<Expansion> climb_robustly(const Likelihood& likelihood, Expansion at, Noise& noise, bool from_far) {
    constexpr int gentle_rounds = 4, most_rounds = 40;
    constexpr double still = 1e-4;
    for (int round = 0; round < most_rounds; ++round) {
        const bool gently = from_far && round < gentle_rounds;
        auto next = robust_weights(at, noise.weights, gently);
        double change = 0.0;
        for (std::size_t i = 0; i < next.size(); ++i) {
            change = std::max(change, std::abs(next[i] - noise.weights[i]));
        }
        noise.weights = std::move(next);
        auto climbed = likelihood.climb(at.parameters, noise);
        if (!climbed) return climbed;
        at = std::move(*climbed);
        if (!gently && change < still) break;
    }
    return at;
}

struct Outcome {
    Expansion at;
    Noise noise;
    double chi2_without_scatter = 0.0;
};

Result<Outcome> solve(const Likelihood& likelihood, std::vector<double> start, const FitOptions& options) {
    constexpr int most_turns = 6;
    const std::size_t n_parameters = start.size();
    const bool robust = options.robust && likelihood.rows() >= n_parameters + spare_rows_for_outliers;
    Noise noise{.extra_scatter_mag = 0.0, .weights = std::vector<double>(likelihood.rows(), 1.0)};
    const auto climb = [&](std::vector<double> from, bool from_far) -> Result<Expansion> {
        if (!robust) return likelihood.climb(std::move(from), noise);
        // The first weights come from the start, which no single point can have spoilt, as it can a fit.
        auto at = likelihood.expand(std::move(from), noise);
        if (!at) return at;
        return climb_robustly(likelihood, std::move(*at), noise, from_far);
    };
    auto at = climb(std::move(start), true);
    if (!at) return fail(at.error());
    const double chi2_before = at->chi2;
    if (options.fit_extra_scatter && likelihood.rows() >= fewest_for_extra_scatter &&
        likelihood.rows() > n_parameters) {
        for (int turn = 0; turn < most_turns; ++turn) {
            const auto scatter =
                find_extra_scatter(likelihood, at->parameters, noise, least_gain_of_extra_scatter);
            if (!scatter) return fail(scatter.error());
            const double change = std::abs(*scatter - noise.extra_scatter_mag);
            noise.extra_scatter_mag = *scatter;
            at = climb(at->parameters, false);
            if (!at) return fail(at.error());
            if (change <= 0.005 * *scatter) break;
        }
    }
    return Outcome{std::move(*at), std::move(noise), chi2_before};
}

// The likeliest place that any of the starts leads to.
Result<Outcome> solve_from(const Likelihood& likelihood, const Model& model,
                           const std::vector<std::vector<double>>& starts, const FitOptions& options) {
    std::optional<Outcome> best;
    Problem problem{.what = fmt::format("The model {} finds no sensible start.", model.name()),
                    .where = {},
                    .mend = "Choose another range of dates, or a simpler model."};
    const auto depth = [](const Outcome& o) {
        return o.at.covariance.minus_two_log_likelihood(o.at.residuals) + o.at.censored;
    };
    for (const std::vector<double>& start : starts) {
        if (!model.allowed(start)) continue;
        auto outcome = solve(likelihood, start, options);
        if (!outcome) {
            problem = outcome.error();
        } else if (!best || depth(*outcome) < depth(*best)) {
            best = std::move(*outcome);
        }
    }
    if (!best) return fail(problem);
    return std::move(*best);
}

std::vector<std::string> remarks_on(const CurveFit& fit, double chi2_before) {
    std::vector<std::string> remarks;
    if (fit.extra_scatter_mag > 0.0) {
        remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} for {} degrees of freedom): "
                        "{:.3f} mag were added "
                        "in quadrature to each random error.",
                        chi2_before, fit.dof, fit.extra_scatter_mag));
    } else if (fit.dof > 0 && fit.chi2 > 4.0 * static_cast<double>(fit.dof)) {
        remarks.push_back(
            fmt::format("The points scatter more than their errors (chi2 {:.1f} for {} degrees of freedom), "
                        "and nothing was added "
                        "to them: the errors of this fit are too small.",
                        fit.chi2, fit.dof));
    }
    const auto outliers = std::count_if(fit.points.begin(), fit.points.end(),
                                        [](const FitPoint& p) { return p.weight > 0.0 && p.weight < 0.5; });
    if (outliers > 0) {
        remarks.push_back(fmt::format("{} away from the others and {} little.",
                                      outliers == 1 ? "1 point lies" : fmt::format("{} points lie", outliers),
                                      outliers == 1 ? "counts" : "count"));
    }
    if (fit.dof == 0) {
        remarks.emplace_back("As many parameters as points: nothing checks the errors.");
    }
    return remarks;
}

std::vector<FitPoint> points_of(const LightCurve& curve, const Model& model, const Likelihood& likelihood,
                                const Outcome& outcome, double reference_bjd_tdb) {
    std::vector<FitPoint> points(curve.points.size());
    for (std::size_t i = 0; i < points.size(); ++i) {
        const Point& point = curve.points[i];
        points[i] = {.point = i,
                     .model_mag = model.magnitude(point.bjd_tdb - reference_bjd_tdb, outcome.at.parameters),
                     .residual_mag = {},
                     .weight = 0.0};
        if (!point.is_limit && point.magnitude_mag)
            points[i].residual_mag = *point.magnitude_mag - points[i].model_mag;
    }
    for (std::size_t r = 0; r < likelihood.rows(); ++r) {
        points[likelihood.row_point(r)].weight = outcome.noise.weights[r];
    }
    for (std::size_t l = 0; l < likelihood.limits(); ++l) {
        points[likelihood.limit_point(l)].weight = likelihood.limit_trust(l, outcome.at.parameters);
    }
    return points;
}

}  // namespace

Result<CurveFit> fit(const LightCurve& curve, std::shared_ptr<const Model> model, const FitOptions& options) {
    if (const auto good = check_options(options); !good) return fail(good.error());
    const auto used = within(curve, options.from_bjd_tdb, options.to_bjd_tdb);
    if (const auto good = check_points(curve, used, *model); !good)
        return fail(in_curve(curve, good.error()));

    LightCurve chosen{
        .band = curve.band, .series = curve.series, .common_names = curve.common_names, .points = {}};
    for (const std::size_t i : used)
        chosen.points.push_back(curve.points[i]);
    sort_by_time(chosen);
    const double reference = weighted_mean_time(curve, used);
    const auto starts = model->starts(chosen, reference);
    if (!starts) return fail(in_curve(curve, starts.error()));

    const Likelihood likelihood(curve, *model, used, reference,
                                options.robust ? mistaken_limit_probability : 0.0);
    const auto outcome = solve_from(likelihood, *model, *starts, options);
    if (!outcome) return fail(in_curve(curve, outcome.error()));
    const auto covariance = inverse_normal(outcome->at.normal);
    if (!covariance) return fail(in_curve(curve, covariance.error()));

    CurveFit result;
    result.model = model->name();
    result.source = model->source();
    result.parameter_info = model->parameters(reference);
    result.reference_bjd_tdb = reference;
    result.parameters = outcome->at.parameters;
    result.covariance = *covariance;
    result.minus_two_log_likelihood =
        outcome->at.covariance.minus_two_log_likelihood(outcome->at.residuals) + outcome->at.censored;
    result.chi2 = outcome->at.chi2;
    const std::size_t n_parameters = result.parameters.size();
    result.dof = likelihood.rows() > n_parameters ? likelihood.rows() - n_parameters : 0;
    result.extra_scatter_mag = outcome->noise.extra_scatter_mag;
    result.n = used.size();
    const double free = static_cast<double>(n_parameters) + (result.extra_scatter_mag > 0.0 ? 1.0 : 0.0);
    const double n = static_cast<double>(result.n);
    result.bic = result.minus_two_log_likelihood + free * std::log(n);
    result.aicc =
        n > free + 1.0 ? result.minus_two_log_likelihood + 2.0 * free * n / (n - free - 1.0) : HUGE_VAL;
    result.from_bjd_tdb = chosen.points.front().bjd_tdb;
    result.to_bjd_tdb = chosen.points.back().bjd_tdb;
    result.n_limits = static_cast<std::size_t>(
        std::count_if(chosen.points.begin(), chosen.points.end(), [](const Point& p) { return p.is_limit; }));
    result.points = points_of(curve, *model, likelihood, *outcome, reference);
    result.remarks = remarks_on(result, outcome->chi2_without_scatter);
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
