// SPDX-License-Identifier: MIT
// lightcurve/likelihood — a curve, a model and its priors as one −2 ln L, and the way downhill from where one
// stands. Needs: model, student_t, censored. Feeds: fit, posterior, profile.
//
// Each common error is an unknown with the prior N(0, 1), found along with the parameters: for Gaussian
// points that is C = D + V Vᵀ exactly (Woodbury), no n × n matrix is formed, and it gives their values. The
// unknowns are integrated out of −2 ln L by Laplace's method, which is exact for Gaussian points.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "lightcurve/model.hpp"
#include "numerics/matrix.hpp"

namespace emberline::lightcurve {

// The chance that a limit is a mistake, in a robust fit: at 3 sigma it changes nothing, at 10 it wins.
[[nodiscard]] constexpr double mistaken_limit(bool robust) {
    return robust ? 1e-3 : 0.0;
}

// What is not in the points but found by the fit.
struct Noise {
    double extra_scatter_mag = 0.0;    // σ_x
    std::optional<double> student_nu;  // absent: Gaussian
    double widening = 1.0;             // of every scale, on the way in from a start that may be poor
};

struct Place {
    std::vector<double> parameters;
    std::vector<double> commons;  // one a common error of the curve, in units of its sigma
};

// Everything about one place. The unknowns are the parameters and, behind them, the common errors.
struct Expansion {
    Place place;
    Noise noise;
    std::vector<double> residuals;    // measured − model − common errors, in flux or magnitudes
    std::vector<double> variances;    // their squared scales, σ_x included
    std::vector<double> flux_slopes;  // d row / d magnitude: −F/1.0857 in flux, 1 in magnitudes
    numerics::Matrix slopes;          // rows × unknowns: d model / d unknown
    double depth = 0.0;               // −2 ln L of rows, limits and priors, without scales and constants
    double depth_beside = 0.0;        // of limits and priors alone
    // Half of the Hessian of −2 ln L with scales and weights held, and minus half of its gradient. `beside`
    // is the part of both that is not from the rows: limits, priors.
    numerics::Matrix normal, normal_beside;
    std::vector<double> downhill, downhill_beside;

    [[nodiscard]] std::vector<double> squared_residuals() const;  // in units of the scales
};

// Levenberg's, in units of the largest curvature met; a step that did what was expected multiplies it by
// `easing`.
struct Damping {
    double value = 1e-6, easing = 0.1;
    std::vector<double> curvature = {};  // the largest of each unknown so far
};

// How near to the bottom a climb ends: within 0.01 sigma of it, which −2 ln L hardly notices, or beyond any
// use.
enum class Precision { rough, full };

class Likelihood {
  public:
    // `used` indexes curve.points, all of which check_point() accepts. What is needed is copied, apart from
    // the model.
    Likelihood(const LightCurve& curve, const Model& model, const std::vector<std::size_t>& used,
               double reference_bjd_tdb, double mistaken_limit_probability);

    [[nodiscard]] std::size_t rows() const { return rows_.size(); }
    [[nodiscard]] std::size_t row_point(std::size_t row) const { return rows_[row].point; }
    [[nodiscard]] double row_variance(std::size_t row) const { return rows_[row].err * rows_[row].err; }
    [[nodiscard]] std::size_t limits() const { return limits_.size(); }
    [[nodiscard]] std::size_t limit_point(std::size_t limit) const { return limits_[limit].point; }
    [[nodiscard]] double limit_trust(std::size_t limit, std::span<const double> parameters) const;
    [[nodiscard]] std::size_t parameters() const { return priors_.size(); }
    [[nodiscard]] std::size_t commons() const { return common_.columns(); }
    [[nodiscard]] std::size_t priors() const;                                    // parameters that have one
    [[nodiscard]] double prior_depth(std::span<const double> parameters) const;  // Σ (θ − mean)²/σ²
    // At those parameters, common errors at zero.
    [[nodiscard]] Place place(std::vector<double> parameters) const;

    [[nodiscard]] Expansion expand(Place place, const Noise& noise) const;

    // Downhill by Gauss–Newton steps with Levenberg's damping and the t's weights taken anew at each. The
    // scales follow the parameters from step to step but are held within one: their dependence carries no
    // information that we want (it would bias a fit towards large errors). Values that the model does not
    // allow are not entered; where the way leads out of bounds, the end is at the bound. `held`: parameters
    // that stay as they are. Problem: no convergence, or parameters that the points do not determine.
    [[nodiscard]] Result<Expansion> climb(Place start, const Noise& noise,
                                          Precision precision = Precision::full,
                                          const std::vector<bool>& held = {}) const;
    // At most so many steps, wherever they lead: for looking at starts. `damping` is where the last call left
    // it.
    [[nodiscard]] Expansion approach(Expansion at, const Noise& noise, int steps, Damping& damping) const;

    // Normalised, scales following the parameters, the common errors integrated out about their most probable
    // values here (looked for from those of `near`); a prior counts as (θ − mean)²/σ². Infinite where the
    // model does not allow the parameters or has no finite value.
    [[nodiscard]] double minus_two_log(Place near, const Noise& noise) const;

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
    class Walk;
    struct Measured {
        double residual, variance, flux_slope;
    };
    [[nodiscard]] double common_magnitude(std::size_t row, std::span<const double> commons) const;
    [[nodiscard]] Measured measured(std::size_t row, double magnitude, const Noise& noise) const;
    [[nodiscard]] double limit_z(const Limit& limit, double magnitude) const;
    void add_beside(Expansion& at) const;
    // Depth elsewhere, with the scales of `around`.
    [[nodiscard]] double depth(const Place& place, const Expansion& around) const;

    const Model* model_;
    std::vector<Row> rows_;
    std::vector<Limit> limits_;
    numerics::Matrix common_;  // rows × common errors, mag
    std::vector<std::optional<Prior>> priors_;
    double mistaken_limit_;
};

}  // namespace emberline::lightcurve
