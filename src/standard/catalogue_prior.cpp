// SPDX-License-Identifier: MIT
// Notation: C colour, C̄ its mean over the sequence, S² the variance of the sequence's colours, T the colour
// term, e_M and e_C the catalogue's errors. Given C, what a star is off by in M − T C is e_M − T e_C, with
// Var(e_M|C) = σ_M² − cov²/S², Var(e_C|C) = σ_C² λ and Cov(e_M, e_C|C) = cov λ, λ = 1 − σ_C²/S².
#include "standard/catalogue_prior.hpp"

#include <algorithm>

namespace emberline::standard {
namespace {

constexpr double least_catalogue_err_mag = 0.003;
constexpr std::size_t colour_term_stars = 4;
constexpr double colour_term_span_mag = 0.3;
constexpr double known_term_err = 0.05;    // a prior this narrow is a colour term known from before
constexpr double least_reliability = 0.1;  // of catalogue colours that hardly differ beyond their errors

double variance_about(const std::vector<double>& values, double mean) {
    double sum = 0.0;
    for (const double v : values)
        sum += (v - mean) * (v - mean);
    return sum / static_cast<double>(values.size() - 1);
}

void share_errors(CataloguePrior& prior, const std::vector<SolveStar>& stars, double variance,
                  double colour_term) {
    for (std::size_t i = 0; i < stars.size(); ++i) {
        if (!stars[i].colour_mag) continue;
        const double distance = prior.colour_distance_mag[i];
        const double noise = stars[i].colour_err_mag * stars[i].colour_err_mag;
        const double reliability = std::max(least_reliability, 1.0 - noise / variance);
        prior.colour_distance_mag[i] *= reliability;
        const double slope = std::clamp(stars[i].colour_covariance_mag2 / variance, -1.0, 1.0);
        prior.offset_mean_mag[i] = -slope * distance;
        const double of_colour =
            colour_term * reliability * (colour_term * noise - 2.0 * stars[i].colour_covariance_mag2);
        prior.offset_variance_mag2[i] =
            std::max(prior.offset_variance_mag2[i] - slope * slope * variance + of_colour,
                     least_catalogue_err_mag * least_catalogue_err_mag);
    }
}

}  // namespace

CataloguePrior catalogue_prior(const SolveInput& input) {
    CataloguePrior prior;
    std::vector<double> colours;
    for (const SolveStar& star : input.stars) {
        const double err = std::max(star.catalogue_err_mag, least_catalogue_err_mag);
        prior.offset_variance_mag2.push_back(err * err);
        if (star.colour_mag) colours.push_back(*star.colour_mag);
    }
    prior.offset_mean_mag.assign(input.stars.size(), 0.0);
    prior.colour_distance_mag.assign(input.stars.size(), 0.0);
    if (colours.empty()) return prior;

    for (const double colour : colours)
        prior.mean_colour_mag += colour / static_cast<double>(colours.size());
    const auto [low, high] = std::minmax_element(colours.begin(), colours.end());
    prior.colour_low_mag = *low;
    prior.colour_high_mag = *high;
    const bool told_by_stars = colours.size() >= colour_term_stars && *high - *low >= colour_term_span_mag;
    prior.fit_colour_term =
        input.fit_colour_term && (told_by_stars || input.colour_term_prior.err <= known_term_err);
    if (!prior.fit_colour_term) return prior;

    for (std::size_t i = 0; i < input.stars.size(); ++i) {
        if (input.stars[i].colour_mag)
            prior.colour_distance_mag[i] = *input.stars[i].colour_mag - prior.mean_colour_mag;
    }
    if (told_by_stars) {
        share_errors(prior, input.stars, variance_about(colours, prior.mean_colour_mag),
                     input.expected_colour_term);
    }
    return prior;
}

}  // namespace emberline::standard
