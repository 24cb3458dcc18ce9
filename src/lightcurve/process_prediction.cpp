// SPDX-License-Identifier: MIT
#include "lightcurve/process_prediction.hpp"

#include <cmath>

namespace emberline::lightcurve {
namespace {

constexpr double level_prior_mag = 10.0, slope_prior_mag_per_d = 1.0;

class ProcessPrediction final : public Prediction {
  public:
    ProcessPrediction(std::vector<WeightedPosterior> posteriors, const ProcessFrame& frame)
        : posteriors_(std::move(posteriors)), frame_(frame) {}

    [[nodiscard]] ValueWithError magnitude(double bjd_tdb) const override {
        const double days = bjd_tdb - frame_.reference_bjd_tdb;
        const double own_time = frame_.clock.at(days);
        const auto basis = process_basis(days, frame_.commons);
        double mean = 0.0, square = 0.0, variance = 0.0;
        for (const WeightedPosterior& p : posteriors_) {
            const auto there = p.posterior.at(own_time, basis);
            mean += p.weight * there.mean;
            square += p.weight * there.mean * there.mean;
            variance += p.weight * there.variance;
        }
        return {frame_.centre_mag + mean, std::sqrt(variance + std::max(square - mean * mean, 0.0))};
    }

    [[nodiscard]] numerics::Matrix draws(std::span<const double> bjd_tdb, std::size_t count,
                                         numerics::Random& random) const override {
        std::vector<double> own_times(bjd_tdb.size());
        numerics::Matrix basis(own_times.size(), frame_.commons + free_of_mean);
        for (std::size_t i = 0; i < own_times.size(); ++i) {
            const double days = bjd_tdb[i] - frame_.reference_bjd_tdb;
            own_times[i] = frame_.clock.at(days);
            const auto row = process_basis(days, frame_.commons);
            for (std::size_t c = 0; c < row.size(); ++c)
                basis(i, c) = row[c];
        }
        // How many come of each posterior is drawn too: any row may be taken for a fair one.
        std::vector<std::size_t> chosen(count);
        std::vector<std::size_t> wanted(posteriors_.size(), 0);
        for (std::size_t& which : chosen) {
            double left = random.uniform();
            for (which = 0; which + 1 < posteriors_.size() && left >= posteriors_[which].weight; ++which)
                left -= posteriors_[which].weight;
            ++wanted[which];
        }
        std::vector<numerics::Matrix> drawn;
        for (std::size_t k = 0; k < posteriors_.size(); ++k)
            drawn.push_back(posteriors_[k].posterior.draws(own_times, basis, wanted[k], random));
        numerics::Matrix curves(count, own_times.size());
        for (std::size_t r = 0; r < count; ++r) {
            const std::size_t from = --wanted[chosen[r]];
            for (std::size_t c = 0; c < own_times.size(); ++c)
                curves(r, c) = frame_.centre_mag + drawn[chosen[r]](from, c);
        }
        return curves;
    }

  private:
    std::vector<WeightedPosterior> posteriors_;
    ProcessFrame frame_;
};

}  // namespace

std::vector<double> process_basis(double days, std::size_t commons) {
    std::vector<double> basis(commons + free_of_mean, 0.0);
    basis[commons] = level_prior_mag;
    basis[commons + 1] = slope_prior_mag_per_d * days;
    return basis;
}

std::shared_ptr<const Prediction> process_prediction(std::vector<WeightedPosterior> posteriors,
                                                     const ProcessFrame& frame) {
    return std::make_shared<const ProcessPrediction>(std::move(posteriors), frame);
}

}  // namespace emberline::lightcurve
