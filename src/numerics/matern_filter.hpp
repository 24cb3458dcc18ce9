// SPDX-License-Identifier: MIT
// numerics/matern_filter — a Gaussian process with a Matérn covariance, seen through noise and a few linear
// terms, for the cost of one pass over its points: y = f(t) + B b + noise, where f has the covariance K, the
// noise the diagonal one D, and the coefficients b are independent unit Gaussians. So the covariance of y is
// K + D + B Bᵀ; a known offset of size s is a column of B, a mean line under wide priors two more.
// Source: the state-space form is that of Hartikainen & Särkkä 2010, filter and smoother as in Särkkä & Solin
// 2019, chapter 12; the covariances are those of Rasmussen & Williams 2006, section 4.2.1.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "numerics/matrix.hpp"
#include "numerics/random.hpp"
#include "quantities/problem.hpp"

namespace emberline::numerics {

enum class MaternOrder { three_halves, five_halves };

// With r = √3 |lag| / time_scale: amplitude² (1 + r) e⁻ʳ;
// with r = √5 |lag| / time_scale: amplitude² (1 + r + r²/3) e⁻ʳ.
struct Matern {
    MaternOrder order = MaternOrder::three_halves;
    double amplitude = 1.0;   // standard deviation of f
    double time_scale = 1.0;  // in the unit of the times
};
[[nodiscard]] double covariance(const Matern& process, double lag);

struct MaternData {
    std::vector<double> times;  // ascending; equal ones may follow each other
    std::vector<double> values;
    std::vector<double> variances;  // of the noise, above zero
    Matrix basis;  // B: one row a value, one column a coefficient; 0 × 0 where there are none
};
// Problem: no values, lists of different lengths, a number that is not finite, times that go back, a variance
// that is not positive.
[[nodiscard]] Result<void> check(const MaternData& data);

// How probable the values are. `data` must pass check(), amplitude and time scale be above zero.
struct MaternEvidence {
    std::size_t n = 0;
    double chi2 = 0.0;  // least (y − B b)ᵀ (K + D)⁻¹ (y − B b) + bᵀ b, which is yᵀ (K + D + B Bᵀ)⁻¹ y
    double log_determinant = 0.0;                // of K + D
    std::vector<double> column_log_determinant;  // what each further column of B adds to it
    // With the first `integrated` coefficients integrated over, and the others held at their best.
    [[nodiscard]] double minus_two_log_likelihood(std::size_t integrated) const;
    // All of them integrated over: the marginal likelihood.
    [[nodiscard]] double minus_two_log_likelihood() const;
};
[[nodiscard]] MaternEvidence evidence_of(const Matern& process, const MaternData& data);

struct MeanAndVariance {
    double mean = 0.0, variance = 0.0;
};

// What the values leave of f and b. Holds what it needs; a copy is cheap.
class MaternPosterior {
  public:
    // Problem: as check(), and an amplitude or a time scale that is not above zero.
    static Result<MaternPosterior> make(const Matern& process, const MaternData& data);

    [[nodiscard]] const MaternEvidence& evidence() const;
    [[nodiscard]] const std::vector<double>& coefficients() const;  // the mean of b
    [[nodiscard]] const Matrix& coefficient_covariance() const;
    // Of f(t) + basis · b, at any time; an empty basis means zeros. The cost is that of finding the time.
    [[nodiscard]] MeanAndVariance at(double time, std::span<const double> basis = {}) const;
    // Of f + B b at the values themselves, in their order.
    [[nodiscard]] const std::vector<MeanAndVariance>& at_values() const;
    // Joint draws of f(t) + basis · b at ascending times, one row a draw; `basis` one row a time, or 0 × 0.
    // By simulation backwards in time: one pass over the points between first and last, then, a draw, over
    // the times alone.
    [[nodiscard]] Matrix draws(std::span<const double> times, const Matrix& basis, std::size_t count,
                               Random& random) const;

    struct Smoother;

  private:
    explicit MaternPosterior(std::shared_ptr<const Smoother> smoother);
    std::shared_ptr<const Smoother> smoother_;
};

}  // namespace emberline::numerics
