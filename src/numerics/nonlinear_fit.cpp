// SPDX-License-Identifier: MIT
// Levenberg–Marquardt (Levenberg 1944, Quart. Appl. Math. 2, 164; Marquardt 1963, SIAM J. Appl. Math. 11,
// 431), each step solved by QR of the stacked matrix rather than by normal equations, which halve the digits.
// Notation: r residuals, J their Jacobian, D Marquardt's diagonal, λ the damping.
#include <fmt/format.h>

#include <cmath>
#include <limits>

#include "numerics/eigen_view.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::numerics {
namespace {

class Marquardt {
  public:
    Marquardt(const ResidualFunction& residuals, std::vector<double> start, std::size_t n,
              const NonlinearOptions& options)
        : residuals_(residuals),
          options_(options),
          p_(std::move(start)),
          trial_(p_.size()),
          r_(static_cast<Eigen::Index>(n)),
          forward_(static_cast<Eigen::Index>(n)),
          backward_(static_cast<Eigen::Index>(n)),
          jacobian_(static_cast<Eigen::Index>(n), static_cast<Eigen::Index>(p_.size())),
          scale_(Eigen::VectorXd::Zero(static_cast<Eigen::Index>(p_.size()))),
          stacked_(static_cast<Eigen::Index>(n + p_.size()), static_cast<Eigen::Index>(p_.size())),
          right_(static_cast<Eigen::Index>(n + p_.size())) {}

    bool evaluate(const std::vector<double>& p, Eigen::VectorXd& r) const {
        return residuals_(p, std::span(r.data(), static_cast<std::size_t>(r.size()))) && r.allFinite();
    }

    bool start() {
        if (!evaluate(p_, r_)) return false;
        chi2_ = r_.squaredNorm();
        return true;
    }

    // Returns false where no derivative can be had.
    bool differentiate() {
        for (std::size_t j = 0; j < p_.size(); ++j) {
            const double step =
                std::cbrt(std::numeric_limits<double>::epsilon()) * std::max(std::abs(p_[j]), 1e-8);
            trial_ = p_;
            trial_[j] = p_[j] + step;
            const bool up = evaluate(trial_, forward_);
            const double above = up ? trial_[j] : p_[j];
            trial_[j] = p_[j] - step;
            const bool down = evaluate(trial_, backward_);
            const double below = down ? trial_[j] : p_[j];
            if (!up && !down) return false;
            jacobian_.col(static_cast<Eigen::Index>(j)) =
                ((up ? forward_ : r_) - (down ? backward_ : r_)) / (above - below);
        }
        scale_ = scale_.cwiseMax(jacobian_.colwise().norm().transpose());
        for (Eigen::Index j = 0; j < scale_.size(); ++j) {
            if (scale_(j) == 0.0) scale_(j) = 1.0;
        }
        return true;
    }

    // One damped step; true when it lowered chi².
    bool attempt() {
        const Eigen::Index n = r_.size(), m = scale_.size();
        stacked_.topRows(n) = jacobian_;
        stacked_.bottomRows(m) = Eigen::MatrixXd((std::sqrt(lambda_) * scale_).asDiagonal());
        right_.head(n) = -r_;
        right_.tail(m).setZero();
        const Eigen::VectorXd step = stacked_.householderQr().solve(right_);
        relative_step_ = 0.0;
        for (std::size_t j = 0; j < p_.size(); ++j) {
            const double d = step(static_cast<Eigen::Index>(j));
            trial_[j] = p_[j] + d;
            relative_step_ =
                std::max(relative_step_, std::abs(d) / (std::abs(p_[j]) + options_.relative_step));
        }
        if (!step.allFinite() || !evaluate(trial_, forward_)) return false;
        const double chi2 = forward_.squaredNorm();
        if (!(chi2 <= chi2_)) return false;
        decrease_ = chi2_ > 0.0 ? (chi2_ - chi2) / chi2_ : 0.0;
        p_ = trial_;
        r_ = forward_;
        chi2_ = chi2;
        return true;
    }

    // True when converged, false when the iterations ran out.
    bool run(int& iterations) {
        for (iterations = 1; iterations <= options_.most_iterations; ++iterations) {
            if (!differentiate()) return false;
            bool lower = false;
            while (!(lower = attempt())) {
                if (relative_step_ < options_.relative_step) return true;
                lambda_ = std::max(lambda_ * 8.0, 1e-12);
                if (lambda_ > 1e20) return true;  // no direction leads down: rounding is reached
            }
            lambda_ *= 0.1;
            if (relative_step_ < options_.relative_step || decrease_ < options_.relative_decrease)
                return true;
        }
        return false;
    }

    Result<NonlinearFit> finish(bool converged, int iterations) {
        NonlinearFit fit;
        fit.parameters = p_;
        fit.chi2 = chi2_;
        fit.dof = static_cast<std::size_t>(r_.size() - scale_.size());
        fit.converged = converged;
        fit.iterations = iterations;
        const bool derivable = differentiate();
        const Eigen::VectorXd length = jacobian_.colwise().norm();
        if (derivable && length.minCoeff() > 0.0) {
            const Eigen::VectorXd inverse = length.cwiseInverse();
            const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(jacobian_ * inverse.asDiagonal());
            if (qr.rank() == scale_.size()) {
                const Eigen::Index m = scale_.size();
                const Eigen::MatrixXd upper = qr.matrixR().topLeftCorner(m, m);
                const Eigen::MatrixXd root =
                    upper.triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(m, m));
                const Eigen::MatrixXd permuted =
                    qr.colsPermutation() * (root * root.transpose()) * qr.colsPermutation().transpose();
                fit.covariance = matrix_of(inverse.asDiagonal() * permuted * inverse.asDiagonal());
                return fit;
            }
        }
        return fail({.what = "The parameters cannot be told apart by these values.",
                     .where = "non-linear fit",
                     .mend = "Use a simpler model, or add values."});
    }

  private:
    const ResidualFunction& residuals_;
    const NonlinearOptions& options_;
    std::vector<double> p_, trial_;
    Eigen::VectorXd r_, forward_, backward_;
    Eigen::MatrixXd jacobian_;
    Eigen::VectorXd scale_;
    Eigen::MatrixXd stacked_;
    Eigen::VectorXd right_;
    double chi2_ = 0.0, lambda_ = 1e-3, relative_step_ = 0.0, decrease_ = 0.0;
};

}  // namespace

Result<NonlinearFit> nonlinear_fit(const ResidualFunction& residuals, std::vector<double> start,
                                   std::size_t n_residuals, const NonlinearOptions& options) {
    if (start.empty() || n_residuals < start.size()) {
        return fail(
            {.what = fmt::format("{} values cannot determine {} parameters.", n_residuals, start.size()),
             .where = "non-linear fit",
             .mend = "Give at least as many values as there are parameters."});
    }
    Marquardt fit(residuals, std::move(start), n_residuals, options);
    if (!fit.start()) {
        return fail({.what = "The model has no value where the fit starts.",
                     .where = "non-linear fit",
                     .mend = "Start from other parameters."});
    }
    int iterations = 0;
    const bool converged = fit.run(iterations);
    return fit.finish(converged, iterations);
}

}  // namespace emberline::numerics
