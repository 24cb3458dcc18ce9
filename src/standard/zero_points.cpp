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

namespace emberline::standard {
namespace {

constexpr double least_catalogue_err_mag = 0.003;

constexpr double variable_ratio = 2.5;        // scatter over expectation above: the star varies
constexpr double uneven_ratio = 2.2;          // … above: the frame's sky is not uniform
constexpr double notable_scatter_mag = 0.01;  // and it must matter
constexpr std::size_t least_members = 5;      // frames of a star, stars of a frame, to tell
constexpr double median_of_chi2_1 = 0.4549364231195728;
constexpr std::size_t colour_term_stars = 4;
constexpr double colour_term_span_mag = 0.3;
constexpr double least_reliability = 0.1;  // of catalogue colours that hardly differ beyond their errors
constexpr double suspect_sigma = 3.5;

// The variance e² that brings the median of r²/(v + e²) to what a Gaussian has; 0 where v suffices.
double variance_beyond(const std::vector<double>& residuals, const std::vector<double>& variances) {
    const auto middle = [&](double e2) {
        std::vector<double> squares;
        for (std::size_t i = 0; i < residuals.size(); ++i)
            squares.push_back(residuals[i] * residuals[i] / (variances[i] + e2));
        return numerics::median(std::move(squares));
    };
    if (residuals.size() < 2 || middle(0.0) <= median_of_chi2_1) return 0.0;
    double low = 0.0, high = 1e-6;
    while (middle(high) > median_of_chi2_1 && high < 100.0)
        high *= 4.0;
    for (int k = 0; k < 30; ++k) {
        const double half = 0.5 * (low + high);
        (middle(half) > median_of_chi2_1 ? low : high) = half;
    }
    return high;
}

class Solver {
  public:
    explicit Solver(const SolveInput& input)
        : input_(input),
          stars_(input.stars.size()),
          catalogue_variance_(stars_),
          prior_mean_(stars_, 0.0),
          colour_distance_(stars_, 0.0),
          prior_weight_(stars_, 1.0),
          star_excess_(stars_, 0.0),
          frame_excess_(input.frames, 0.0),
          residual_(input.observations.size()),
          variance_(input.observations.size()),
          weight_(input.observations.size(), 1.0),
          zero_point_(input.frames, 0.0) {
        for (std::size_t i = 0; i < stars_; ++i) {
            const double err = std::max(input.stars[i].catalogue_err_mag, least_catalogue_err_mag);
            catalogue_variance_[i] = err * err;
        }
        prepare_colours();
        globals_.assign(stars_ + 1 + (fit_colour_ ? 1 : 0), 0.0);
        globals_[extinction_index()] = input.extinction_prior.value;
        if (fit_colour_) globals_[colour_index()] = input.colour_term_prior.value;
    }

    Result<ZeroPoints> solve() {
        start_zero_points();
        constexpr std::size_t most_iterations = 100;
        std::size_t iteration = 0;
        for (; iteration < most_iterations; ++iteration) {
            evaluate();
            auto step = linear_step();
            if (!step) return fail(step.error());
            const double moved = take(*step);
            evaluate();
            reweigh(*step);
            last_ = std::move(*step);
            if (moved < 1e-8 && iteration > 3) break;
        }
        return result(iteration + 1);
    }

  private:
    [[nodiscard]] std::size_t extinction_index() const { return stars_; }
    [[nodiscard]] std::size_t colour_index() const { return stars_ + 1; }
    // Of the expected true colour from the mean.
    [[nodiscard]] double colour_distance(std::size_t star) const { return colour_distance_[star]; }

    void prepare_colours() {
        std::vector<double> colours;
        for (const SolveStar& star : input_.stars) {
            if (star.colour_mag) colours.push_back(*star.colour_mag);
        }
        if (colours.empty()) return;
        for (const double colour : colours)
            mean_colour_ += colour / static_cast<double>(colours.size());
        const auto [low, high] = std::minmax_element(colours.begin(), colours.end());
        colour_low_ = *low;
        colour_high_ = *high;
        fit_colour_ = input_.fit_colour_term && colours.size() >= colour_term_stars &&
                      colour_high_ - colour_low_ >= colour_term_span_mag;
        if (fit_colour_) calibrate_colours(colours);
    }

    // Regression calibration, see the header.
    void calibrate_colours(const std::vector<double>& colours) {
        double variance = 0.0;
        for (const double colour : colours) {
            variance +=
                (colour - mean_colour_) * (colour - mean_colour_) / static_cast<double>(colours.size() - 1);
        }
        for (std::size_t i = 0; i < stars_; ++i) {
            const SolveStar& star = input_.stars[i];
            if (!star.colour_mag) continue;
            const double distance = *star.colour_mag - mean_colour_;
            const double reliability =
                std::max(least_reliability, 1.0 - star.colour_err_mag * star.colour_err_mag / variance);
            colour_distance_[i] = reliability * distance;
            const double slope = std::clamp(star.colour_covariance_mag2 / variance, -1.0, 1.0);
            prior_mean_[i] = -slope * distance;
            catalogue_variance_[i] -= slope * slope * variance;
            catalogue_variance_[i] =
                std::max(catalogue_variance_[i], least_catalogue_err_mag * least_catalogue_err_mag);
        }
    }

    void start_zero_points() {
        std::vector<std::vector<double>> offers(input_.frames);
        for (const SolveObservation& o : input_.observations) {
            if (o.flux_e > 0.0) {
                offers[o.frame].push_back(input_.stars[o.star].catalogue_mag + 2.5 * std::log10(o.flux_e));
            }
        }
        for (std::size_t f = 0; f < input_.frames; ++f) {
            if (!offers[f].empty()) zero_point_[f] = numerics::median(std::move(offers[f]));
        }
    }

    [[nodiscard]] double model_mag(const SolveObservation& o) const {
        double m = input_.stars[o.star].catalogue_mag + globals_[o.star] - zero_point_[o.frame] +
                   globals_[extinction_index()] * o.airmass_difference;
        if (fit_colour_) m -= globals_[colour_index()] * colour_distance(o.star);
        return m;
    }

    // Residuals about the model in flux: a noisy flux never enters a logarithm or a weight.
    void evaluate() {
        for (std::size_t i = 0; i < input_.observations.size(); ++i) {
            const SolveObservation& o = input_.observations[i];
            const double expected = std::pow(10.0, -0.4 * model_mag(o));
            residual_[i] = -mag_per_relative_flux * (o.flux_e - expected) / expected;
            const double relative = std::sqrt(o.noise.variance_e2(expected)) / expected;
            variance_[i] = std::pow(mag_per_relative_flux * relative, 2);
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
            const SolveObservation& o = input_.observations[i];
            const numerics::BorderedLeastSquares::Term terms[] = {
                {o.star, -1.0},
                {extinction_index(), -o.airmass_difference},
                {colour_index(), fit_colour_ ? colour_distance(o.star) : 0.0}};
            const double y = input_.stars[o.star].catalogue_mag - model_mag(o) - residual_[i];
            problem.add_row(o.frame, std::span(terms, fit_colour_ ? 3 : 2), y,
                            weight_[i] / total_variance(i));
        }
        for (std::size_t i = 0; i < stars_; ++i)
            problem.add_prior(i, prior_mean_[i], prior_weight(i));
        const auto add = [&](std::size_t global, const ValueWithError& prior) {
            problem.add_prior(global, prior.value, 1.0 / (prior.err * prior.err));
        };
        add(extinction_index(), input_.extinction_prior);
        if (fit_colour_) add(colour_index(), input_.colour_term_prior);
        return problem.solve();
    }

    [[nodiscard]] double prior_weight(std::size_t star) const {
        return prior_weight_[star] / catalogue_variance_[star];
    }

    double take(const numerics::BorderedLeastSquares::Solution& step) {
        double moved = 0.0;
        for (std::size_t f = 0; f < input_.frames; ++f) {
            if (!step.determined[f]) continue;
            moved = std::max(moved, std::abs(step.locals[f] - zero_point_[f]));
            zero_point_[f] = step.locals[f];
        }
        for (std::size_t j = 0; j < globals_.size(); ++j) {
            moved = std::max(moved, std::abs(step.globals[j] - globals_[j]));
        }
        globals_ = step.globals;
        return moved;
    }

    void reweigh(const numerics::BorderedLeastSquares::Solution& step) {
        for (std::size_t i = 0; i < stars_; ++i) {
            const double miss = globals_[i] - prior_mean_[i];
            const double expected_square = miss * miss + step.global_covariance(i, i);
            prior_weight_[i] = numerics::contamination_weight(expected_square / catalogue_variance_[i],
                                                              numerics::catalogue_outliers);
        }
        find_excesses();
        find_scatter_floor(step);
        for (std::size_t i = 0; i < weight_.size(); ++i) {
            weight_[i] = numerics::contamination_weight(residual_[i] * residual_[i] / total_variance(i),
                                                        numerics::observation_outliers);
        }
    }

    struct Scatter {
        double measured_mag = 0.0, noise_mag = 0.0;
        double beyond_mag2 = 0.0;  // variance that the noise does not explain
        std::size_t members = 0;
    };

    // Over the observations of each star, or of each frame.
    [[nodiscard]] std::vector<Scatter> scatters(std::size_t SolveObservation::*group,
                                                std::size_t groups) const {
        std::vector<std::vector<double>> residuals(groups), variances(groups);
        for (std::size_t i = 0; i < residual_.size(); ++i) {
            const std::size_t g = input_.observations[i].*group;
            residuals[g].push_back(residual_[i]);
            variances[g].push_back(variance_[i]);
        }
        std::vector<Scatter> found(groups);
        for (std::size_t g = 0; g < groups; ++g) {
            found[g].members = residuals[g].size();
            if (residuals[g].empty()) continue;
            const double centre = numerics::median(residuals[g]);
            found[g].measured_mag =
                numerics::mad_to_sigma * numerics::median_absolute_deviation(residuals[g], centre);
            for (double& r : residuals[g])
                r -= centre;
            found[g].beyond_mag2 = variance_beyond(residuals[g], variances[g]);
            found[g].noise_mag = std::sqrt(numerics::median(std::move(variances[g])));
        }
        return found;
    }

    // Stars that vary and frames under uneven cloud have a variance of their own. What counts as usual is the
    // middle star's, so that one variable star does not hide in a floor that it raised itself.
    void find_excesses() {
        const std::vector<Scatter> stars = scatters(&SolveObservation::star, stars_);
        std::vector<double> beyond;
        for (const Scatter& s : stars)
            beyond.push_back(s.beyond_mag2);
        const double usual = numerics::median(beyond);
        const auto excess_of = [&](const Scatter& s, double ratio) {
            const double noise = s.noise_mag * s.noise_mag;
            const bool stands_out = s.members >= least_members && s.measured_mag > notable_scatter_mag &&
                                    noise + s.beyond_mag2 > ratio * ratio * (noise + usual);
            return stands_out ? s.beyond_mag2 - usual : 0.0;
        };
        for (std::size_t i = 0; i < stars_; ++i)
            star_excess_[i] = excess_of(stars[i], variable_ratio);
        const std::vector<Scatter> frames = scatters(&SolveObservation::frame, input_.frames);
        for (std::size_t f = 0; f < input_.frames; ++f)
            frame_excess_[f] = excess_of(frames[f], uneven_ratio);
    }

    // Restricted maximum likelihood: the floor at which the weighted squares equal their degrees of freedom,
    // observations less zero points less what the data have told about the globals.
    void find_scatter_floor(const numerics::BorderedLeastSquares::Solution& step) {
        double degrees = 0.0;
        for (const double w : weight_)
            degrees += w;
        for (const bool determined : step.determined)
            degrees -= determined ? 1.0 : 0.0;
        for (std::size_t i = 0; i < stars_; ++i) {
            degrees -= std::max(0.0, 1.0 - step.global_covariance(i, i) * prior_weight(i));
        }
        const auto squares = [&](double floor) {
            double sum = 0.0;
            for (std::size_t i = 0; i < residual_.size(); ++i) {
                sum += weight_[i] * residual_[i] * residual_[i] /
                       (variance_[i] + excess(input_.observations[i]) + floor);
            }
            return sum;
        };
        floor_variance_ = 0.0;
        if (degrees < 1.0 || squares(0.0) <= degrees) return;
        double low = 0.0, high = 1e-6;
        while (squares(high) > degrees && high < 1.0)
            high *= 4.0;
        for (int k = 0; k < 60; ++k) {
            const double middle = 0.5 * (low + high);
            (squares(middle) > degrees ? low : high) = middle;
        }
        floor_variance_ = high;
    }

    ZeroPoints result(std::size_t iterations) const {
        ZeroPoints solved;
        solved.iterations = iterations;
        solved.scatter_floor_mag = std::sqrt(floor_variance_);
        solved.mean_colour_mag = mean_colour_;
        solved.colour_low_mag = colour_low_;
        solved.colour_high_mag = colour_high_;
        solved.colour_term_fitted = fit_colour_;
        solved.global_covariance = last_.global_covariance;
        const auto global = [&](std::size_t j) {
            return ValueWithError{globals_[j], std::sqrt(last_.global_covariance(j, j))};
        };
        solved.extinction = global(extinction_index());
        if (fit_colour_) solved.colour_term = global(colour_index());
        for (const SolveStar& star : input_.stars)
            solved.global_names.push_back("star " + star.label);
        solved.global_names.emplace_back("extinction");
        if (fit_colour_) solved.global_names.emplace_back("colour term");
        solved.residuals_mag = residual_;
        solved.weights = weight_;
        add_frames(solved);
        add_stars(solved);
        return solved;
    }

    void add_frames(ZeroPoints& solved) const {
        std::vector<std::vector<double>> residuals(input_.frames);
        solved.frames.resize(input_.frames);
        for (std::size_t i = 0; i < residual_.size(); ++i) {
            FrameZeroPoint& frame = solved.frames[input_.observations[i].frame];
            residuals[input_.observations[i].frame].push_back(residual_[i]);
            frame.chi2 += weight_[i] * residual_[i] * residual_[i] / total_variance(i);
            if (weight_[i] > 0.1) ++frame.stars;
        }
        for (std::size_t f = 0; f < input_.frames; ++f) {
            FrameZeroPoint& frame = solved.frames[f];
            frame.determined = last_.determined[f];
            if (!frame.determined) continue;
            frame.zero_point_mag = zero_point_[f];
            frame.random_err_mag = std::sqrt(last_.local_variance_given_globals[f]);
            frame.dof = residuals[f].size() - 1;
            for (std::size_t j = 0; j < globals_.size(); ++j) {
                frame.gradient.push_back(last_.local_gradient(f, j));
            }
            const double centre = numerics::median(residuals[f]);
            frame.scatter_mag =
                numerics::mad_to_sigma * numerics::median_absolute_deviation(residuals[f], centre);
            frame.extra_scatter_mag = std::sqrt(frame_excess_[f]);
        }
    }

    void add_stars(ZeroPoints& solved) const {
        const std::vector<Scatter> found = scatters(&SolveObservation::star, stars_);
        for (std::size_t i = 0; i < stars_; ++i) {
            StarOffset star;
            star.offset_mag = {globals_[i], std::sqrt(last_.global_covariance(i, i))};
            star.prior_weight = prior_weight_[i];
            star.frames = found[i].members;
            star.scatter_mag = found[i].measured_mag;
            star.expected_scatter_mag = std::hypot(found[i].noise_mag, solved.scatter_floor_mag);
            const double catalogue_err = std::sqrt(catalogue_variance_[i]);
            if (star_excess_[i] > 0.0) {
                star.suspect = true;
                star.why = fmt::format("It varies: {:.3f} mag from frame to frame where {:.3f} is expected.",
                                       star.scatter_mag, star.expected_scatter_mag);
            } else if (std::abs(globals_[i] - prior_mean_[i]) > suspect_sigma * catalogue_err) {
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
    std::vector<double> catalogue_variance_, prior_mean_, colour_distance_;
    std::vector<double> prior_weight_, star_excess_, frame_excess_;
    std::vector<double> residual_, variance_, weight_;
    std::vector<double> zero_point_, globals_;
    double floor_variance_ = 0.0;
    double mean_colour_ = 0.0, colour_low_ = 0.0, colour_high_ = 0.0;
    bool fit_colour_ = false;
    numerics::BorderedLeastSquares::Solution last_;
};

}  // namespace

Result<ZeroPoints> solve_zero_points(const SolveInput& input) {
    if (input.stars.empty() || input.observations.empty()) {
        return fail(
            {.what = "No comparison star was measured in any frame.",
             .mend = "Check that comparison.csv has stars with a magnitude in this band in the field."});
    }
    return Solver(input).solve();
}

StandardMagnitude standard_magnitude(const ZeroPoints& solution, std::size_t frame, double flux_e,
                                     std::optional<double> colour_mag) {
    const FrameZeroPoint& zero = solution.frames.at(frame);
    StandardMagnitude standard{zero.zero_point_mag - 2.5 * std::log10(flux_e), zero.gradient};
    if (colour_mag && solution.colour_term_fitted) {
        const double distance = *colour_mag - solution.mean_colour_mag;
        standard.magnitude_mag += solution.colour_term.value * distance;
        standard.gradient.back() += distance;  // the colour term is the last global
    }
    return standard;
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
