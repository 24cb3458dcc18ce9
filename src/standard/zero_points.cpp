// SPDX-License-Identifier: MIT
// Notation as in the header; r residual (measured − model) in magnitudes, v its variance from the noise.
#include "standard/zero_points.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "numerics/contamination.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"
#include "standard/catalogue_prior.hpp"
#include "standard/group_scatter.hpp"

namespace emberline::standard {
namespace {

constexpr double variable_ratio = 2.5;        // scatter over expectation above: the star varies
constexpr double uneven_ratio = 2.2;          // … above: the frame's sky is not uniform
constexpr double notable_scatter_mag = 0.01;  // and it must matter
constexpr std::size_t least_members = 5;      // frames of a star, stars of a frame, to tell
constexpr double suspect_sigma = 3.5;
constexpr double least_prior_err = 1e-6;
constexpr double telling_colour_term = 0.08;   // more than that changes the catalogue's errors by some 10 %
constexpr double least_variance_mag2 = 1e-12;  // a background below zero must not make a weight negative
constexpr double longest_step_mag = 1.0;
// Seen together at less than three sigma, a frame's stars give no zero point: its magnitude has no Gaussian.
constexpr double most_random_err_mag = mag_per_relative_flux / 3.0;
// Of a clean Gaussian the robust weights leave this much of the squares: ∫ w(x) x² φ(x) dx.
constexpr double kept_squares = 0.98643;

std::vector<std::size_t> indices(const SolveInput& input, std::size_t SolveObservation::*group) {
    std::vector<std::size_t> out;
    out.reserve(input.observations.size());
    for (const SolveObservation& o : input.observations)
        out.push_back(o.*group);
    return out;
}

std::vector<bool> usable(const SolveInput& input) {
    std::vector<bool> out;
    out.reserve(input.observations.size());
    for (const SolveObservation& o : input.observations) {
        out.push_back(std::isfinite(o.flux_e) && std::isfinite(o.airmass_difference) &&
                      std::isfinite(o.noise.fractional) && std::isfinite(o.noise.background_e2));
    }
    return out;
}

class Solver {
  public:
    explicit Solver(const SolveInput& input)
        : input_(input),
          stars_(input.stars.size()),
          catalogue_(catalogue_prior(input)),
          prior_weight_(stars_, 1.0),
          star_excess_(stars_, 0.0),
          frame_excess_(input.frames, 0.0),
          used_(usable(input)),
          by_star_(indices(input, &SolveObservation::star), used_, stars_),
          by_frame_(indices(input, &SolveObservation::frame), used_, input.frames),
          residual_(input.observations.size()),
          variance_(input.observations.size()),
          weight_(used_.begin(), used_.end()),
          unexplained_(input.observations.size(), 1.0),
          zero_point_(input.frames, 0.0) {
        globals_.assign(stars_ + 1 + (catalogue_.fit_colour_term ? 1 : 0), 0.0);
        globals_[extinction_index()] = input.extinction_prior.value;
        if (catalogue_.fit_colour_term) globals_[colour_index()] = input.colour_term_prior.value;
    }

    Result<ZeroPoints> solve() {
        start_zero_points();
        // To a micromagnitude. Which stars and frames stand out is settled early: one at the border would
        // otherwise come and go for ever.
        constexpr double enough_mag = 1e-6;
        constexpr std::size_t most_iterations = 100, settled_after = 10;
        std::size_t iteration = 0;
        evaluate();
        for (; iteration < most_iterations; ++iteration) {
            solved_prior_weight_ = prior_weight_;
            auto step = linear_step();
            if (!step) return fail(step.error());
            last_ = std::move(*step);
            const double moved = take();
            if (iteration > 1) drop_unseen_frames();
            evaluate();
            reweigh(iteration < settled_after);
            if (moved < enough_mag && iteration > 3) break;
        }
        update_scatters();
        return result(iteration + 1);
    }

  private:
    [[nodiscard]] std::size_t extinction_index() const { return stars_; }
    [[nodiscard]] std::size_t colour_index() const { return stars_ + 1; }

    void start_zero_points() {
        std::vector<std::vector<double>> offers(input_.frames);
        for (std::size_t i = 0; i < used_.size(); ++i) {
            const SolveObservation& o = input_.observations[i];
            if (used_[i] && o.flux_e > 0.0) {
                offers[o.frame].push_back(input_.stars[o.star].catalogue_mag + 2.5 * std::log10(o.flux_e));
            }
        }
        std::vector<double> found;
        for (std::size_t f = 0; f < input_.frames; ++f) {
            if (offers[f].empty()) continue;
            zero_point_[f] = numerics::median(std::move(offers[f]));
            found.push_back(zero_point_[f]);
        }
        // A frame without a positive flux starts from the others' light, and will be found to be dark.
        const double usual = found.empty() ? 0.0 : numerics::median(found);
        for (std::size_t f = 0; f < input_.frames; ++f) {
            if (offers[f].empty()) zero_point_[f] = usual;
        }
    }

    [[nodiscard]] double model_mag(const SolveObservation& o) const {
        double m = input_.stars[o.star].catalogue_mag + globals_[o.star] - zero_point_[o.frame] +
                   globals_[extinction_index()] * o.airmass_difference;
        if (catalogue_.fit_colour_term)
            m -= globals_[colour_index()] * catalogue_.colour_distance_mag[o.star];
        return m;
    }

    // Residuals about the model in flux: a noisy flux never enters a logarithm or a weight.
    void evaluate() {
        for (std::size_t i = 0; i < input_.observations.size(); ++i) {
            const SolveObservation& o = input_.observations[i];
            if (!used_[i]) continue;
            const double expected = flux_ratio(model_mag(o));
            residual_[i] = -mag_per_relative_flux * (o.flux_e - expected) / expected;
            const double per_flux = mag_per_relative_flux / expected;
            variance_[i] = std::max(per_flux * per_flux * o.noise.variance_e2(expected), least_variance_mag2);
        }
    }

    [[nodiscard]] double excess(const SolveObservation& o) const {
        return star_excess_[o.star] + frame_excess_[o.frame];
    }

    [[nodiscard]] double total_variance(std::size_t observation) const {
        return variance_[observation] + floor_variance_ + excess(input_.observations[observation]);
    }

    Result<numerics::BorderedLeastSquares::Solution> linear_step() const {
        numerics::BorderedLeastSquares problem(input_.frames, globals_.size());
        for (std::size_t i = 0; i < input_.observations.size(); ++i) {
            if (!used_[i]) continue;
            const SolveObservation& o = input_.observations[i];
            const numerics::BorderedLeastSquares::Term terms[] = {
                {o.star, -1.0},
                {extinction_index(), -o.airmass_difference},
                {colour_index(), catalogue_.fit_colour_term ? catalogue_.colour_distance_mag[o.star] : 0.0}};
            const double y = input_.stars[o.star].catalogue_mag - model_mag(o) - residual_[i];
            problem.add_row(o.frame, std::span(terms, catalogue_.fit_colour_term ? 3 : 2), y,
                            weight_[i] / total_variance(i));
        }
        for (std::size_t i = 0; i < stars_; ++i)
            problem.add_prior(i, catalogue_.offset_mean_mag[i], prior_weight(i));
        const auto add = [&](std::size_t global, const ValueWithError& prior) {
            const double err = std::max(prior.err, least_prior_err);
            problem.add_prior(global, prior.value, 1.0 / (err * err));
        };
        add(extinction_index(), input_.extinction_prior);
        if (catalogue_.fit_colour_term) add(colour_index(), input_.colour_term_prior);
        return problem.solve();
    }

    [[nodiscard]] double prior_weight(std::size_t star) const {
        return prior_weight_[star] / catalogue_.offset_variance_mag2[star];
    }

    double take() {
        double moved = 0.0;
        for (std::size_t f = 0; f < input_.frames; ++f) {
            if (!last_.determined[f]) continue;
            // Flux is far from linear over a magnitude.
            const double step =
                std::clamp(last_.locals[f] - zero_point_[f], -longest_step_mag, longest_step_mag);
            moved = std::max(moved, std::abs(step));
            zero_point_[f] += step;
        }
        for (std::size_t j = 0; j < globals_.size(); ++j) {
            moved = std::max(moved, std::abs(last_.globals[j] - globals_[j]));
        }
        globals_ = last_.globals;
        return moved;
    }

    void drop_unseen_frames() {
        std::vector<bool> unseen(input_.frames, false);
        bool any = false;
        for (std::size_t f = 0; f < input_.frames; ++f) {
            unseen[f] = last_.determined[f] &&
                        !(last_.local_variance_given_globals[f] < most_random_err_mag * most_random_err_mag);
            any = any || unseen[f];
        }
        if (!any) return;
        for (std::size_t i = 0; i < used_.size(); ++i) {
            if (!unseen[input_.observations[i].frame]) continue;
            used_[i] = false;
            weight_[i] = 0.0;
        }
        by_star_ = GroupedResiduals(indices(input_, &SolveObservation::star), used_, stars_);
        by_frame_ = GroupedResiduals(indices(input_, &SolveObservation::frame), used_, input_.frames);
    }

    void reweigh(bool excesses_too) {
        for (std::size_t i = 0; i < stars_; ++i) {
            const double miss = globals_[i] - catalogue_.offset_mean_mag[i];
            const double expected_square = miss * miss + last_.global_covariance(i, i);
            prior_weight_[i] = numerics::contamination_weight(
                expected_square / catalogue_.offset_variance_mag2[i], numerics::catalogue_outliers);
        }
        if (excesses_too) find_excesses();
        find_unexplained_shares();
        find_scatter_floor();
        for (std::size_t i = 0; i < weight_.size(); ++i) {
            if (!used_[i]) continue;
            weight_[i] = numerics::contamination_weight(residual_[i] * residual_[i] / total_variance(i),
                                                        numerics::observation_outliers);
        }
    }

    // A star that varies must not make its frames look uneven.
    void update_scatters() {
        by_star_.update(residual_, variance_);
        std::vector<double> with_star = variance_;
        for (std::size_t i = 0; i < with_star.size(); ++i)
            with_star[i] += star_excess_[input_.observations[i].star];
        by_frame_.update(residual_, with_star);
    }

    // Stars that vary and frames under uneven cloud have a variance of their own. What counts as usual is the
    // middle star's, so that one variable star does not hide in a floor that it raised itself.
    void find_excesses() {
        update_scatters();
        std::vector<double> beyond(stars_);
        for (std::size_t i = 0; i < stars_; ++i)
            beyond[i] = by_star_.beyond_mag2(i);
        const double usual = numerics::median(beyond);
        const auto excess_of = [&](GroupedResiduals& groups, std::size_t g, double ratio) {
            const GroupScatter& s = groups.scatter(g);
            if (s.members < least_members || s.measured_mag <= notable_scatter_mag) return 0.0;
            // The median absolute deviation of n values is known to 1.17/√n of itself: four times that
            // above 1.
            ratio = std::max(ratio, 1.0 + 4.0 * 1.17 / std::sqrt(static_cast<double>(s.members)));
            const double noise = s.noise_mag * s.noise_mag;
            if (!groups.exceeds(g, ratio * ratio * (noise + usual) - noise)) return 0.0;
            return groups.beyond_mag2(g) - usual;
        };
        for (std::size_t i = 0; i < stars_; ++i)
            star_excess_[i] = excess_of(by_star_, i, variable_ratio);
        for (std::size_t f = 0; f < input_.frames; ++f)
            frame_excess_[f] = excess_of(by_frame_, f, uneven_ratio);
    }

    // The share of each observation's variance that is left in its residual: the fit follows the others'
    // weight against this one's, for its frame's zero point and for as much of its star's offset as the data
    // rather than the catalogue have told.
    void find_unexplained_shares() {
        std::vector<double> of_frame(input_.frames, 0.0), of_star(stars_, 0.0);
        for (std::size_t i = 0; i < used_.size(); ++i) {
            if (!used_[i]) continue;
            const SolveObservation& o = input_.observations[i];
            const double w = weight_[i] / total_variance(i);
            of_frame[o.frame] += w;
            of_star[o.star] += w;
        }
        for (std::size_t i = 0; i < used_.size(); ++i) {
            if (!used_[i]) continue;
            const SolveObservation& o = input_.observations[i];
            const double w = weight_[i] / total_variance(i);
            const double told =
                std::max(0.0, 1.0 - last_.global_covariance(o.star, o.star) * prior_weight(o.star));
            unexplained_[i] = std::max(0.0, 1.0 - w / of_frame[o.frame] - told * w / of_star[o.star]);
        }
    }

    // Restricted maximum likelihood: Σ w r²/V² = Σ (1 − h)/V with V = v + σ₀², solved by repeating
    // σ₀² = Σ [w r² − (1 − h) v]/V² / Σ (1 − h)/V². Weights V⁻² listen to the stars that can tell.
    void find_scatter_floor() {
        constexpr int repetitions = 10;
        for (int k = 0; k < repetitions; ++k) {
            double above = 0.0, below = 0.0;
            for (std::size_t i = 0; i < residual_.size(); ++i) {
                if (!used_[i]) continue;
                const double own = variance_[i] + excess(input_.observations[i]);
                const double inverse = 1.0 / (own + floor_variance_);
                const double expected = kept_squares * unexplained_[i];
                above += (weight_[i] * residual_[i] * residual_[i] - expected * own) * inverse * inverse;
                below += expected * inverse * inverse;
            }
            const double before = floor_variance_;
            floor_variance_ = below > 0.0 ? std::max(0.0, above / below) : 0.0;
            if (std::abs(floor_variance_ - before) <= 1e-4 * before) break;
        }
    }

    ZeroPoints result(std::size_t iterations) const {
        ZeroPoints solved;
        solved.iterations = iterations;
        solved.scatter_floor_mag = std::sqrt(floor_variance_);
        solved.mean_colour_mag = catalogue_.mean_colour_mag;
        solved.colour_low_mag = catalogue_.colour_low_mag;
        solved.colour_high_mag = catalogue_.colour_high_mag;
        solved.colour_term_fitted = catalogue_.fit_colour_term;
        solved.global_covariance = last_.global_covariance;
        for (std::size_t i = 0; i < stars_; ++i)
            solved.prior_variance.push_back(catalogue_.offset_variance_mag2[i] / solved_prior_weight_[i]);
        const auto variance_of = [](const ValueWithError& prior) {
            return std::pow(std::max(prior.err, least_prior_err), 2);
        };
        solved.prior_variance.push_back(variance_of(input_.extinction_prior));
        if (catalogue_.fit_colour_term)
            solved.prior_variance.push_back(variance_of(input_.colour_term_prior));
        const auto global = [&](std::size_t j) {
            return ValueWithError{globals_[j], std::sqrt(last_.global_covariance(j, j))};
        };
        solved.extinction = global(extinction_index());
        if (catalogue_.fit_colour_term) solved.colour_term = global(colour_index());
        for (const SolveStar& star : input_.stars)
            solved.global_names.push_back("star " + star.label);
        solved.global_names.emplace_back("extinction");
        if (catalogue_.fit_colour_term) solved.global_names.emplace_back("colour term");
        solved.residuals_mag = residual_;
        solved.weights = weight_;
        add_frames(solved);
        add_stars(solved);
        return solved;
    }

    void add_frames(ZeroPoints& solved) const {
        solved.frames.resize(input_.frames);
        for (std::size_t i = 0; i < residual_.size(); ++i) {
            if (!used_[i]) continue;
            FrameZeroPoint& frame = solved.frames[input_.observations[i].frame];
            frame.chi2 += weight_[i] * residual_[i] * residual_[i] / total_variance(i);
            if (weight_[i] > 0.1) ++frame.stars;
        }
        for (std::size_t f = 0; f < input_.frames; ++f) {
            FrameZeroPoint& frame = solved.frames[f];
            const GroupScatter& scatter = by_frame_.scatter(f);
            frame.determined = last_.determined[f] && scatter.members > 0;
            if (!frame.determined) continue;
            frame.zero_point_mag = zero_point_[f];
            frame.random_err_mag = std::sqrt(last_.local_variance_given_globals[f]);
            frame.dof = scatter.members - 1;
            for (std::size_t j = 0; j < globals_.size(); ++j) {
                frame.gradient.push_back(last_.local_gradient(f, j));
            }
            frame.scatter_mag = scatter.measured_mag;
            frame.extra_scatter_mag = std::sqrt(frame_excess_[f]);
        }
    }

    void add_stars(ZeroPoints& solved) const {
        for (std::size_t i = 0; i < stars_; ++i) {
            StarOffset star;
            star.offset_mag = {globals_[i], std::sqrt(last_.global_covariance(i, i))};
            star.prior_weight = prior_weight_[i];
            const GroupScatter& scatter = by_star_.scatter(i);
            star.frames = scatter.members;
            star.scatter_mag = scatter.measured_mag;
            star.expected_scatter_mag = std::hypot(scatter.noise_mag, solved.scatter_floor_mag);
            const double catalogue_err = std::sqrt(catalogue_.offset_variance_mag2[i]);
            if (star_excess_[i] > 0.0) {
                star.suspect = true;
                star.why = fmt::format("It varies: {:.3f} mag from frame to frame where {:.3f} is expected.",
                                       star.scatter_mag, star.expected_scatter_mag);
            } else if (std::abs(globals_[i] - catalogue_.offset_mean_mag[i]) >
                       suspect_sigma * catalogue_err) {
                star.suspect = true;
                star.why =
                    fmt::format("It is {:+.3f} mag from its catalogue magnitude, whose error is {:.3f}.",
                                globals_[i], catalogue_err);
            }
            solved.stars.push_back(std::move(star));
        }
    }

    const SolveInput& input_;
    std::size_t stars_;
    CataloguePrior catalogue_;
    std::vector<double> prior_weight_, star_excess_, frame_excess_;
    std::vector<double> solved_prior_weight_;  // that last_ was solved with
    std::vector<bool> used_;                   // observations
    GroupedResiduals by_star_, by_frame_;
    std::vector<double> residual_, variance_, weight_;
    std::vector<double> unexplained_;  // 1 − h
    std::vector<double> zero_point_, globals_;
    double floor_variance_ = 0.0;
    numerics::BorderedLeastSquares::Solution last_;
};

}  // namespace

Result<ZeroPoints> solve_zero_points(const SolveInput& input) {
    if (input.stars.empty() || input.observations.empty()) {
        return fail(
            {.what = "No comparison star was measured in any frame.",
             .mend = "Check that comparison.csv has stars with a magnitude in this band in the field."});
    }
    auto solved = Solver(input).solve();
    if (!solved || !solved->colour_term_fitted ||
        std::abs(solved->colour_term.value - input.expected_colour_term) < telling_colour_term)
        return solved;
    SolveInput better = input;
    better.expected_colour_term = std::clamp(solved->colour_term.value, -1.0, 1.0);
    return Solver(better).solve();
}

ColourShift colour_shift(const ZeroPoints& solution, std::optional<double> colour_mag) {
    if (!colour_mag || !solution.colour_term_fitted) return {};
    const double distance = *colour_mag - solution.mean_colour_mag;
    return {solution.colour_term.value * distance, distance, true};
}

StandardMagnitude standard_magnitude(const ZeroPoints& solution, std::size_t frame, double flux_e,
                                     std::optional<double> colour_mag) {
    const FrameZeroPoint& zero = solution.frames.at(frame);
    StandardMagnitude standard{zero.zero_point_mag - 2.5 * std::log10(flux_e), zero.gradient};
    const ColourShift colour = colour_shift(solution, colour_mag);
    standard.magnitude_mag += colour.shift_mag;
    if (colour.applied)
        standard.gradient.back() += colour.distance_mag;  // the colour term is the last global
    return standard;
}

CommonErrors split_common_errors(const ZeroPoints& solution) {
    const numerics::Matrix& p = solution.global_covariance;
    const std::size_t n = p.rows();
    CommonErrors out{numerics::Matrix(n, n), numerics::Matrix(n, n)};
    numerics::Matrix rest = p;
    for (std::size_t j = 0; j < n; ++j) {
        for (std::size_t i = 0; i < n; ++i)
            out.from_priors(i, j) = p(i, j) / std::sqrt(solution.prior_variance[j]);
    }
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t k = 0; k < n; ++k) {
            for (std::size_t j = 0; j < n; ++j)
                rest(i, k) -= out.from_priors(i, j) * out.from_priors(k, j);
        }
    }
    out.from_frames = numerics::cholesky_lower(rest);
    return out;
}

std::vector<double> common_components(const numerics::Matrix& lower, const std::vector<double>& gradient) {
    std::vector<double> components(lower.columns(), 0.0);
    for (std::size_t r = 0; r < gradient.size(); ++r) {
        for (std::size_t c = 0; c <= r; ++c)
            components[c] += gradient[r] * lower(r, c);
    }
    return components;
}

}  // namespace emberline::standard
