// SPDX-License-Identifier: MIT
// Notation as in the paper: X a walker, Z how far along the line it goes, a the stretch. g(z) ∝ 1/√z on
// [1/a, a] is drawn by inversion: z = ((a − 1) u + 1)² / a.
#include "numerics/ensemble_sampler.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include "numerics/share_out.hpp"

namespace emberline::numerics {
namespace {

constexpr double impossible = -std::numeric_limits<double>::infinity();
constexpr std::size_t least_walkers = 16, walkers_a_parameter = 4;

double density_at(const LogDensity& density, std::span<const double> parameters) {
    const double value = density(parameters);
    return std::isnan(value) ? impossible : value;
}

struct Walker {
    std::vector<double> at;
    double log_density = impossible;
    Random random;
    bool moved = false;  // in the last step
};

Result<void> check(const std::vector<double>& start, const Matrix& spread, std::size_t walkers,
                   const SamplerOptions& options) {
    const auto refuse = [](std::string what, std::string mend) {
        return fail({.what = std::move(what), .where = "Sampling", .mend = std::move(mend)});
    };
    const std::size_t p = start.size();
    if (p == 0) return refuse("There are no parameters to sample.", "Give at least one.");
    bool has_width = spread.rows() == p && spread.columns() == p;
    for (std::size_t j = 0; has_width && j < p; ++j)
        has_width = spread(j, j) > 0.0 && std::isfinite(spread(j, j));
    if (!has_width) {
        return refuse("The spread of the walkers has no width in some parameter.",
                      "Give a lower-triangular matrix with a positive diagonal, one row a parameter.");
    }
    if (walkers < 2 * p) {
        return refuse(
            "There are fewer than two walkers a parameter.",
            "Take at least twice as many walkers as there are parameters, or leave the number open.");
    }
    if (!(options.stretch > 1.0)) return refuse("The stretch is not above 1.", "2 is usual.");
    if (options.steps <= options.burn_in) {
        return refuse("No step is left after the burn-in.", "Take more steps, or a shorter burn-in.");
    }
    return {};
}

class Ensemble {
  public:
    Ensemble(const LogDensity& density, const SamplerOptions& options)
        : density_(density), options_(options) {}

    Result<void> begin(const std::vector<double>& start, const Matrix& spread, std::size_t walkers,
                       const Random& random) {
        const double there = density_at(density_, start);
        if (!std::isfinite(there)) {
            return fail({.what = "The density does not allow the place to start from.",
                         .where = "Sampling",
                         .mend = "Start from a fit of the same points with the same bounds."});
        }
        for (std::size_t w = 0; w < walkers; ++w)
            walkers_.push_back({.at = start, .log_density = impossible, .random = random.stream(w)});
        share_out(walkers, options_.threads, [&](std::size_t w) { place(walkers_[w], start, spread); });
        const bool all = std::all_of(walkers_.begin(), walkers_.end(),
                                     [](const Walker& w) { return std::isfinite(w.log_density); });
        if (all) return {};
        return fail({.what = "The density allows hardly any place about the start.",
                     .where = "Sampling",
                     .mend = "Give a smaller spread."});
    }

    // Both halves, one after the other.
    void step() {
        const std::size_t half = walkers_.size() / 2;
        for (const std::size_t first : {std::size_t{0}, half}) {
            share_out(half, options_.threads,
                      [&](std::size_t i) { move(walkers_[first + i], half - first); });
        }
    }

    [[nodiscard]] const std::vector<Walker>& walkers() const { return walkers_; }

  private:
    // Closer to the start each time that a place is refused.
    void place(Walker& walker, const std::vector<double>& start, const Matrix& spread) const {
        constexpr int most_attempts = 100;
        constexpr double closer = 0.8;
        double scale = 1.0;
        std::vector<double> unit(start.size());
        for (int attempt = 0; attempt < most_attempts; ++attempt, scale *= closer) {
            for (double& u : unit)
                u = scale * walker.random.gaussian();
            walker.at = multiply(spread, unit);
            for (std::size_t j = 0; j < start.size(); ++j)
                walker.at[j] += start[j];
            walker.log_density = density_at(density_, walker.at);
            if (std::isfinite(walker.log_density)) return;
        }
    }

    // `others`: the first of the half that stands still.
    void move(Walker& walker, std::size_t others) {
        const std::size_t half = walkers_.size() / 2;
        const auto drawn = static_cast<std::size_t>(walker.random.uniform() * static_cast<double>(half));
        const std::vector<double>& other = walkers_[others + std::min(drawn, half - 1)].at;
        const double root = (options_.stretch - 1.0) * walker.random.uniform() + 1.0;
        const double z = root * root / options_.stretch;
        std::vector<double> moved(walker.at.size());
        for (std::size_t j = 0; j < moved.size(); ++j)
            moved[j] = other[j] + z * (walker.at[j] - other[j]);
        const double there = density_at(density_, moved);
        const double gain = static_cast<double>(moved.size() - 1) * std::log(z) + there - walker.log_density;
        // Drawn in any case, so that the numbers that follow do not hang on the outcome.
        const double chance = std::log(1.0 - walker.random.uniform());
        walker.moved = chance < gain;
        if (!walker.moved) return;
        walker.at = std::move(moved);
        walker.log_density = there;
    }

    const LogDensity& density_;
    const SamplerOptions& options_;
    std::vector<Walker> walkers_;
};

// What is kept of the steps.
class Record {
  public:
    Record(std::size_t walkers, std::size_t parameters) : walkers_(walkers), parameters_(parameters) {}

    void add(const std::vector<Walker>& walkers) {
        for (const Walker& walker : walkers) {
            values_.insert(values_.end(), walker.at.begin(), walker.at.end());
            log_density_.push_back(walker.log_density);
            moved_.push_back(walker.moved);
        }
    }

    // The first steps of those kept.
    void forget(std::size_t steps) {
        const auto rows = static_cast<std::ptrdiff_t>(std::min(steps * walkers_, log_density_.size()));
        values_.erase(values_.begin(), values_.begin() + rows * static_cast<std::ptrdiff_t>(parameters_));
        log_density_.erase(log_density_.begin(), log_density_.begin() + rows);
        moved_.erase(moved_.begin(), moved_.begin() + rows);
    }

    [[nodiscard]] Chain chain() const {
        const std::size_t rows = log_density_.size();
        Chain chain{.samples = Matrix(rows, parameters_),
                    .log_density = log_density_,
                    .walkers = walkers_,
                    .diagnosis = {}};
        for (std::size_t row = 0; row < rows; ++row) {
            for (std::size_t j = 0; j < parameters_; ++j)
                chain.samples(row, j) = values_[row * parameters_ + j];
        }
        const auto moved = std::count(moved_.begin(), moved_.end(), true);
        chain.diagnosis =
            diagnose_chain(chain.samples, walkers_, static_cast<double>(moved) / static_cast<double>(rows));
        return chain;
    }

  private:
    std::size_t walkers_, parameters_;
    std::vector<double> values_, log_density_;
    std::vector<bool> moved_;
};

}  // namespace

Result<Chain> sample_ensemble(const LogDensity& density, const std::vector<double>& start,
                              const Matrix& spread, Random random, const SamplerOptions& options) {
    const std::size_t p = start.size();
    std::size_t walkers =
        options.walkers > 0 ? options.walkers : std::max(least_walkers, walkers_a_parameter * p);
    walkers += walkers % 2;
    if (auto good = check(start, spread, walkers, options); !good) return fail(good.error());
    Ensemble ensemble(density, options);
    if (auto good = ensemble.begin(start, spread, walkers, random); !good) return fail(good.error());
    Record record(walkers, p);
    std::size_t steps = options.steps, burn_in = options.burn_in, done = 0;
    while (true) {
        for (; done < steps; ++done) {
            ensemble.step();
            if (done >= burn_in) record.add(ensemble.walkers());
        }
        Chain chain = record.chain();
        if (chain.diagnosis.converged || 2 * steps > options.most_steps) return chain;
        record.forget(burn_in);
        steps *= 2;
        burn_in *= 2;
    }
}

}  // namespace emberline::numerics
