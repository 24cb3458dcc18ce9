// SPDX-License-Identifier: MIT
// lightcurve/gaussian_process — the order of the work: check, find the scales and the touching Gaussians in
// turns, choose the noise, tell.
#include "lightcurve/gaussian_process.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/choose_model.hpp"
#include "lightcurve/every_fit.hpp"
#include "lightcurve/likelihood.hpp"
#include "lightcurve/process_prediction.hpp"
#include "lightcurve/process_search.hpp"
#include "lightcurve/student_t.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

using numerics::MaternPosterior;

constexpr std::size_t fewest_detections = 5;
// As in fit(): what chance gains in one case of twenty.
constexpr double least_gain = 2.7;
// Of those that fit() tries: a gross outlier, and tails.
constexpr double tried_here[] = {3.0, 10.0};
constexpr double most_outliers = 0.2;
// With so many rows tails are tried only where some point stands out this far.
constexpr std::size_t many_rows = 2000;
constexpr double standing_out_sigma = 6.0;

struct Setup {
    std::vector<ProcessRow> rows;
    std::vector<double> medians;  // magnitudes to begin with
    ProcessProblem problem;       // without its touches
    ProcessFrame frame;
    double mistaken_limit = 0.0;
    bool has_limits = false, magnitudes_only = true;  // limits without flux; neither limits nor fluxes
};

Setup set_up(const LightCurve& curve, const std::vector<std::size_t>& used, Smoothness smoothness,
             double reference_bjd_tdb, bool robust) {
    Setup setup{.rows = process_rows(curve, used, reference_bjd_tdb),
                .medians = {},
                .problem = {},
                .frame = {.reference_bjd_tdb = reference_bjd_tdb, .commons = curve.common_names.size()},
                .mistaken_limit = mistaken_limit(robust)};
    setup.medians = running_medians(setup.rows);
    setup.problem.order = smoothness == Smoothness::matern_3_2 ? numerics::MaternOrder::three_halves
                                                               : numerics::MaternOrder::five_halves;
    setup.frame.centre_mag = setup.problem.centre_mag = numerics::median(setup.medians);
    auto& data = setup.problem.data;
    data.basis = numerics::Matrix(setup.rows.size(), setup.frame.commons + free_of_mean);
    for (std::size_t i = 0; i < setup.rows.size(); ++i) {
        const ProcessRow& row = setup.rows[i];
        setup.has_limits = setup.has_limits || row.kind == ProcessRow::Kind::limit;
        setup.magnitudes_only = setup.magnitudes_only && row.kind == ProcessRow::Kind::magnitude;
        data.times.push_back(row.days);
        auto basis = process_basis(row.days, setup.frame.commons);
        // A limit that came without its flux stands apart from the common errors.
        if (row.kind != ProcessRow::Kind::limit)
            std::ranges::copy(curve.points[row.point].common_err_mag, basis.begin());
        for (std::size_t c = 0; c < basis.size(); ++c)
            data.basis(i, c) = basis[c];
    }
    return setup;
}

// A place that the scales, the touching Gaussians and the curve agree on.
struct Settled {
    std::optional<double> nu;
    ProcessScales scales;
    ProcessProblem problem;
    std::optional<MaternPosterior> posterior;
    std::vector<double> variances;  // of the curve at the rows, common errors included
    double total = 0.0;             // −2 ln of likelihood × priors

    [[nodiscard]] double corrections() const {
        double sum = 0.0;
        for (const Touch& t : problem.touches)
            sum += t.correction;
        return sum;
    }
};

// Smooths and touches in turns, with the scales as they are.
Result<void> smooth(const Setup& setup, Settled& at, std::vector<double>& touched_at, double mistaken_limit) {
    constexpr int most_turns = 60;
    constexpr double still_sigma = 0.01, longest_step_mag = 1.0;
    const RowNoise noise{extra_scatter_of(at.scales), at.nu, mistaken_limit};
    const bool once = !at.nu && setup.magnitudes_only;
    at.variances.resize(setup.rows.size());
    for (int turn = 0; turn < most_turns; ++turn) {
        at.problem.set_noise(noise.extra_scatter_mag);
        auto posterior = MaternPosterior::make(process_of(at.problem.order, at.scales), at.problem.data);
        if (!posterior) return fail(posterior.error());
        at.posterior = std::move(*posterior);
        double moved = 0.0;
        for (std::size_t i = 0; i < setup.rows.size(); ++i) {
            const auto here = at.posterior->at_values()[i];
            // Far from where it was touched, the Gaussian is no guide.
            double step = at.problem.centre_mag + here.mean - touched_at[i];
            if (setup.rows[i].kind != ProcessRow::Kind::magnitude)
                step = std::clamp(step, -longest_step_mag, longest_step_mag);
            moved = std::max(moved, std::abs(step) / std::sqrt(here.variance));
            touched_at[i] += step;
            at.variances[i] = here.variance;
            at.problem.touches[i] = touch(setup.rows[i], touched_at[i], here.variance, noise);
        }
        if (once || moved < still_sigma) break;
    }
    return {};
}

// The rows as they are touched first. Outliers are judged against the running medians and the spread about
// them, both of which one bad point cannot spoil, as it can a curve.
std::vector<Touch> first_touches(const Setup& setup, std::optional<double> nu, double mistaken_limit) {
    std::vector<double> off;
    for (std::size_t i = 0; i < setup.rows.size(); ++i) {
        const Touch plain = touch(setup.rows[i], setup.medians[i], 0.0, {});
        if (!plain.is_limit) off.push_back(std::abs(plain.value - setup.medians[i]));
    }
    const RowNoise noise{numerics::mad_to_sigma * numerics::median(off), nu, mistaken_limit};
    std::vector<Touch> touches;
    for (std::size_t i = 0; i < setup.rows.size(); ++i)
        touches.push_back(touch(setup.rows[i], setup.medians[i], 0.0, noise));
    return touches;
}

// What a settled place is looked for with.
struct Wanted {
    std::optional<double> nu;
    bool scatter = false;
    bool trusting = false;  // no limit is a mistake, to begin with
};

Result<Settled> settle(const Setup& setup, const Wanted& wanted) {
    constexpr int most_turns = 8;
    constexpr double still = 0.02;  // in the logarithms of the scales, whose errors are ten times that
    Settled at{.nu = wanted.nu, .scales = {}, .problem = setup.problem, .posterior = {}, .variances = {}};
    std::vector<double> touched_at = setup.medians;
    at.problem.touches = first_touches(setup, wanted.nu, wanted.trusting ? 0.0 : setup.mistaken_limit);
    at.scales = search_scales(at.problem, wanted.scatter).scales;
    if (wanted.trusting) {
        if (const auto good = smooth(setup, at, touched_at, 0.0); !good) return fail(good.error());
        at.scales = search_scales(at.problem, wanted.scatter).scales;
    }
    for (int turn = 1;; ++turn) {
        if (const auto good = smooth(setup, at, touched_at, setup.mistaken_limit); !good)
            return fail(good.error());
        if ((!at.nu && setup.magnitudes_only) || turn == most_turns) break;
        const auto polished = polish_scales(at.problem, at.scales);
        double moved = 0.0;
        for (std::size_t j = 0; j < at.scales.size(); ++j)
            moved = std::max(moved, std::abs(polished.scales[j] - at.scales[j]));
        if (moved < still) break;
        at.scales = polished.scales;
    }
    at.total = depth(at.problem, at.scales) + at.corrections();
    return at;
}

// A limit that the first look takes for a mistake stays one, though a curve below it may be likelier: both
// beginnings are followed.
Result<Settled> settle_limits(const Setup& setup, Wanted wanted) {
    auto at = settle(setup, wanted);
    if (!at || !setup.has_limits || setup.mistaken_limit == 0.0) return at;
    wanted.trusting = true;
    auto trusting = settle(setup, wanted);
    return trusting && trusting->total < at->total ? trusting : at;
}

// Of the rows about the curve; `with_scatter`: σ_x is part of their errors.
double chi2_of(const Settled& at, bool with_scatter) {
    const double scatter2 = with_scatter ? 0.0 : std::pow(extra_scatter_of(at.scales), 2);
    double sum = 0.0;
    for (const Touch& t : at.problem.touches) {
        if (!t.is_limit) sum += t.weight * t.z2 * (1.0 + scatter2 / t.variance);
    }
    return sum;
}

// With σ_x only where that gains.
Result<Settled> settle_scatter(const Setup& setup, std::optional<double> nu, bool may_scatter) {
    auto without = settle_limits(setup, {.nu = nu});
    if (!without) return without;
    if (!may_scatter) return without;
    auto with = settle_limits(setup, {.nu = nu, .scatter = true});
    if (!with) return with;
    return without->total - with->total > least_gain ? with : without;
}

// Our clock, unless one that slows down with age makes the points clearly likelier. Told by a few hundred of
// them.
void choose_clock(Setup& setup) {
    constexpr std::size_t enough_rows = 300;
    constexpr double tried_slowing_d[] = {8.0, 20.0, 50.0};
    const auto depth_with = [&](const ProcessClock& clock) {
        ProcessProblem problem = setup.problem;
        problem.touches = first_touches(setup, std::nullopt, setup.mistaken_limit);
        for (std::size_t i = 0; i < setup.rows.size(); ++i)
            problem.data.times[i] = clock.at(setup.rows[i].days);
        problem = thinned(problem, enough_rows);
        return search_scales(problem, true).depth;
    };
    const auto brightest = std::ranges::min_element(setup.medians) - setup.medians.begin();
    const double plain = depth_with({});
    double lowest = plain - strong_evidence;
    for (const double slowing_d : tried_slowing_d) {
        const ProcessClock clock{setup.rows[static_cast<std::size_t>(brightest)].days, slowing_d};
        const double depth = depth_with(clock);
        if (depth >= lowest) continue;
        lowest = depth;
        setup.frame.clock = clock;
    }
    for (std::size_t i = 0; i < setup.rows.size(); ++i)
        setup.problem.data.times[i] = setup.frame.clock.at(setup.rows[i].days);
}

// Whether some point is so far off that tails are worth a look.
bool stands_out(const Setup& setup) {
    std::vector<double> z;
    for (std::size_t i = 0; i < setup.rows.size(); ++i) {
        const Touch plain = touch(setup.rows[i], setup.medians[i], 0.0, {});
        if (!plain.is_limit) z.push_back(std::sqrt(plain.z2));
    }
    const double spread = std::max(1.0, numerics::mad_to_sigma * numerics::median(z));
    return *std::ranges::max_element(z) > standing_out_sigma * spread;
}

bool are_few(const Settled& at) {
    const auto outliers = std::ranges::count_if(at.problem.touches,
                                                [](const Touch& t) { return !t.is_limit && t.weight < 0.5; });
    return static_cast<double>(outliers) <= most_outliers * static_cast<double>(at.problem.touches.size());
}

// Tails must earn their place, and leave most points what they are: a curve that bends is as good a reason
// for points off a smooth one as bad points are, and strong evidence is asked for these.
Result<Settled> choose_noise(const Setup& setup, const FitOptions& options) {
    const std::size_t rows = setup.rows.size();
    const bool may_scatter = options.fit_extra_scatter && rows >= fewest_for_extra_scatter;
    auto best = settle_scatter(setup, std::nullopt, may_scatter);
    if (!best || !options.robust || rows < fewest_detections + spare_rows_for_outliers) return best;
    if (rows > many_rows && !stands_out(setup)) return best;
    const double needed = std::max(strong_evidence, std::log(static_cast<double>(rows)));
    const double gaussian = best->total;
    for (const double nu : tried_here) {
        auto tailed = settle_scatter(setup, nu, may_scatter);
        if (!tailed) return tailed;
        if (gaussian - tailed->total > needed && are_few(*tailed) && tailed->total < best->total)
            best = std::move(tailed);
    }
    return best;
}

// The posterior with the scales that were found and, where few points leave them open, with others.
Result<std::vector<WeightedPosterior>> possible_posteriors(Settled& at, const numerics::Matrix& covariance) {
    // More points than that know their scales: coverage of curves drawn with known scales is 0.67 of 0.68
    // from 60 points on with the best scales alone, and 0.63 for 8 points.
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

void set_scales(CurveFit& fit, const Settled& at, const numerics::Matrix& covariance) {
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

void set_dof(CurveFit& fit, const Settled& at) {
    double left = 0.0;
    for (std::size_t i = 0; i < at.problem.touches.size(); ++i) {
        const Touch& t = at.problem.touches[i];
        if (!t.is_limit) left += 1.0 - at.variances[i] / t.total_variance(fit.extra_scatter_mag);
    }
    fit.dof = static_cast<std::size_t>(std::max(std::lround(left), 0L));
}

void set_points(CurveFit& fit, const LightCurve& curve, const Setup& setup, const Settled& at) {
    fit.points.resize(curve.points.size());
    for (std::size_t i = 0; i < fit.points.size(); ++i) {
        const Point& point = curve.points[i];
        FitPoint& out = fit.points[i];
        out = {.point = i, .model_mag = NAN, .residual_mag = {}, .weight = 0.0};
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
    Setup setup = set_up(curve, used, smoothness, reference, options.robust);
    choose_clock(setup);
    auto at = choose_noise(setup, options);
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
            "The curve changes more slowly with age: its clock runs at half speed {:.0f} days after "
            "the brightest point, where the time scale holds.",
            setup.frame.clock.slowing_d));
    }
    return result;
}

}  // namespace emberline::lightcurve
