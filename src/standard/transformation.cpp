// SPDX-License-Identifier: MIT
// Notation as in zero_points.hpp; s the relation's own scatter from star to star.
#include "standard/transformation.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"
#include "standard/catalogue_prior.hpp"

namespace emberline::standard {
namespace {

constexpr double unknown_term_err = 2.0;
constexpr double first_star_scatter_mag = 0.1;  // s is approached from above: no star is taken for wrong
constexpr double wrong_weight = 0.2;            // robust weight below which a star is left out: four sigma
constexpr double telling_second_order = 4.0;    // sigma
constexpr double least_weight = 0.1;            // of an observation that counts as used

struct Means {
    std::vector<double> residual_mag, variance_mag2;  // weighted, over each star's frames
    std::vector<std::size_t> frames;
};

SolveInput widened(const SolveInput& input, double scatter_mag) {
    SolveInput out = input;
    for (SolveStar& star : out.stars)
        star.catalogue_err_mag = std::hypot(star.catalogue_err_mag, scatter_mag);
    return out;
}

Means means_over_frames(const SolveInput& input, const ZeroPoints& solved) {
    const std::size_t n = input.stars.size();
    Means out{std::vector<double>(n, 0.0), std::vector<double>(n, 0.0), std::vector<std::size_t>(n, 0)};
    std::vector<double> weight(n, 0.0);
    for (std::size_t i = 0; i < input.observations.size(); ++i) {
        const SolveObservation& o = input.observations[i];
        if (solved.weights[i] <= 0.0 || !(o.flux_e > 0.0)) continue;
        const double per_flux = mag_per_relative_flux / o.flux_e;
        const double floor = solved.scatter_floor_mag;
        const double variance = per_flux * per_flux * o.noise.variance_e2(o.flux_e) + floor * floor;
        const double w = solved.weights[i] / std::max(variance, 1e-12);
        out.residual_mag[o.star] += w * solved.residuals_mag[i];
        weight[o.star] += w;
        if (solved.weights[i] > least_weight) ++out.frames[o.star];
    }
    for (std::size_t i = 0; i < n; ++i) {
        if (weight[i] <= 0.0) continue;
        out.residual_mag[i] /= weight[i];
        out.variance_mag2[i] = 1.0 / weight[i];
    }
    return out;
}

// How far the stars lie from the relation against what their errors say: Σ w (δ − μ)²/v over its expectation
// Σ (1 − P/Q), with v the errors' squares, Q = v/w the priors in the end and P what is left of them.
double misfit(const CataloguePrior& prior, const ZeroPoints& solved) {
    double found = 0.0, expected = 0.0;
    for (std::size_t i = 0; i < solved.stars.size(); ++i) {
        if (solved.stars[i].frames == 0) continue;
        const double miss = solved.stars[i].offset_mag.value - prior.offset_mean_mag[i];
        found += solved.stars[i].prior_weight * miss * miss / prior.offset_variance_mag2[i];
        expected += std::max(0.0, 1.0 - solved.global_covariance(i, i) / solved.prior_variance[i]);
    }
    return expected > 0.0 ? found / expected : 1.0;
}

struct Settled {
    SolveInput input;  // catalogue errors widened by s
    ZeroPoints solved;
    double star_scatter_mag = 0.0;
};

// s by halving between none and much, the misfit falling as s grows.
Result<Settled> settle_scatter(const SolveInput& input) {
    const auto at = [&](double scatter) -> Result<std::pair<Settled, double>> {
        Settled here{widened(input, scatter), {}, scatter};
        auto solved = solve_zero_points(here.input);
        if (!solved) return fail(solved.error());
        here.solved = std::move(*solved);
        if (here.solved.colour_term_fitted) here.input.expected_colour_term = here.solved.colour_term.value;
        const double above = std::log(misfit(catalogue_prior(here.input), here.solved));
        return std::pair{std::move(here), above};
    };
    auto best = at(first_star_scatter_mag);
    if (!best) return fail(best.error());
    if (best->second >= 0.0) return std::move(best->first);
    // Downwards until the stars scatter more than they may, then between the two.
    double high = first_star_scatter_mag, low = 0.0;
    constexpr double least_tried_mag = 0.002, enough = 0.03;
    while (high > least_tried_mag) {
        auto next = at(0.5 * high);
        if (!next) return fail(next.error());
        const bool passed = next->second > 0.0;
        if (passed) {
            low = 0.5 * high;
            break;
        }
        best = std::move(next);
        high *= 0.5;
    }
    if (low == 0.0) {
        auto none = at(0.0);
        if (!none) return fail(none.error());
        if (none->second <= 0.0) return std::move(none->first);
    }
    while (high - low > enough * high + 1e-5) {
        auto next = at(0.5 * (low + high));
        if (!next) return fail(next.error());
        if (next->second > 0.0) {
            low = 0.5 * (low + high);
        } else {
            high = 0.5 * (low + high);
            best = std::move(next);
        }
    }
    return std::move(best->first);
}

std::vector<bool> seen_stars(const SolveInput& input) {
    std::vector<bool> seen(input.stars.size(), false);
    for (const SolveObservation& o : input.observations)
        seen[o.star] = true;
    return seen;
}

SolveInput with_stars(const SolveInput& input, const std::vector<bool>& keep) {
    SolveInput out = input;
    out.stars.clear();
    out.observations.clear();
    std::vector<std::size_t> number(input.stars.size(), 0);
    for (std::size_t i = 0; i < input.stars.size(); ++i) {
        if (!keep[i]) continue;
        number[i] = out.stars.size();
        out.stars.push_back(input.stars[i]);
    }
    for (SolveObservation o : input.observations) {
        if (!keep[o.star]) continue;
        o.star = number[o.star];
        out.observations.push_back(o);
    }
    return out;
}

// Why these stars cannot tell a colour term; empty where they can.
std::string no_colour_term(const std::vector<SolveStar>& stars) {
    std::vector<double> colours;
    for (const SolveStar& star : stars) {
        if (star.colour_mag) colours.push_back(*star.colour_mag);
    }
    if (colours.size() < least_transformation_stars) {
        return fmt::format("{} stars with a colour were measured; {} are needed.", colours.size(),
                           least_transformation_stars);
    }
    const auto [low, high] = std::minmax_element(colours.begin(), colours.end());
    if (*high - *low < least_colour_span_mag) {
        return fmt::format("The stars' colours span {:.2f} mag; {:.1f} are needed.", *high - *low,
                           least_colour_span_mag);
    }
    return {};
}

// T(X): residuals against (X − X̄)(C − C̄), once what each frame and each star has taken is taken from the
// product too.
std::optional<ValueWithError> second_order(const SolveInput& input, const ZeroPoints& solved,
                                           const std::vector<FrameAir>& air) {
    struct Row {
        std::size_t frame, star;
        double product, residual, weight;
    };
    std::vector<Row> rows;
    double mean_airmass = 0.0, low = HUGE_VAL, high = -HUGE_VAL;
    for (std::size_t i = 0; i < input.observations.size(); ++i) {
        const SolveObservation& o = input.observations[i];
        if (solved.weights[i] < least_weight || !air[o.frame].airmass || !input.stars[o.star].colour_mag ||
            !(o.flux_e > 0.0))
            continue;
        const double per_flux = mag_per_relative_flux / o.flux_e;
        const double variance = per_flux * per_flux * o.noise.variance_e2(o.flux_e) +
                                solved.scatter_floor_mag * solved.scatter_floor_mag;
        rows.push_back({o.frame, o.star, *air[o.frame].airmass, solved.residuals_mag[i],
                        1.0 / std::max(variance, 1e-12)});
        mean_airmass += *air[o.frame].airmass;
        low = std::min(low, *air[o.frame].airmass);
        high = std::max(high, *air[o.frame].airmass);
    }
    if (rows.size() < 20 || high - low < least_airmass_span) return std::nullopt;
    mean_airmass /= static_cast<double>(rows.size());
    for (Row& row : rows)
        row.product =
            (row.product - mean_airmass) * (*input.stars[row.star].colour_mag - solved.mean_colour_mag);
    const auto centre = [&](std::size_t Row::*group, std::size_t groups) {
        std::vector<double> sum(groups, 0.0), weight(groups, 0.0);
        for (const Row& row : rows) {
            sum[row.*group] += row.weight * row.product;
            weight[row.*group] += row.weight;
        }
        for (Row& row : rows)
            row.product -= sum[row.*group] / weight[row.*group];
    };
    for (int k = 0; k < 5; ++k) {
        centre(&Row::frame, input.frames);
        centre(&Row::star, input.stars.size());
    }
    double xy = 0.0, xx = 0.0;
    for (const Row& row : rows) {
        // The residual is measured − model, and T counts against it.
        xy -= row.weight * row.product * row.residual;
        xx += row.weight * row.product * row.product;
    }
    if (!(xx > 0.0)) return std::nullopt;
    const ValueWithError found{xy / xx, 1.0 / std::sqrt(xx)};
    if (std::abs(found.value) < telling_second_order * found.err) return std::nullopt;
    return found;
}

// A scatter found from few points: 68 % of Student's t lie within this many sigma of it, to a few per cent.
double student_stretch(std::size_t dof) {
    return 1.0 + 0.6 / static_cast<double>(dof);
}

void add_extinction(Transformation& out, const ZeroPoints& solved, const std::vector<FrameAir>& air) {
    std::map<std::string, std::vector<AirPoint>> nights;
    out.airmass_low = HUGE_VAL;
    out.airmass_high = -HUGE_VAL;
    for (std::size_t f = 0; f < solved.frames.size(); ++f) {
        const FrameZeroPoint& zero = solved.frames[f];
        if (!zero.determined || zero.stars == 0) continue;
        ++out.frames;
        if (!air[f].airmass) continue;
        out.airmass_low = std::min(out.airmass_low, *air[f].airmass);
        out.airmass_high = std::max(out.airmass_high, *air[f].airmass);
        nights[air[f].night].push_back({*air[f].airmass,
                                        zero.zero_point_mag - 2.5 * std::log10(air[f].exposure_s),
                                        zero.random_err_mag});
    }
    if (nights.empty()) {
        out.airmass_low = out.airmass_high = 0.0;
        out.no_extinction = "No airmass is known: add [site] to campaign.toml.";
        return;
    }
    std::vector<double> values, errs;
    for (const auto& [night, points] : nights) {
        auto line = fit_extinction(points);
        if (!line) {
            if (out.no_extinction.empty()) out.no_extinction = line.error().what;
            continue;
        }
        values.push_back(line->extinction.value);
        errs.push_back(line->extinction.err * student_stretch(line->frames - 2));
        out.nights.push_back({night, std::move(*line)});
    }
    if (values.empty()) return;
    out.no_extinction.clear();
    const numerics::WeightedMean mean = numerics::weighted_mean(values, errs);
    const double stretch =
        values.size() > 1 ? std::max(1.0, std::sqrt(mean.chi2 / static_cast<double>(mean.n - 1))) : 1.0;
    out.extinction = ValueWithError{mean.mean, mean.err * stretch};
}

void add_relation(Transformation& out, const Settled& settled) {
    const Means means = means_over_frames(settled.input, settled.solved);
    const ZeroPoints& solved = settled.solved;
    std::vector<double> departures;
    for (std::size_t i = 0; i < settled.input.stars.size(); ++i) {
        const SolveStar& star = settled.input.stars[i];
        if (means.frames[i] == 0) continue;
        const double apart = -(solved.stars[i].offset_mag.value + means.residual_mag[i]);
        departures.push_back(apart);
        const double shift = colour_shift(solved, star.colour_mag).shift_mag;
        out.relation.push_back({star.label,
                                star.colour_mag,
                                apart + shift,
                                std::hypot(star.catalogue_err_mag, std::sqrt(means.variance_mag2[i])),
                                means.frames[i],
                                true,
                                {}});
    }
    out.stars = departures.size();
    if (departures.empty()) return;
    const double middle = numerics::median(departures);
    out.scatter_mag = numerics::mad_to_sigma * numerics::median_absolute_deviation(departures, middle);
}

}  // namespace

Result<Transformation> find_transformation(const TransformationInput& input) {
    SolveInput solve = with_stars(input.solve, seen_stars(input.solve));
    solve.colour_term_prior = {0.0, unknown_term_err};
    solve.expected_colour_term = 0.0;
    Transformation out;
    std::vector<StarOnRelation> left_out;
    auto settled = Result<Settled>(Settled{});
    // A star that is plainly wrong weighs little, and its colour would still bend a relation of few.
    constexpr int most_rounds = 4;
    for (int round = 0; round < most_rounds; ++round) {
        out.no_colour_term = no_colour_term(solve.stars);
        solve.fit_colour_term = out.no_colour_term.empty();
        settled = settle_scatter(solve);
        if (!settled) return fail(settled.error());
        std::vector<bool> keep(solve.stars.size(), true);
        std::size_t left = solve.stars.size();
        for (std::size_t i = 0; i < solve.stars.size(); ++i) {
            const StarOffset& star = settled->solved.stars[i];
            if (star.prior_weight >= wrong_weight || left <= least_transformation_stars) continue;
            keep[i] = false;
            --left;
            left_out.push_back(
                {solve.stars[i].label, solve.stars[i].colour_mag,
                 colour_shift(settled->solved, solve.stars[i].colour_mag).shift_mag - star.offset_mag.value,
                 solve.stars[i].catalogue_err_mag, star.frames, false,
                 fmt::format("It is {:+.3f} mag from the relation, and was left out.",
                             star.offset_mag.value)});
        }
        if (std::find(keep.begin(), keep.end(), false) == keep.end()) break;
        solve = with_stars(solve, keep);
    }
    const ZeroPoints& solved = settled->solved;
    if (solved.colour_term_fitted) {
        out.colour_term = solved.colour_term;
        out.second_order = second_order(settled->input, solved, input.air);
    }
    out.star_scatter_mag = settled->star_scatter_mag;
    out.mean_colour_mag = solved.mean_colour_mag;
    out.colour_low_mag = solved.colour_low_mag;
    out.colour_high_mag = solved.colour_high_mag;
    add_relation(out, *settled);
    out.relation.insert(out.relation.end(), left_out.begin(), left_out.end());
    add_extinction(out, solved, input.air);
    return out;
}

}  // namespace emberline::standard
