// SPDX-License-Identifier: MIT
// lightcurve/likelihood — a curve and a model as one −2 ln L, and the step downhill from where one stands.
// Needs: numerics::LowRankCovariance.  Feeds: fit.
#pragma once

#include <span>
#include <vector>

#include "lightcurve/model.hpp"
#include "numerics/low_rank_covariance.hpp"
#include "numerics/matrix.hpp"

namespace emberline::lightcurve {

// What is not in the points but found by the fit.
struct Noise {
    double extra_scatter_mag = 0.0;
    std::vector<double> weights;  // one a Gaussian row: its random variance is divided by it
};

// Everything about one place in parameter space.
struct Expansion {
    std::vector<double> parameters;
    std::vector<double> residuals;        // Gaussian rows, measured − model, in flux or magnitudes
    numerics::Matrix slopes;              // rows × parameters: d model / d parameter
    std::vector<double> plain_variances;  // of the rows, σ_x included, before robust weights
    numerics::LowRankCovariance covariance;
    double chi2 = 0.0;             // rᵀ C⁻¹ r
    double censored = 0.0;         // Σ −2 ln L of the limits without flux
    numerics::Matrix normal;       // half of the Hessian of −2 ln L with C held
    std::vector<double> downhill;  // minus half of its gradient
};

class Likelihood {
  public:
    // `used` indexes curve.points, all of which check_point() accepts.
    Likelihood(const LightCurve& curve, const Model& model, std::vector<std::size_t> used,
               double reference_bjd_tdb, double mistaken_limit_probability);

    [[nodiscard]] std::size_t rows() const { return rows_.size(); }
    [[nodiscard]] std::size_t row_point(std::size_t row) const { return rows_[row].point; }
    [[nodiscard]] std::size_t limits() const { return limits_.size(); }
    [[nodiscard]] std::size_t limit_point(std::size_t limit) const { return limits_[limit].point; }
    [[nodiscard]] double limit_trust(std::size_t limit, std::span<const double> parameters) const;

    // Problem: a variance that the covariance refuses.
    [[nodiscard]] Result<Expansion> expand(std::vector<double> parameters, const Noise& noise) const;
    // −2 ln L apart from its constant, at other parameters with the covariance of `around`.
    [[nodiscard]] double objective(std::span<const double> parameters, const Expansion& around) const;

    // Gauss–Newton with Levenberg's damping. C follows the parameters from step to step but is held within
    // one: its dependence on them carries no information that we want (it would bias a fit towards large
    // errors). Problem: no convergence, or parameters that the points do not determine.
    [[nodiscard]] Result<Expansion> climb(std::vector<double> start, const Noise& noise) const;

  private:
    struct Row {
        std::size_t point;
        double days;
        bool in_flux;
        double value, err;
    };
    struct Limit {
        std::size_t point;
        double days;
        double flux, err;  // the limit as a flux, and one sigma
    };
    [[nodiscard]] double model_magnitude(double days, std::span<const double> parameters) const;
    [[nodiscard]] std::vector<double> magnitude_slopes(double days, std::span<const double> parameters) const;

    const LightCurve& curve_;
    const Model& model_;
    std::vector<Row> rows_;
    std::vector<Limit> limits_;
    double mistaken_limit_;
};

// Inverse of a normal matrix. Problem: the parameters are not determined.
[[nodiscard]] Result<numerics::Matrix> inverse_normal(const numerics::Matrix& normal);

}  // namespace emberline::lightcurve
