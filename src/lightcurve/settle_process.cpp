// SPDX-License-Identifier: MIT
#include "lightcurve/settle_process.hpp"

#include <algorithm>
#include <cmath>

#include "lightcurve/choose_model.hpp"
#include "lightcurve/every_fit.hpp"
#include "lightcurve/likelihood.hpp"
#include "lightcurve/student_t.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

using numerics::MaternPosterior;

// As in fit(): what chance gains in one case of twenty.
constexpr double least_gain = 2.7;
// Of those that fit() tries: a gross outlier, and tails.
constexpr double tried_here[] = {3.0, 10.0};
constexpr double most_outliers = 0.2;  // of all rows
constexpr std::size_t fewest_for_tails = 5 + spare_rows_for_outliers;
// With so many rows a search takes time: tails are tried only where some point stands out this far.
constexpr std::size_t many_rows = 2000;
constexpr double standing_out_sigma = 6.0;

// Smooths and touches in turns, with the scales as they are.
Result<void> smooth(const ProcessSetup& setup, SettledProcess& at, std::vector<double>& touched_at,
                    double mistaken_limit) {
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
std::vector<Touch> first_touches(const ProcessSetup& setup, std::optional<double> nu, double mistaken_limit) {
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

Result<SettledProcess> settle(const ProcessSetup& setup, const Wanted& wanted) {
    constexpr int most_turns = 8;
    constexpr double still = 0.02;  // in the logarithms of the scales, whose errors are ten times that
    SettledProcess at{
        .nu = wanted.nu, .scales = {}, .problem = setup.problem, .posterior = {}, .variances = {}};
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
Result<SettledProcess> settle_limits(const ProcessSetup& setup, Wanted wanted) {
    auto at = settle(setup, wanted);
    if (!at || !setup.has_limits || setup.mistaken_limit == 0.0) return at;
    wanted.trusting = true;
    auto trusting = settle(setup, wanted);
    return trusting && trusting->total < at->total ? trusting : at;
}

// With σ_x only where that gains.
Result<SettledProcess> settle_scatter(const ProcessSetup& setup, std::optional<double> nu, bool may_scatter) {
    auto without = settle_limits(setup, {.nu = nu});
    if (!without || !may_scatter) return without;
    // Of many rows, chi² alone tells whether there can be any: the search is saved.
    const double rows = static_cast<double>(setup.rows.size());
    double chi2 = 0.0;
    for (const Touch& t : without->problem.touches)
        chi2 += t.weight * t.z2;
    if (setup.rows.size() > many_rows && chi2 < rows + 3.0 * std::sqrt(2.0 * rows)) return without;
    auto with = settle_limits(setup, {.nu = nu, .scatter = true});
    if (!with) return with;
    return without->total - with->total > least_gain ? with : without;
}

// Whether some point is so far off that tails are worth a look.
bool stands_out(const ProcessSetup& setup) {
    std::vector<double> z;
    for (std::size_t i = 0; i < setup.rows.size(); ++i) {
        const Touch plain = touch(setup.rows[i], setup.medians[i], 0.0, {});
        if (!plain.is_limit) z.push_back(std::sqrt(plain.z2));
    }
    const double spread = std::max(1.0, numerics::mad_to_sigma * numerics::median(z));
    return *std::ranges::max_element(z) > standing_out_sigma * spread;
}

bool are_few(const SettledProcess& at) {
    const auto outliers = std::ranges::count_if(at.problem.touches,
                                                [](const Touch& t) { return !t.is_limit && t.weight < 0.5; });
    return static_cast<double>(outliers) <= most_outliers * static_cast<double>(at.problem.touches.size());
}

void set_times(ProcessProblem& problem, const std::vector<ProcessRow>& rows, const ProcessClock& clock) {
    constexpr double night_d = 0.3;  // what lies closer together is of one night
    std::vector<double> gaps;
    problem.data.times.resize(rows.size());
    for (std::size_t i = 0; i < rows.size(); ++i) {
        problem.data.times[i] = clock.at(rows[i].days);
        if (i > 0 && rows[i].days - rows[i - 1].days > night_d)
            gaps.push_back(problem.data.times[i] - problem.data.times[i - 1]);
    }
    problem.night_gap = gaps.empty() ? 0.0 : numerics::median(gaps);
}

// Our clock, unless one that slows down with age makes the points clearly likelier. Told by a few hundred of
// them, with tails, so that bad ones do not decide.
void choose_clock(ProcessSetup& setup, bool robust) {
    constexpr std::size_t enough_rows = 300;
    constexpr double tried_slowing_d[] = {8.0, 20.0, 50.0};
    const auto depth_with = [&](const ProcessClock& clock) {
        ProcessProblem problem = setup.problem;
        problem.touches =
            first_touches(setup, robust ? std::optional(tried_here[0]) : std::nullopt, setup.mistaken_limit);
        set_times(problem, setup.rows, clock);
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
    set_times(setup.problem, setup.rows, setup.frame.clock);
}

}  // namespace

Result<SettledProcess> settle_process(const ProcessSetup& setup, const FitOptions& options) {
    const std::size_t rows = setup.rows.size();
    const bool may_scatter = options.fit_extra_scatter && rows >= fewest_for_extra_scatter;
    auto best = settle_scatter(setup, std::nullopt, may_scatter);
    if (!best || !options.robust || rows < fewest_for_tails) return best;
    if (rows > many_rows && !stands_out(setup)) return best;
    // Tails must earn their place, and leave most points what they are: a curve that bends is as good a
    // reason for points off a smooth one as bad points are, and strong evidence is asked for these.
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

ProcessSetup set_up_process(const LightCurve& curve, const std::vector<std::size_t>& used,
                            numerics::MaternOrder order, double reference_bjd_tdb, bool robust) {
    ProcessSetup setup{
        .rows = process_rows(curve, used, reference_bjd_tdb),
        .medians = {},
        .problem = {},
        .frame = {.reference_bjd_tdb = reference_bjd_tdb, .commons = curve.common_names.size()},
        .mistaken_limit = mistaken_limit(robust)};
    setup.medians = running_medians(setup.rows);
    setup.problem.order = order;
    setup.frame.centre_mag = setup.problem.centre_mag = numerics::median(setup.medians);
    auto& data = setup.problem.data;
    data.basis = numerics::Matrix(setup.rows.size(), setup.frame.commons + free_of_mean);
    for (std::size_t i = 0; i < setup.rows.size(); ++i) {
        const ProcessRow& row = setup.rows[i];
        setup.has_limits = setup.has_limits || row.kind == ProcessRow::Kind::limit;
        setup.magnitudes_only = setup.magnitudes_only && row.kind == ProcessRow::Kind::magnitude;
        auto basis = process_basis(row.days, setup.frame.commons);
        // A limit that came without its flux stands apart from the common errors.
        if (row.kind != ProcessRow::Kind::limit)
            std::ranges::copy(curve.points[row.point].common_err_mag, basis.begin());
        for (std::size_t c = 0; c < basis.size(); ++c)
            data.basis(i, c) = basis[c];
    }
    choose_clock(setup, robust);
    return setup;
}

}  // namespace emberline::lightcurve
