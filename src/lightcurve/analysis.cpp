// SPDX-License-Identifier: MIT
// Notation: t_max time of maximum light; a plateau ends at the middle of its drop.
#include "lightcurve/analysis.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/gaussian_process.hpp"
#include "lightcurve/scatter_errors.hpp"
#include "numerics/share_out.hpp"

namespace emberline::lightcurve {
namespace {

constexpr std::string_view process_name = "gaussian-process";
// What "now" means where the curve is no straight line.
constexpr double recent_d = 20.0;
constexpr double early_d = 30.0;  // of the early decline, from maximum on
// A type Ia's curve is straight from about here on. Common practice, no source.
constexpr double tail_after_peak_d = 60.0;
// A plateau is over here at the latest (80 to 120 d is usual). Common practice, no source.
constexpr double tail_after_explosion_d = 130.0;
// The rest of the drop at this many widths after its middle: e⁻⁴, 2 % of it.
constexpr double widths_after_drop = 4.0;
constexpr double least_drop_mag = 0.5;
constexpr double shortest_tail_d = 20.0;
// A curve too flat to say when it was brightest has no maximum worth a date.
constexpr double least_sharp_peak_d = 10.0;
// One that lies between the points, above all of them, is guessed.
constexpr double least_sharp_peak_mag = 0.25;
// Steeper stretches before a drop are linear declines: types II are split at 3.5 mag in 100 d of B (Patat et
// al. 1994; from memory).
constexpr double steepest_plateau_mag_per_day = 0.035;
constexpr std::size_t fewest_on_tail = 3;
constexpr int fewest_nights_of_a_piece = 2;
// Steeper than this nothing that ⁵⁶Co heats goes on for long.
constexpr double steepest_tail_mag_per_day = 0.03;

bool is_tail_model(std::string_view name) {
    return name == cobalt_tail()->name() || name == leaking_tail()->name();
}

bool is_process(const CurveFit& fit) {
    return fit.model.starts_with(process_name);
}

// A tail's one free level would win over a line by having less to tell: tails are fitted to tails alone.
std::vector<std::string> usual_models() {
    std::vector<std::string> names = model_names();
    std::erase_if(names, is_tail_model);
    names.emplace_back(process_name);
    return names;
}

std::size_t detections_in(const LightCurve& curve, const Interval& interval) {
    const auto inside = within(curve, interval.from_bjd_tdb, interval.to_bjd_tdb);
    return static_cast<std::size_t>(std::count_if(inside.begin(), inside.end(),
                                                  [&](std::size_t i) { return !curve.points[i].is_limit; }));
}

class Analyst {
  public:
    Analyst(LightCurve& curve, const AnalysisOptions& options) : curve_(curve), options_(options) {}

    Analysis work() {
        result_.remarks = prepare(curve_);
        fit_models();
        choose();
        find_peak();
        find_plateau();
        find_decline();
        find_rates();
        find_tail();
        if (const CurveFit* best = best_fit()) result_.offsets = offsets_of(curve_, *best);
        return std::move(result_);
    }

  private:
    // Breaks may run into a gap of the nights, and three of them make a spike through one bad point.
    [[nodiscard]] bool pieces_hold(const CurveFit& fit) const {
        std::vector<double> ends{fit.from_bjd_tdb};
        for (int k = 1;; ++k) {
            const auto at = fit.parameter(fmt::format("break_{}", k));
            if (!at) break;
            ends.push_back(at->value);
        }
        ends.push_back(fit.to_bjd_tdb);
        for (std::size_t piece = 0; piece + 1 < ends.size(); ++piece) {
            if (nights_between(ends[piece], ends[piece + 1]) < fewest_nights_of_a_piece) return false;
        }
        return true;
    }

    [[nodiscard]] int nights_between(double from_bjd_tdb, double to_bjd_tdb) const {
        int nights = 0;
        double last = -HUGE_VAL;
        for (const std::size_t i : within(curve_, from_bjd_tdb, to_bjd_tdb)) {
            if (curve_.points[i].is_limit || curve_.points[i].bjd_tdb < last + one_night_d) continue;
            last = curve_.points[i].bjd_tdb;
            ++nights;
        }
        return nights;
    }

    void keep(std::string_view name, Result<CurveFit> fitted) {
        if (fitted && fitted->parameter("break_1") && !pieces_hold(*fitted)) {
            result_.refused.push_back(
                {std::string(name),
                 {.what = fmt::format("A piece of {} would rest on fewer than {} nights.", name,
                                      fewest_nights_of_a_piece),
                  .where = {},
                  .mend = "Wait for more nights, or ask for fewer breaks."}});
        } else if (fitted) {
            result_.fits.push_back(std::move(*fitted));
        } else {
            result_.refused.push_back({std::string(name), fitted.error()});
        }
    }

    void fit_models() {
        const auto names = options_.models.empty() ? usual_models() : options_.models;
        std::vector<std::optional<Result<CurveFit>>> fitted(names.size());
        numerics::share_out(names.size(), options_.threads,
                            [&](std::size_t i) { fitted[i] = fit_named_model(names[i]); });
        for (std::size_t i = 0; i < names.size(); ++i)
            keep(names[i], std::move(*fitted[i]));
    }

    [[nodiscard]] Result<CurveFit> fit_named_model(const std::string& name) const {
        if (name == process_name) return smoother_of_two();
        auto model = make_model(name, options_.context);
        if (!model) return fail(model.error());
        if (auto good = check_nights(**model); !good) return fail(good.error());
        return fit(curve_, std::move(*model), options_.fit);
    }

    // What has a parameter for every night fits whatever they say. A line is what few nights have; who asks
    // for a model by name gets it.
    [[nodiscard]] Result<void> check_nights(const Model& model) const {
        if (!options_.models.empty() || model.name() == straight_line()->name()) return {};
        const int nights = nights_between(options_.fit.from_bjd_tdb.value_or(-HUGE_VAL),
                                          options_.fit.to_bjd_tdb.value_or(HUGE_VAL));
        const std::size_t parameters = model.parameters(0.0).size();
        if (static_cast<std::size_t>(nights) > parameters) return {};
        return fail(
            {.what = fmt::format("The model {} has {} parameters, and there {} {} night{}.", model.name(),
                                 parameters, nights == 1 ? "is" : "are", nights, nights == 1 ? "" : "s"),
             .where = {},
             .mend = "Wait for more nights, or ask for it by name."});
    }

    // The smoothness that the points find likelier.
    [[nodiscard]] Result<CurveFit> smoother_of_two() const {
        auto rough = fit_gaussian_process(curve_, Smoothness::matern_3_2, options_.fit);
        auto smooth = fit_gaussian_process(curve_, Smoothness::matern_5_2, options_.fit);
        if (!smooth || (rough && rough->bic < smooth->bic)) return rough;
        return smooth;
    }

    // The BIC of a process, a marginal likelihood under priors, compares with a formula's only roughly: it
    // must win clearly.
    void choose() {
        result_.choice = choose_model(result_.fits);
        if (result_.fits.empty() && !result_.refused.empty()) {
            result_.choice.why = result_.refused.front().problem.what;
        }
        const CurveFit* chosen = result_.chosen();
        if (chosen != nullptr && !is_process(*chosen)) return;
        const auto formula = likeliest([](const CurveFit& fit) { return !is_process(fit); });
        const auto process = likeliest(is_process);
        if (formula == nullptr || process == nullptr) return;
        if (formula->bic - process->bic >= strong_evidence) {
            if (chosen != nullptr) result_.choice.why += " No formula here follows these points as well.";
            return;
        }
        std::vector<CurveFit> formulas;
        std::vector<std::size_t> places;
        for (std::size_t i = 0; i < result_.fits.size(); ++i) {
            if (is_process(result_.fits[i])) continue;
            formulas.push_back(result_.fits[i]);
            places.push_back(i);
        }
        const ModelChoice among = choose_model(formulas);
        result_.choice.why = among.why;
        result_.choice.chosen.reset();
        if (among.chosen) result_.choice.chosen = places[*among.chosen];
    }

    template <class Wanted>
    [[nodiscard]] const CurveFit* likeliest(Wanted wanted) const {
        const CurveFit* best = nullptr;
        for (const CurveFit& fit : result_.fits) {
            if (wanted(fit) && std::isfinite(fit.bic) && (best == nullptr || fit.bic < best->bic))
                best = &fit;
        }
        return best;
    }

    // The chosen, else the one of the least BIC: curves that cannot be told apart say the same of these
    // points.
    [[nodiscard]] const CurveFit* best_fit() const {
        if (const CurveFit* chosen = result_.chosen()) return chosen;
        return likeliest([](const CurveFit&) { return true; });
    }

    [[nodiscard]] const CurveFit* fit_named(std::string_view start) const {
        for (const CurveFit& fit : result_.fits) {
            if (fit.model.starts_with(start)) return &fit;
        }
        return nullptr;
    }

    // The local polynomial is the usual way; a process, or the model of rise and fall, where it finds none.
    void find_peak() {
        auto local = fit_peak(curve_, options_.fit);
        if (local) result_.peak_fit = std::move(*local);
        std::vector<const CurveFit*> sources;
        if (result_.peak_fit) sources.push_back(&*result_.peak_fit);
        for (const std::string_view name : {process_name, std::string_view("rise-and-fall")}) {
            if (const CurveFit* fit = fit_named(name)) sources.push_back(fit);
        }
        for (const CurveFit* source : sources) {
            if (!result_.peak) result_.peak = peak_of(*source, options_.seed);
            if (result_.peak && !is_maximum(*result_.peak)) result_.peak.reset();
            if (result_.peak && !result_.delta_m15) {
                result_.delta_m15 = fade_after_peak(*source, 15.0, options_.context.redshift, options_.seed);
            }
        }
        if (result_.peak_fit && !result_.peak) result_.peak_fit.reset();
    }

    // Sharp enough to have a date, and not contradicted by points that are brighter.
    [[nodiscard]] bool is_maximum(const Peak& peak) const {
        if (peak.bjd_tdb.err > least_sharp_peak_d || peak.mag.err > least_sharp_peak_mag) return false;
        constexpr double sure_sigma = 5.0, margin_mag = 0.1;
        constexpr std::ptrdiff_t no_bad_point = 2;
        const auto brighter = std::count_if(curve_.points.begin(), curve_.points.end(), [&](const Point& p) {
            if (p.is_limit || !p.magnitude_mag) return false;
            const double err = std::hypot(p.random_err_mag.value_or(0.0), peak.mag.err);
            return *p.magnitude_mag < peak.mag.value - margin_mag - sure_sigma * err;
        });
        return brighter < no_bad_point;
    }

    // A broken line of three pieces can pass for plateau, drop and tail; what a plateau must beat are the
    // shapes that have none.
    void find_plateau() {
        const auto has_drop = [](const CurveFit& fit) { return fit.parameter("drop_middle").has_value(); };
        const CurveFit* best = likeliest(has_drop);
        const CurveFit* other = likeliest([&](const CurveFit& fit) {
            return !has_drop(fit) && !is_process(fit) && fit.model != broken_line(2)->name() &&
                   fit.model != broken_line(3)->name();
        });
        if (best == nullptr || other == nullptr || other->bic - best->bic < strong_evidence) return;
        // Where no formula follows the points, their numbers mean nothing.
        if (result_.chosen() != nullptr && is_process(*result_.chosen())) return;
        const auto middle = best->parameter("drop_middle"), drop = best->parameter("drop");
        if (!middle || !drop) return;
        auto slope = best->parameter("plateau_rate");
        if (!slope) slope = best->parameter("tail_rate");
        if (!slope) return;
        if (!(drop->value > std::max(3.0 * drop->err, least_drop_mag)) || middle->value > best->to_bjd_tdb)
            return;
        if (slope->value > steepest_plateau_mag_per_day) return;
        result_.plateau =
            Plateau{.end_bjd_tdb = *middle, .length_d = {}, .drop_mag = *drop, .slope_mag_per_day = *slope};
        if (const auto& explosion = options_.context.explosion_bjd_tdb) {
            const double stretch = 1.0 + options_.context.redshift;
            result_.plateau->length_d = ValueWithError{(middle->value - explosion->value) / stretch,
                                                       std::hypot(middle->err, explosion->err) / stretch};
        }
        widen_in_gap(*result_.plateau);
        if (const auto width = best->parameter("drop_width"))
            tail_from_ = middle->value + widths_after_drop * width->value;
    }

    // Of a broken line: its rate after the last break.
    [[nodiscard]] static std::optional<DeclineRate> last_piece(const CurveFit& fit) {
        std::optional<DeclineRate> last;
        for (int k = 1;; ++k) {
            const auto at = fit.parameter(fmt::format("break_{}", k));
            const auto rate = fit.parameter(fmt::format("rate_{}", k + 1));
            if (!at || !rate) return last;
            last = DeclineRate{*rate, at->value, fit.to_bjd_tdb};
        }
    }

    // Where nothing was seen about the middle of the drop, it may have been any day of that gap.
    void widen_in_gap(Plateau& plateau) {
        double before = -HUGE_VAL, after = HUGE_VAL;
        for (const Point& point : curve_.points) {
            if (point.is_limit) continue;
            if (point.bjd_tdb <= plateau.end_bjd_tdb.value) before = std::max(before, point.bjd_tdb);
            if (point.bjd_tdb >= plateau.end_bjd_tdb.value) after = std::min(after, point.bjd_tdb);
        }
        constexpr double long_gap_d = 20.0;
        if (!std::isfinite(after - before) || after - before < long_gap_d) return;
        const double uniform = (after - before) / std::sqrt(12.0);
        const double stretch = 1.0 + options_.context.redshift;
        plateau.end_bjd_tdb.err = std::max(plateau.end_bjd_tdb.err, uniform);
        if (plateau.length_d) plateau.length_d->err = std::hypot(plateau.length_d->err, uniform / stretch);
        result_.remarks.push_back(fmt::format(
            "The drop after the plateau lies in a gap of {:.0f} days between the points.", after - before));
    }

    void find_decline() {
        const CurveFit* best = best_fit();
        if (best == nullptr) return;
        result_.decline = decline_rate(*best);
        if (!result_.decline) result_.decline = last_piece(*best);
        if (result_.decline) return;
        const double from = std::max(best->from_bjd_tdb, best->to_bjd_tdb - recent_d);
        if (!(from < best->to_bjd_tdb)) return;
        const Figure rate = rate_between(*best, from, best->to_bjd_tdb, options_.seed);
        result_.decline = DeclineRate{{rate.value, rate.err}, from, best->to_bjd_tdb};
    }

    [[nodiscard]] std::optional<Rate> rate_of(std::string_view name, const Interval& interval) const {
        auto straight = straight_rate(curve_, name, interval, options_.fit);
        if (!straight) return std::nullopt;
        return std::move(straight->rate);
    }

    void find_rates() {
        if (result_.peak) {
            const double t_max = result_.peak->bjd_tdb.value;
            const double stretch = 1.0 + options_.context.redshift;
            if (auto early = rate_of("early", {t_max, t_max + early_d * stretch}))
                result_.rates.push_back(std::move(*early));
        }
        for (const Interval& asked : options_.rates) {
            if (auto rate = rate_of("asked", asked)) {
                result_.rates.push_back(std::move(*rate));
            } else {
                result_.remarks.push_back(
                    fmt::format("No rate from {:.2f} to {:.2f}: it needs two detections there.",
                                asked.from_bjd_tdb, asked.to_bjd_tdb));
            }
        }
    }

    // After the drop of a plateau; else long after maximum or explosion.
    [[nodiscard]] std::optional<Interval> tail_interval() const {
        if (curve_.points.empty()) return std::nullopt;
        const double stretch = 1.0 + options_.context.redshift;
        std::optional<double> from = tail_from_;
        if (!from && result_.peak) from = result_.peak->bjd_tdb.value + tail_after_peak_d * stretch;
        if (!from && options_.context.explosion_bjd_tdb)
            from = options_.context.explosion_bjd_tdb->value + tail_after_explosion_d * stretch;
        if (!from) return std::nullopt;
        const Interval tail{std::max(*from, options_.fit.from_bjd_tdb.value_or(*from)),
                            options_.fit.to_bjd_tdb.value_or(curve_.points.back().bjd_tdb)};
        if (tail.to_bjd_tdb - tail.from_bjd_tdb < shortest_tail_d) return std::nullopt;
        if (detections_in(curve_, tail) < fewest_on_tail) return std::nullopt;
        return tail;
    }

    // Where a line with a break says that the fast part is not over yet, the tail is what follows the break.
    [[nodiscard]] std::optional<Interval> without_drop(Interval tail) const {
        const FitOptions options = within_tail(tail);
        const auto line = fit(curve_, straight_line(), options);
        const auto broken = fit(curve_, broken_line(1), options);
        if (!line || !broken || line->bic - broken->bic < strong_evidence) return tail;
        const auto last = last_piece(*broken);
        const auto first = broken->parameter("rate_1");
        if (!last || !first || last->mag_per_day.value > 0.5 * first->value) return tail;
        tail.from_bjd_tdb = last->from_bjd_tdb;
        if (tail.to_bjd_tdb - tail.from_bjd_tdb < shortest_tail_d) return std::nullopt;
        if (detections_in(curve_, tail) < fewest_on_tail) return std::nullopt;
        return tail;
    }

    [[nodiscard]] FitOptions within_tail(const Interval& tail) const {
        FitOptions options = options_.fit;
        options.from_bjd_tdb = tail.from_bjd_tdb;
        options.to_bjd_tdb = tail.to_bjd_tdb;
        return options;
    }

    void find_tail() {
        auto tail = tail_interval();
        if (tail) tail = without_drop(*tail);
        if (!tail) return;
        auto rate = rate_of("tail", *tail);
        if (!rate || rate->mag_per_day.value <= 0.0 || rate->mag_per_day.value > steepest_tail_mag_per_day)
            return;
        result_.tail_over_cobalt = cobalt_ratio(rate->mag_per_day, options_.context.redshift);
        result_.rates.push_back(std::move(*rate));
        const FitOptions options = within_tail(*tail);
        const auto attempt = [&](std::unique_ptr<Model> model) {
            if (auto fitted = fit(curve_, std::move(model), options))
                result_.tail_fits.push_back(std::move(*fitted));
        };
        attempt(cobalt_tail(options_.context));
        attempt(straight_line());
        attempt(leaking_tail(options_.context));
        if (!result_.tail_fits.empty()) result_.tail_choice = choose_model(result_.tail_fits);
    }

    LightCurve& curve_;
    const AnalysisOptions& options_;
    Analysis result_;
    std::optional<double> tail_from_;
};

}  // namespace

const CurveFit* Analysis::chosen() const {
    return choice.chosen ? &fits[*choice.chosen] : nullptr;
}

Result<void> check_model_name(std::string_view name) {
    std::vector<std::string> names = model_names();
    names.emplace_back(process_name);
    if (std::find(names.begin(), names.end(), name) != names.end()) return {};
    return fail({.what = fmt::format("No model of a light curve is called '{}'.", name),
                 .where = {},
                 .mend = fmt::format("Choose one of: {}.", fmt::join(names, ", ")),
                 .kind = ProblemKind::request});
}

std::vector<std::string> prepare(LightCurve& curve) {
    std::vector<std::string> remarks;
    if (const std::size_t copies = drop_copies(curve); copies > 0) {
        remarks.push_back(fmt::format("{} there twice and {} once.",
                                      copies == 1 ? "1 point is" : fmt::format("{} points are", copies),
                                      copies == 1 ? "counts" : "count"));
    }
    const auto said = errors_from_scatter(curve);
    remarks.insert(remarks.end(), said.begin(), said.end());
    sort_by_time(curve);
    return remarks;
}

Result<StraightRate> straight_rate(const LightCurve& curve, std::string_view name, const Interval& interval,
                                   const FitOptions& options) {
    FitOptions within = options;
    within.from_bjd_tdb = interval.from_bjd_tdb;
    within.to_bjd_tdb = interval.to_bjd_tdb;
    auto line = fit(curve, straight_line(), within);
    if (!line) return fail(line.error());
    const auto rate = decline_rate(*line);
    if (!rate) {
        return fail({.what = "The points of the interval give no rate.",
                     .where = {},
                     .mend = "Choose a longer interval."});
    }
    const Rate found{.name = std::string(name),
                     .interval = {rate->from_bjd_tdb, rate->to_bjd_tdb},
                     .n = line->n,
                     .mag_per_day = rate->mag_per_day};
    return StraightRate{found, std::move(*line)};
}

Analysis analyse(LightCurve& curve, const AnalysisOptions& options) {
    return Analyst(curve, options).work();
}

}  // namespace emberline::lightcurve
