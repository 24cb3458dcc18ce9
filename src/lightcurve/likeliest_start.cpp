// SPDX-License-Identifier: MIT
// Notation: κ a widening of all scales, z residual over its widened scale.
#include "lightcurve/likeliest_start.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/normal_matrix.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

constexpr std::size_t enough_rows = 1500;
constexpr double forgiving_nu = 5.0;
// In −2 ln L: closer places are one and the same; one that is further behind is not settled.
constexpr double same_depth = 0.1, hopeless_depth = 12.0;
constexpr std::size_t most_looked_at = 3;
constexpr int most_steps_elsewhere = 30;

struct Approached {
    Place place;
    double depth = HUGE_VAL;  // −2 ln L with κ at its best
};

// κ by its own maximum likelihood, never below 1; `z2` go with the κ given.
double widened(std::vector<double> z2, double widening, std::optional<double> nu) {
    constexpr int turns = 6;
    for (int turn = 0; turn < turns; ++turn) {
        double sum = 0.0;
        for (const double value : z2)
            sum += tail_weight(value, nu) * value / static_cast<double>(z2.size());
        const double next = std::max(1.0, widening * std::sqrt(sum));
        for (double& value : z2)
            value *= (widening / next) * (widening / next);
        widening = next;
    }
    return widening;
}

// From one start, with steps as short as `damping` makes the first ones.
Approached come_near(const Likelihood& likelihood, const Expansion& start, const NoiseOptions& options,
                     Damping damping) {
    constexpr int most_rounds = 20, steps_a_round = 5;
    constexpr double still = 0.01, light_damping = 1e-2;
    Expansion at = start;
    Noise noise = start.noise;
    const double n = static_cast<double>(likelihood.rows());
    double before = HUGE_VAL;
    for (int round = 0; round < most_rounds; ++round) {
        at = likelihood.approach(std::move(at), noise, steps_a_round, damping);
        const double here = at.depth + 2.0 * n * std::log(noise.widening);
        if (!std::isfinite(here)) return {};
        // Under heavy damping nothing moves far, whatever the way ahead.
        const bool is_still = std::abs(before - here) < still && damping.value < light_damping;
        before = here;
        if (is_still) break;
        if (options.tails || options.scatter)
            noise.widening = widened(at.squared_residuals(), noise.widening, noise.student_nu);
    }
    // Where a parameter has no influence the way has led astray.
    for (std::size_t j = 0; j < at.downhill.size(); ++j) {
        if (!still_matters(at.normal(j, j), start.normal(j, j))) return {};
    }
    return {.place = std::move(at.place), .depth = before};
}

Approached come_near(const Likelihood& likelihood, const std::vector<double>& start,
                     const NoiseOptions& options) {
    Noise noise;
    if (options.tails) noise.student_nu = forgiving_nu;
    const Expansion first = likelihood.expand(likelihood.place(start), noise);
    if (!std::isfinite(first.depth)) return {};
    if (options.tails) {
        std::vector<double> z;
        for (const double z2 : first.squared_residuals())
            z.push_back(std::sqrt(z2));
        noise.widening = std::max(1.0, numerics::mad_to_sigma * numerics::median(z));
    }
    const Expansion widened_first = likelihood.expand(first.place, noise);
    for (const Damping& damping : {Damping{1e-4, 0.1}, Damping{1.0, 0.3}, Damping{1e3, 0.3}}) {
        auto near = come_near(likelihood, widened_first, options, damping);
        if (std::isfinite(near.depth)) return near;
    }
    return {};
}

std::vector<std::size_t> some_of(const std::vector<std::size_t>& used) {
    const std::size_t every = (used.size() + enough_rows - 1) / enough_rows;
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < used.size(); i += every)
        kept.push_back(used[i]);
    return kept;
}

}  // namespace

Result<Found> likeliest_start(const LightCurve& curve, const Model& model,
                              const std::vector<std::size_t>& used, const Likelihood& likelihood,
                              double reference_bjd_tdb, double mistaken_limit_probability,
                              const std::vector<std::vector<double>>& starts, const NoiseOptions& options) {
    const Likelihood thin(curve, model, some_of(used), reference_bjd_tdb, mistaken_limit_probability);
    std::vector<Approached> near;
    for (const std::vector<double>& start : starts) {
        if (model.allowed(start)) near.push_back(come_near(thin, start, options));
    }
    std::sort(near.begin(), near.end(),
              [](const Approached& a, const Approached& b) { return a.depth < b.depth; });

    Problem problem{.what = fmt::format("The model {} finds no sensible start.", model.name()),
                    .where = {},
                    .mend = "Choose another range of dates, or a simpler model."};
    std::optional<Found> best;
    double best_depth = HUGE_VAL;
    std::size_t looked_at = 0;
    for (std::size_t i = 0; i < near.size() && looked_at < most_looked_at;) {
        std::size_t next = i + 1;
        while (next < near.size() && near[next].depth - near[i].depth < same_depth)
            ++next;
        const std::size_t here = next - i;
        const Place& place = near[i].place;
        if (!std::isfinite(near[i].depth) || (best && near[i].depth - near[0].depth > hopeless_depth)) break;
        i = next;
        // Another place must first be likelier with the noise that is settled already.
        if (best) {
            ++looked_at;
            const Noise noise = best->settled.at.noise;
            Damping damping;
            const Expansion there =
                likelihood.approach(likelihood.expand(place, noise), noise, most_steps_elsewhere, damping);
            const double depth = likelihood.minus_two_log(there.place, noise);
            if (std::abs(depth - best_depth) < same_depth) best->agreeing += here;
            if (depth > best_depth - same_depth) continue;
        }
        auto settled = settle_noise(likelihood, place, options);
        if (!settled) {
            problem = settled.error();
            continue;
        }
        const double depth = likelihood.minus_two_log(settled->at.place, settled->at.noise);
        if (best && depth >= best_depth) continue;
        best = Found{.settled = std::move(*settled), .agreeing = here};
        best_depth = depth;
    }
    if (!best) return fail(problem);
    best->starts = near.size();
    return std::move(*best);
}

}  // namespace emberline::lightcurve
