// SPDX-License-Identifier: MIT
// Notation: m chains of n steps; B and W variances between and within them, as in the book.
#include "numerics/chain_diagnosis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace emberline::numerics {
namespace {

// The window closes where it is this many times the autocorrelation time within it: Sokal's c.
constexpr double window_lengths = 5.0;

double mean_of(const Matrix& chains, std::size_t row, std::size_t from, std::size_t to) {
    double sum = 0.0;
    for (std::size_t i = from; i < to; ++i)
        sum += chains(row, i);
    return sum / static_cast<double>(to - from);
}

// Walkers × steps of one parameter.
Matrix chains_of(const Matrix& samples, std::size_t walkers, std::size_t parameter) {
    Matrix chains(walkers, samples.rows() / walkers);
    for (std::size_t i = 0; i < chains.columns(); ++i) {
        for (std::size_t w = 0; w < walkers; ++w)
            chains(w, i) = samples(i * walkers + w, parameter);
    }
    return chains;
}

std::string summary_of(const ChainDiagnosis& d, double steps) {
    const double slowest = *std::max_element(d.autocorrelation_steps.begin(), d.autocorrelation_steps.end());
    const double fewest = *std::min_element(d.effective_samples.begin(), d.effective_samples.end());
    const double r_hat = *std::max_element(d.split_r_hat.begin(), d.split_r_hat.end());
    if (d.converged) return fmt::format("converged: {:.0f} independent samples, R̂ {:.3f}", fewest, r_hat);
    return fmt::format(
        "not converged: {:.0f} steps of a walker for an autocorrelation time of {:.0f} or more, {:.0f} "
        "independent samples, R̂ {:.3f}",
        steps, slowest, fewest, r_hat);
}

}  // namespace

Autocorrelation integrated_autocorrelation(const Matrix& chains) {
    const std::size_t m = chains.rows(), n = chains.columns();
    Autocorrelation found{.steps = static_cast<double>(n), .resolved = false};
    if (m == 0 || n < 2) return found;
    double mean = 0.0;
    for (std::size_t w = 0; w < m; ++w)
        mean += mean_of(chains, w, 0, n) / static_cast<double>(m);
    Matrix off(m, n);
    for (std::size_t w = 0; w < m; ++w) {
        for (std::size_t i = 0; i < n; ++i)
            off(w, i) = chains(w, i) - mean;
    }
    const auto covariance = [&](std::size_t lag) {
        double sum = 0.0;
        for (std::size_t w = 0; w < m; ++w) {
            for (std::size_t i = 0; i + lag < n; ++i)
                sum += off(w, i) * off(w, i + lag);
        }
        return sum / static_cast<double>(m * (n - lag));
    };
    const double variance = covariance(0);
    if (!(variance > 0.0)) return found;
    double steps = 1.0;
    for (std::size_t lag = 1; lag <= n / 2; ++lag) {
        steps += 2.0 * covariance(lag) / variance;
        if (static_cast<double>(lag) >= window_lengths * steps) {
            // Below 1 are walkers that swing back: no reason to believe in more samples than were drawn.
            return {.steps = std::max(steps, 1.0), .resolved = true};
        }
    }
    found.steps = std::clamp(steps, 1.0, static_cast<double>(n));
    return found;
}

double split_r_hat(const Matrix& chains) {
    const std::size_t half = chains.columns() / 2;
    if (half < 2 || chains.rows() == 0) return std::numeric_limits<double>::infinity();
    const double n = static_cast<double>(half), m = 2.0 * static_cast<double>(chains.rows());
    std::vector<double> means;
    double within = 0.0;
    for (std::size_t w = 0; w < chains.rows(); ++w) {
        for (const std::size_t from : {std::size_t{0}, chains.columns() - half}) {
            const double mean = mean_of(chains, w, from, from + half);
            means.push_back(mean);
            for (std::size_t i = from; i < from + half; ++i)
                within += (chains(w, i) - mean) * (chains(w, i) - mean) / (n - 1.0) / m;
        }
    }
    double mean = 0.0, between = 0.0;
    for (const double one : means)
        mean += one / m;
    for (const double one : means)
        between += (one - mean) * (one - mean) / (m - 1.0);
    if (!(within > 0.0)) return between > 0.0 ? std::numeric_limits<double>::infinity() : 1.0;
    return std::sqrt((n - 1.0) / n + between / within);
}

ChainDiagnosis diagnose_chain(const Matrix& samples, std::size_t walkers, double acceptance) {
    ChainDiagnosis diagnosis{.acceptance = acceptance,
                             .autocorrelation_steps = {},
                             .effective_samples = {},
                             .split_r_hat = {},
                             .converged = false,
                             .summary = "not converged: there are no samples"};
    if (walkers == 0 || samples.rows() < walkers || samples.columns() == 0) return diagnosis;
    const std::size_t length = samples.rows() / walkers;
    const auto steps = static_cast<double>(length);
    diagnosis.converged = true;
    for (std::size_t j = 0; j < samples.columns(); ++j) {
        const Matrix chains = chains_of(samples, walkers, j);
        const Autocorrelation time = integrated_autocorrelation(chains);
        const double effective = static_cast<double>(walkers) * steps / time.steps;
        const double r_hat = split_r_hat(chains);
        diagnosis.autocorrelation_steps.push_back(time.steps);
        diagnosis.effective_samples.push_back(effective);
        diagnosis.split_r_hat.push_back(r_hat);
        diagnosis.converged = diagnosis.converged && time.resolved &&
                              steps >= least_chain_lengths * time.steps &&
                              effective >= least_effective_samples && r_hat <= most_split_r_hat;
    }
    diagnosis.summary = summary_of(diagnosis, steps);
    return diagnosis;
}

}  // namespace emberline::numerics
