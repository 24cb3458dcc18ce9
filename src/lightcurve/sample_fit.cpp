// SPDX-License-Identifier: MIT
#include "lightcurve/sample_fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/posterior.hpp"

namespace emberline::lightcurve {
namespace {

constexpr std::size_t most_times_longer = 8;
constexpr std::size_t rows_for_one_magnitude = 2000;  // of the sample: errors to 2 %, and no slower

class OfSample final : public Prediction {
  public:
    OfSample(std::shared_ptr<const Model> model, double reference_bjd_tdb, numerics::Matrix samples)
        : model_(std::move(model)), reference_(reference_bjd_tdb), samples_(std::move(samples)) {}

    // Mean and standard deviation of the curves.
    [[nodiscard]] ValueWithError magnitude(double bjd_tdb) const override {
        const std::size_t stride = std::max<std::size_t>(1, samples_.rows() / rows_for_one_magnitude);
        double n = 0.0, mean = 0.0, sum2 = 0.0;
        for (std::size_t row = 0; row < samples_.rows(); row += stride) {
            const double mag = model_->magnitude(bjd_tdb - reference_, samples_.row(row));
            const double off = mag - mean;
            n += 1.0;
            mean += off / n;
            sum2 += off * (mag - mean);
        }
        return {mean, std::sqrt(sum2 / (n - 1.0))};
    }

    [[nodiscard]] numerics::Matrix draws(std::span<const double> bjd_tdb, std::size_t count,
                                         numerics::Random& random) const override {
        numerics::Matrix curves(count, bjd_tdb.size());
        for (std::size_t k = 0; k < count; ++k) {
            const auto row =
                static_cast<std::size_t>(random.uniform() * static_cast<double>(samples_.rows()));
            const auto parameters = samples_.row(std::min(row, samples_.rows() - 1));
            for (std::size_t i = 0; i < bjd_tdb.size(); ++i)
                curves(k, i) = model_->magnitude(bjd_tdb[i] - reference_, parameters);
        }
        return curves;
    }

  private:
    std::shared_ptr<const Model> model_;
    double reference_;
    numerics::Matrix samples_;
};

numerics::Matrix covariance_of(const numerics::Matrix& samples) {
    const std::size_t p = samples.columns();
    const auto n = static_cast<double>(samples.rows());
    std::vector<double> mean(p);
    for (std::size_t row = 0; row < samples.rows(); ++row) {
        for (std::size_t j = 0; j < p; ++j)
            mean[j] += samples(row, j) / n;
    }
    numerics::Matrix covariance(p, p);
    for (std::size_t row = 0; row < samples.rows(); ++row) {
        for (std::size_t j = 0; j < p; ++j) {
            for (std::size_t k = 0; k < p; ++k)
                covariance(j, k) += (samples(row, j) - mean[j]) * (samples(row, k) - mean[k]) / (n - 1.0);
        }
    }
    return covariance;
}

}  // namespace

Result<SampledFit> sample_fit(const LightCurve& curve, std::shared_ptr<const Model> model,
                              const CurveFit& fit, const FitOptions& options,
                              const numerics::SamplerOptions& sampler, std::uint64_t seed) {
    const auto posterior = Posterior::make(curve, model, fit, options);
    if (!posterior) return fail(posterior.error());
    const numerics::LogDensity density = [&](std::span<const double> parameters) {
        return -0.5 * posterior->minus_two_log(parameters);
    };
    const numerics::Matrix spread = numerics::cholesky_lower(fit.covariance);
    numerics::SamplerOptions longer = sampler;
    longer.most_steps = std::max(sampler.most_steps, most_times_longer * sampler.steps);
    auto chain = numerics::sample_ensemble(density, fit.parameters, spread, numerics::Random(seed), longer);
    if (!chain) return fail(chain.error());
    if (!chain->diagnosis.converged) {
        return fail(
            {.what = fmt::format("The sample of the model {} has {}.", fit.model, chain->diagnosis.summary),
             .where = {},
             .mend = "Take more steps, or a simpler model: the points may leave two answers."});
    }
    SampledFit sampled{.fit = fit, .chain = std::move(*chain)};
    sampled.fit.covariance = covariance_of(sampled.chain.samples);
    sampled.fit.prediction =
        std::make_shared<OfSample>(std::move(model), fit.reference_bjd_tdb, sampled.chain.samples);
    sampled.fit.remarks.push_back(
        fmt::format("Errors are those of a sample of the posterior, {}.", sampled.chain.diagnosis.summary));
    return sampled;
}

}  // namespace emberline::lightcurve
