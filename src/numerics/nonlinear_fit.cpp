// SPDX-License-Identifier: MIT
// Levenberg–Marquardt (Levenberg 1944, Quart. Appl. Math. 2, 164; Marquardt 1963, SIAM J. Appl. Math. 11,
// 431), each step solved by QR rather than by normal equations, which halve the digits. J is factored once an
// iteration; another damping then costs only a system of the parameters' size (Moré 1978, LNM 630, 105).
// Notation: r residuals, J their Jacobian, R and Qᵀr from QR of [J r], D Marquardt's diagonal, λ the damping.
#include <fmt/format.h>

#include <cmath>
#include <limits>

#include "numerics/eigen_view.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::numerics {
namespace {

constexpr double first_guess = 1e-3;  // of the scale of a parameter that starts at zero,
constexpr double widest_guess = 1.0;  // and the most that its scale may turn out to be

class Marquardt {
  public:
    Marquardt(const ResidualFunction& residuals, std::vector<double> start, std::size_t n,
              const NonlinearOptions& options, double damping)
        : residuals_(residuals),
          options_(options),
          p_(std::move(start)),
          trial_(p_.size()),
          r_(static_cast<Eigen::Index>(n)),
          forward_(static_cast<Eigen::Index>(n)),
          backward_(static_cast<Eigen::Index>(n)),
          jacobian_(static_cast<Eigen::Index>(n), static_cast<Eigen::Index>(p_.size())),
          scale_(Eigen::VectorXd::Zero(static_cast<Eigen::Index>(p_.size()))),
          wide_(static_cast<Eigen::Index>(n), static_cast<Eigen::Index>(p_.size()) + 1),
          factor_(wide_.rows(), wide_.cols()),
          stacked_(2 * scale_.size(), scale_.size() + 1),
          stacked_factor_(stacked_.rows(), stacked_.cols()),
          step_(scale_.size()),
          lambda_(damping) {}

    bool evaluate(const std::vector<double>& p, Eigen::VectorXd& r) const {
        return residuals_(p, std::span(r.data(), static_cast<std::size_t>(r.size()))) && r.allFinite();
    }

    bool start() {
        if (!evaluate(p_, r_)) return false;
        chi2_ = r_.squaredNorm();
        for (const double p : p_)
            reach_.push_back(p != 0.0 ? std::abs(p) : widest_guess);
        return true;
    }

    // Wide enough for rounding, narrow enough for curvature: a part of the parameter, or of the change that
    // moves the residuals by one sigma, whichever is more. The second matters where a parameter is near zero;
    // a parameter that hardly matters yet must not reach beyond values it has had.
    [[nodiscard]] double width(std::size_t j) const {
        const double length = scale_(static_cast<Eigen::Index>(j));
        const double one_sigma = length > 0.0 ? 1.0 / length : first_guess;
        return std::cbrt(std::numeric_limits<double>::epsilon()) *
               std::max(std::abs(p_[j]), std::min(one_sigma, reach_[j]));
    }

    // Returns false where no derivative can be had.
    bool differentiate() {
        trial_ = p_;
        for (std::size_t j = 0; j < p_.size(); ++j) {
            const double step = width(j);
            trial_[j] = p_[j] + step;
            const bool up = evaluate(trial_, forward_);
            const double above = up ? trial_[j] : p_[j];
            trial_[j] = p_[j] - step;
            const bool down = evaluate(trial_, backward_);
            const double below = down ? trial_[j] : p_[j];
            trial_[j] = p_[j];
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

    void factor() {
        const Eigen::Index m = scale_.size();
        wide_.leftCols(m) = jacobian_;
        wide_.col(m) = r_;
        factor_.compute(wide_);
    }

    // One damped step; true when it lowered chi².
    bool attempt() {
        const Eigen::Index m = scale_.size();
        // The rows of √λ D below R, and Qᵀr beside it: the same triangle as that of the full stacked matrix.
        stacked_.setZero();
        stacked_.topLeftCorner(m, m).triangularView<Eigen::Upper>() =
            factor_.matrixQR().topRows(m).leftCols(m);
        stacked_.col(m).head(m) = factor_.matrixQR().col(m).head(m);
        stacked_.bottomLeftCorner(m, m).diagonal() = std::sqrt(lambda_) * scale_;
        stacked_factor_.compute(stacked_);
        step_ = -stacked_factor_.matrixQR().col(m).head(m);
        stacked_factor_.matrixQR().topLeftCorner(m, m).triangularView<Eigen::Upper>().solveInPlace(step_);
        relative_step_ = 0.0;
        for (std::size_t j = 0; j < p_.size(); ++j) {
            const double d = step_(static_cast<Eigen::Index>(j));
            trial_[j] = p_[j] + d;
            relative_step_ =
                std::max(relative_step_, std::abs(d) / (std::abs(p_[j]) + options_.relative_step));
        }
        if (!step_.allFinite() || !evaluate(trial_, forward_)) return false;
        const double chi2 = forward_.squaredNorm();
        if (!(chi2 <= chi2_)) return false;
        decrease_ = chi2_ > 0.0 ? (chi2_ - chi2) / chi2_ : 0.0;
        p_ = trial_;
        for (std::size_t j = 0; j < p_.size(); ++j)
            reach_[j] = std::max(reach_[j], std::abs(p_[j]));
        r_ = forward_;
        chi2_ = chi2;
        return true;
    }

    // True when converged, false when the iterations ran out.
    bool run(int& iterations) {
        for (iterations = 1; iterations <= options_.most_iterations; ++iterations) {
            if (!differentiate()) return false;
            factor();
            while (!attempt()) {
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
    std::vector<double> p_, trial_, reach_;
    Eigen::VectorXd r_, forward_, backward_;
    Eigen::MatrixXd jacobian_;
    Eigen::VectorXd scale_;
    Eigen::MatrixXd wide_;
    Eigen::HouseholderQR<Eigen::MatrixXd> factor_;
    Eigen::MatrixXd stacked_;
    Eigen::HouseholderQR<Eigen::MatrixXd> stacked_factor_;
    Eigen::VectorXd step_;
    double lambda_;
    double chi2_ = 0.0, relative_step_ = 0.0, decrease_ = 0.0;
};

}  // namespace

Result<NonlinearFit> nonlinear_fit(const ResidualFunction& residuals, const std::vector<double>& start,
                                   std::size_t n_residuals, const NonlinearOptions& options) {
    if (start.empty() || n_residuals < start.size()) {
        return fail(
            {.what = fmt::format("{} values cannot determine {} parameters.", n_residuals, start.size()),
             .where = "non-linear fit",
             .mend = "Give at least as many values as there are parameters."});
    }
    // From a start far away, a first step too long may land where a parameter no longer matters (a rate so
    // high that all is over before the first value): then again from the start, in shorter steps.
    Result<NonlinearFit> best = fail({});
    for (const double damping : {1e-3, 1.0, 1e3}) {
        Marquardt fit(residuals, start, n_residuals, options, damping);
        if (!fit.start()) {
            return fail({.what = "The model has no value where the fit starts.",
                         .where = "non-linear fit",
                         .mend = "Start from other parameters."});
        }
        int iterations = 0;
        const bool converged = fit.run(iterations);
        auto found = fit.finish(converged, iterations);
        if (found && converged) return found;
        if (found ? !best || found->chi2 < best->chi2 : !best) best = std::move(found);
    }
    return best;
}

}  // namespace emberline::numerics
