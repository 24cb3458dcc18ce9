// SPDX-License-Identifier: MIT
#include "lightcurve/parameter_prediction.hpp"

#include <algorithm>
#include <cmath>

namespace emberline::lightcurve {
namespace {

class OfParameters final : public Prediction {
  public:
    OfParameters(std::shared_ptr<const Model> model, double reference_bjd_tdb, std::vector<double> parameters,
                 numerics::Matrix covariance)
        : model_(std::move(model)),
          reference_(reference_bjd_tdb),
          parameters_(std::move(parameters)),
          covariance_(std::move(covariance)),
          lower_(numerics::cholesky_lower(covariance_)) {}

    [[nodiscard]] ValueWithError magnitude(double bjd_tdb) const override {
        const double days = bjd_tdb - reference_;
        std::vector<double> slopes(parameters_.size());
        model_->gradient(days, parameters_, slopes);
        const double variance = numerics::quadratic_form(covariance_, slopes, slopes);
        return {model_->magnitude(days, parameters_), std::sqrt(std::max(variance, 0.0))};
    }

    [[nodiscard]] numerics::Matrix draws(std::span<const double> bjd_tdb, std::size_t count,
                                         numerics::Random& random) const override {
        numerics::Matrix curves(count, bjd_tdb.size());
        for (std::size_t k = 0; k < count; ++k) {
            const std::vector<double> drawn = draw(random);
            for (std::size_t i = 0; i < bjd_tdb.size(); ++i)
                curves(k, i) = model_->magnitude(bjd_tdb[i] - reference_, drawn);
        }
        return curves;
    }

  private:
    // Outside the bounds again, a few times; a best estimate that hugs a bound stands for itself.
    [[nodiscard]] std::vector<double> draw(numerics::Random& random) const {
        constexpr int most_attempts = 50;
        const std::size_t p = parameters_.size();
        std::vector<double> unit(p);
        for (int attempt = 0; attempt < most_attempts; ++attempt) {
            for (double& u : unit)
                u = random.gaussian();
            std::vector<double> drawn = numerics::multiply(lower_, unit);
            for (std::size_t j = 0; j < p; ++j)
                drawn[j] += parameters_[j];
            if (model_->allowed(drawn)) return drawn;
        }
        return parameters_;
    }

    std::shared_ptr<const Model> model_;
    double reference_;
    std::vector<double> parameters_;
    numerics::Matrix covariance_, lower_;
};

}  // namespace

std::shared_ptr<const Prediction> parameter_prediction(std::shared_ptr<const Model> model,
                                                       double reference_bjd_tdb,
                                                       std::vector<double> parameters,
                                                       numerics::Matrix covariance) {
    return std::make_shared<OfParameters>(std::move(model), reference_bjd_tdb, std::move(parameters),
                                          std::move(covariance));
}

}  // namespace emberline::lightcurve
