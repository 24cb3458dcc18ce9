// SPDX-License-Identifier: MIT
// Notation: λ damping; N normal matrix. Source: Marquardt 1963, J. SIAM 11, 431, each unknown damped in units
// of the largest curvature met on the way (Moré 1978, Lect. Notes Math. 630, 105).
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/likelihood.hpp"
#include "lightcurve/normal_matrix.hpp"

namespace emberline::lightcurve {

class Likelihood::Walk {
  public:
    Walk(const Likelihood& likelihood, Expansion at, std::vector<bool> held, Damping damping)
        : likelihood_(likelihood),
          at_(std::move(at)),
          any_held_(std::find(held.begin(), held.end(), true) != held.end()),
          held_(std::move(held)),
          damping_(damping),
          curvature_(std::move(damping.curvature)) {
        curvature_.resize(at_.downhill.size());
        held_.resize(curvature_.size(), false);
    }

    // True when it ended where nothing leads further down, and every parameter still has influence.
    bool run(int most_steps, Precision precision) {
        // Squared length of a step in units of the parameters' errors.
        const double short_step = precision == Precision::rough ? 1e-4 : 1e-10;
        // The end goes on to 1e-8 sigma where that costs a step or two: not under the t, whose weights follow
        // slowly.
        const bool to_the_end = precision == Precision::full && !at_.noise.student_nu;
        const double last_step = to_the_end ? 1e-16 : short_step;
        constexpr double most_damping = 1e12;
        constexpr int most_last_steps = 8;  // they may swing about the bottom for long
        constexpr double least_damping = 1e-12;
        constexpr double far_better = 1.3;  // than the parabola said: it is too narrow along this step
        double harder = 10.0;               // by how much damping grows: more each time in a row
        bool last = false;  // steps without damping that end it: damping shortens those along a valley
        int last_steps = 0;
        for (int i = 0; i < most_steps; ++i) {
            for (std::size_t j = 0; j < curvature_.size(); ++j)
                curvature_[j] = std::max(curvature_[j], at_.normal(j, j));
            if (!find_step(last ? 0.0 : damping_.value)) return last && matters();
            Place moved = moved_by(step_);
            const double length2 = squared_length();
            const bool inside = likelihood_.model_->allowed(moved.parameters);
            const double there = inside ? likelihood_.depth(moved, at_) : HUGE_VAL;
            const double gain = at_.depth - there, expected = expected_gain(length2);
            // At the bottom, rounding decides: a step that short is taken and its gain says nothing.
            const bool blind = length2 < short_step && expected < 10.0 * rounding();
            if (gain >= 0.0 || (blind && gain > -rounding())) {
                if (!blind && !last && gain > far_better * expected) go_on(moved, there);
                at_ = likelihood_.expand(std::move(moved), at_.noise);
                if (!std::isfinite(at_.depth)) return false;
                harder = 10.0;
                if (last && (length2 < last_step || ++last_steps == most_last_steps)) {
                    if (precision == Precision::rough || !leave_saddle()) return matters();
                    last = false;
                    last_steps = 0;
                    continue;
                }
                last = last || (length2 < short_step && ends_without_damping(short_step));
                // Longer steps only where the last one did what the parabola promised.
                if (blind || gain > 0.75 * expected)
                    damping_.value = std::max(damping_.value * damping_.easing, least_damping);
                else if (gain < 0.25 * expected)
                    damping_.value = std::max(damping_.value, 1e-4) * 4.0;
            } else if (last) {
                // The parabola is too wide here (a break inside a rounded corner): this near is the bottom.
                if (precision == Precision::rough || !leave_saddle()) return matters();
                last = false;
                last_steps = 0;
            } else {
                // What the parabola promises is too little to be seen.
                if (blind && !leave_saddle()) return matters();
                damping_.value *= harder;
                harder *= 10.0;
                // Between bounds that several parameters share: no way on.
                if (damping_.value > most_damping) return !inside;
            }
        }
        return false;
    }

    [[nodiscard]] const Expansion& at() const { return at_; }
    [[nodiscard]] Damping damping() const { return {damping_.value, damping_.easing, curvature_}; }
    Expansion take() { return std::move(at_); }

  private:
    // By how much the parabola here says that this step lowers the depth.
    [[nodiscard]] double expected_gain(double length2) const {
        double gain = -length2;
        for (std::size_t j = 0; j < step_.size(); ++j)
            gain += 2.0 * at_.downhill[j] * step_[j];
        return gain;
    }

    // Of the step, in units of the parameters' errors.
    [[nodiscard]] double squared_length() const { return numerics::quadratic_form(at_.normal, step_, step_); }

    // Further along the same step to where its depth at both ends says that the bottom is, if that is lower.
    void go_on(Place& moved, double there) {
        constexpr double farthest = 16.0;
        const double length2 = squared_length(), slope = 0.5 * (expected_gain(length2) + length2);
        const double bend = 2.0 * slope - (at_.depth - there);
        const double times = bend * farthest > slope ? slope / bend : farthest;
        std::vector<double> longer = step_;
        for (double& s : longer)
            s *= times;
        Place further = moved_by(longer);
        if (!likelihood_.model_->allowed(further.parameters)) return;
        if (likelihood_.depth(further, at_) < there) moved = std::move(further);
    }

    // How well a sum over the rows is known.
    [[nodiscard]] double rounding() const {
        return 3e-13 * (at_.depth + static_cast<double>(likelihood_.rows()));
    }

    // Short steps may be damping's doing; what counts is how far the parabola itself would go. Where it is
    // flat in some direction, damping must at least be light.
    bool ends_without_damping(double short_step) {
        constexpr double light_damping = 1e-3;
        if (!find_step(0.0)) return damping_.value < light_damping;
        const double length2 = squared_length();
        return length2 < short_step || expected_gain(length2) < 10.0 * rounding();
    }

    // A slope of zero is no bottom where a small step to either side leads further down: then we go there.
    bool leave_saddle() {
        constexpr double trial = 0.01;     // in errors; at a bottom the depth rises by the square of it
        constexpr double at_least = 1e-6;  // of the depth: more than the slope that is left makes
        const std::size_t n = curvature_.size();
        numerics::Matrix normal = at_.normal;
        for (std::size_t j = 0; j < n; ++j) {
            for (std::size_t i = 0; i < n && held_[j]; ++i)
                normal(i, j) = normal(j, i) = i == j ? 1.0 : 0.0;
        }
        const auto factor = NormalFactor::make(normal);
        for (std::size_t j = 0; j < n && factor; ++j) {
            if (held_[j]) continue;
            std::vector<double> unit(n);
            unit[j] = 1.0;
            const auto error = factor->solve(std::move(unit));
            const double part = trial / std::sqrt(error[j]);
            for (const double way : {part, -part}) {
                for (std::size_t i = 0; i < n; ++i)
                    step_[i] = way * error[i];
                Place moved = moved_by(step_);
                if (!likelihood_.model_->allowed(moved.parameters)) continue;
                if (!(likelihood_.depth(moved, at_) < at_.depth - at_least - rounding())) continue;
                at_ = likelihood_.expand(std::move(moved), at_.noise);
                damping_.value = std::max(damping_.value, 1.0);
                return true;
            }
        }
        return false;
    }

    // Whether no parameter lost all of the influence that it had on the way; along a profile one may.
    [[nodiscard]] bool matters() const {
        for (std::size_t j = 0; j < curvature_.size() && !any_held_; ++j) {
            if (!still_matters(at_.normal(j, j), curvature_[j])) return false;
        }
        return true;
    }

    [[nodiscard]] Place moved_by(const std::vector<double>& step) const {
        Place moved = at_.place;
        const std::size_t p = moved.parameters.size();
        for (std::size_t j = 0; j < p; ++j)
            moved.parameters[j] += step[j];
        for (std::size_t k = 0; k < moved.commons.size(); ++k)
            moved.commons[k] += step[p + k];
        return moved;
    }

    // The damped step; a parameter that it would take over a bound goes to the bound, and the others make the
    // best of that.
    bool find_step(double damping) {
        std::vector<bool> fixed = held_;
        step_.assign(curvature_.size(), 0.0);
        for (std::size_t round = 0; round <= curvature_.size(); ++round) {
            if (!solve(fixed, damping)) return false;
            bool free = true;
            for (std::size_t j = 0; j < at_.place.parameters.size(); ++j) {
                if (fixed[j]) continue;
                const double part = allowed_part(j);
                if (part == 1.0) continue;
                step_[j] *= part;
                fixed[j] = true;
                free = false;
            }
            if (free) break;
        }
        return true;
    }

    // For the unknowns that are not fixed, given the steps of those that are.
    bool solve(const std::vector<bool>& fixed, double damping) {
        const std::size_t n = curvature_.size();
        numerics::Matrix normal = at_.normal;
        std::vector<double> right = at_.downhill;
        for (std::size_t j = 0; j < n; ++j) {
            normal(j, j) += damping * curvature_[j];
            // Without any influence here it stays where it is.
            if (!(normal(j, j) > 0.0)) normal(j, j) = 1.0;
        }
        for (std::size_t j = 0; j < n; ++j) {
            if (!fixed[j]) continue;
            for (std::size_t i = 0; i < n; ++i) {
                if (!fixed[i]) right[i] -= at_.normal(i, j) * step_[j];
                normal(i, j) = normal(j, i) = i == j ? 1.0 : 0.0;
            }
            right[j] = step_[j];
        }
        const auto factor = NormalFactor::make(normal);
        if (!factor) return false;
        step_ = factor->solve(std::move(right));
        return std::all_of(step_.begin(), step_.end(), [](double s) { return std::isfinite(s); });
    }

    // How much of one parameter's own step the model allows.
    [[nodiscard]] double allowed_part(std::size_t j) const {
        constexpr int halvings = 40;
        std::vector<double> alone = at_.place.parameters;
        const auto may = [&](double part) {
            alone[j] = at_.place.parameters[j] + part * step_[j];
            return likelihood_.model_->allowed(alone);
        };
        if (may(1.0)) return 1.0;
        double inside = 0.0, outside = 1.0;
        for (int i = 0; i < halvings; ++i) {
            const double middle = 0.5 * (inside + outside);
            (may(middle) ? inside : outside) = middle;
        }
        return inside;
    }

    const Likelihood& likelihood_;
    Expansion at_;
    bool any_held_;
    std::vector<bool> held_;
    Damping damping_;
    std::vector<double> curvature_, step_;
};

Result<Expansion> Likelihood::climb(Place start, const Noise& noise, Precision precision,
                                    const std::vector<bool>& held) const {
    constexpr int most_steps = 300;
    const Expansion first = expand(std::move(start), noise);
    if (!std::isfinite(first.depth)) {
        return fail({.what = fmt::format("The model {} has no value where its fit starts.", model_->name()),
                     .where = {},
                     .mend = "Choose another range of dates, or another model."});
    }
    // A first step too long may land where a parameter no longer matters (a rate so high that all is over
    // before the first point): then again from the start, in shorter steps.
    Problem problem{
        .what = fmt::format("The fit of the model {} does not converge.", model_->name()),
        .where = {},
        .mend = "Look at the points for wrong times or errors, or choose another range of dates."};
    for (const Damping& damping :
         {Damping{1e-6, 0.1}, Damping{1e-2, 0.1}, Damping{1.0, 0.3}, Damping{1e3, 0.3}}) {
        Walk walk(*this, first, held, damping);
        if (!walk.run(most_steps, precision)) continue;
        // Along a profile the others may part company: the held one is not there to be told from them.
        if (const auto factor = NormalFactor::make(walk.at().normal); held.empty() && !factor) {
            problem = factor.error();
            continue;
        }
        return walk.take();
    }
    return fail(problem);
}

Expansion Likelihood::approach(Expansion at, const Noise& noise, int steps, Damping& damping) const {
    Walk walk(*this, expand(std::move(at.place), noise), {}, damping);
    static_cast<void>(walk.run(steps, Precision::rough));
    damping = walk.damping();
    return walk.take();
}

}  // namespace emberline::lightcurve
