// SPDX-License-Identifier: MIT
// Notation: x shared unknowns, n a block's own; N, b their normal equations; C = L Lᵀ the prior's covariance;
// B = I + Lᵀ N L, so that (N + C⁻¹)⁻¹ = L B⁻¹ Lᵀ without inverting C, which may be all but singular.
#include "numerics/shared_unknowns.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/eigen_view.hpp"

namespace emberline::numerics {
namespace {

using Eigen::Index;

bool fits(const DataBlock& block) {
    const std::size_t rows = block.shared.rows();
    return block.own.rows() == rows && block.y.size() == rows && block.weights.size() == rows &&
           block.own_precision.size() == block.own.columns() && block.own.columns() > 0;
}

tl::unexpected<Problem> misshapen() {
    return fail({.what = "The parts of a block of data do not have the same length.",
                 .where = "shared unknowns",
                 .mend = "Give as many rows, values and weights as there are data."});
}

struct Elimination {
    EliminatedBlock block;
    Eigen::MatrixXd cross;  // Aᵀ W G
    Eigen::VectorXd own_right;
};

Result<Elimination> eliminate_own(const DataBlock& block, const Eigen::VectorXd& y) {
    const auto weights = view(block.weights);
    const RowMajor weighted_own = weights.asDiagonal() * view(block.own);
    Eigen::MatrixXd own = view(block.own).transpose() * weighted_own;
    own.diagonal() += view(block.own_precision);
    const Eigen::VectorXd scale = own.diagonal();
    if (!own.allFinite() || !(scale.minCoeff() > 0.0)) {
        return fail({.what = "An unknown of a block of data is determined by none of its values.",
                     .where = "shared unknowns",
                     .mend = "Leave the unknown out or give it a prior."});
    }
    const Eigen::VectorXd root = scale.cwiseSqrt().cwiseInverse();
    const Eigen::LDLT<Eigen::MatrixXd> factor(root.asDiagonal() * own * root.asDiagonal());
    if (factor.info() != Eigen::Success || !(factor.vectorD().minCoeff() > 1e-13)) {
        return fail({.what = "Two unknowns of a block of data cannot be told apart.",
                     .where = "shared unknowns",
                     .mend = "Leave one of them out or give it a prior."});
    }
    const Eigen::MatrixXd inverse = root.asDiagonal() *
                                    factor.solve(Eigen::MatrixXd::Identity(own.rows(), own.cols())) *
                                    root.asDiagonal();
    Elimination out;
    out.cross = view(block.shared).transpose() * weighted_own;
    out.own_right = weighted_own.transpose() * y;
    out.block.gain = matrix_of(inverse * out.cross.transpose());
    out.block.covariance = matrix_of(inverse);
    out.block.at_zero = vector_of(inverse * out.own_right);
    return out;
}

// A prior without variance in some direction gets the least that keeps the factor regular.
Eigen::MatrixXd factor_of(const Matrix& covariance) {
    Eigen::MatrixXd c = view(covariance);
    const double least = 1e-9 * std::max(c.diagonal().maxCoeff(), 1e-300);
    for (int attempt = 0; attempt < 4; ++attempt) {
        c.diagonal().array() += least * std::pow(10.0, attempt);
        const Eigen::LLT<Eigen::MatrixXd> factor(c);
        if (factor.info() == Eigen::Success) return factor.matrixL();
    }
    return c.diagonal().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

struct Factors {
    Eigen::MatrixXd lower;             // L
    Eigen::LLT<Eigen::MatrixXd> both;  // of B
};

Result<Factors> factors_of(const Matrix& normal, const Matrix& covariance) {
    Factors f;
    f.lower = factor_of(covariance);
    Eigen::MatrixXd through = view(normal) * f.lower.triangularView<Eigen::Lower>();
    through = f.lower.transpose().triangularView<Eigen::Upper>() * through;
    through.diagonal().array() += 1.0;
    f.both.compute(through);
    if (!through.allFinite() || f.both.info() != Eigen::Success) {
        return fail({.what = "The unknowns that the data share cannot be solved for.",
                     .where = "shared unknowns",
                     .mend = "Look for data or errors that are not finite."});
    }
    return f;
}

}  // namespace

Result<EliminatedBlock> SharedUnknowns::eliminate(const DataBlock& block) {
    if (!fits(block)) return misshapen();
    auto done = eliminate_own(block, view(block.y));
    if (!done) return tl::unexpected(done.error());
    return std::move(done->block);
}

Result<EliminatedBlock> SharedUnknowns::add(const DataBlock& block) {
    if (!fits(block) || block.shared.columns() != right_.size()) return misshapen();
    auto done = eliminate_own(block, view(block.y));
    if (!done) return tl::unexpected(done.error());
    const Eigen::VectorXd root = view(block.weights).cwiseSqrt();
    const Eigen::MatrixXd scaled = (root.asDiagonal() * view(block.shared)).transpose();
    const auto k = static_cast<Index>(right_.size());
    Eigen::MatrixXd lower = Eigen::MatrixXd::Zero(k, k);
    lower.selfadjointView<Eigen::Lower>().rankUpdate(scaled);
    const Eigen::MatrixXd gain = view(done->block.gain);
    const Eigen::VectorXd right =
        scaled * root.cwiseProduct(view(block.y)) - gain.transpose() * done->own_right;
    lower.triangularView<Eigen::Lower>() -= done->cross * gain;
    for (Index r = 0; r < k; ++r) {
        for (Index c = 0; c <= r; ++c) {
            normal_(static_cast<std::size_t>(r), static_cast<std::size_t>(c)) += lower(r, c);
            if (c < r) normal_(static_cast<std::size_t>(c), static_cast<std::size_t>(r)) += lower(r, c);
        }
        right_[static_cast<std::size_t>(r)] += right(r);
    }
    return std::move(done->block);
}

Result<FieldPosterior> field_posterior(const Matrix& normal, std::span<const double> right,
                                       std::span<const double> mean, const Matrix& covariance) {
    auto f = factors_of(normal, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::VectorXd rest = view(right) - view(normal) * view(mean);
    const Eigen::MatrixXd half = f->both.matrixL().solve(f->lower.transpose());  // Σ = halfᵀ half
    const Eigen::VectorXd shifted = view(mean) + half.transpose() * (half * rest);
    const auto k = half.cols();
    Eigen::MatrixXd sigma = Eigen::MatrixXd::Zero(k, k);
    sigma.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose());
    FieldPosterior out;
    out.mean = vector_of(shifted);
    out.covariance = matrix_of(sigma.selfadjointView<Eigen::Lower>());
    return out;
}

Result<double> minus_two_log_evidence(const Matrix& normal, std::span<const double> right,
                                      std::span<const double> mean, const Matrix& covariance) {
    auto f = factors_of(normal, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::VectorXd of_mean = view(normal) * view(mean);
    const Eigen::VectorXd seen = f->both.matrixL().solve(f->lower.transpose() * (view(right) - of_mean));
    const double fit = view(mean).dot(of_mean) - 2.0 * view(mean).dot(view(right)) - seen.squaredNorm();
    return fit + 2.0 * f->both.matrixLLT().diagonal().array().log().sum();
}

Result<NormalEquations> marginal_of_mean(const Matrix& normal, std::span<const double> right,
                                         const Matrix& covariance) {
    auto f = factors_of(normal, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::MatrixXd half =
        f->both.matrixL().solve(f->lower.transpose() * Eigen::MatrixXd(view(normal)));
    const Eigen::VectorXd half_right = f->both.matrixL().solve(f->lower.transpose() * view(right));
    const Eigen::MatrixXd left = view(normal) - half.transpose() * half;
    const Eigen::VectorXd left_right = view(right) - half.transpose() * half_right;
    return NormalEquations{matrix_of(left), vector_of(left_right)};
}

std::vector<double> non_negative_solution(const Matrix& normal, std::span<const double> right) {
    const auto n = static_cast<Index>(right.size());
    const Eigen::MatrixXd a = view(normal);
    const Eigen::VectorXd b = view(right);
    Eigen::VectorXd x = Eigen::VectorXd::Zero(n);
    std::vector<Index> active;
    const auto solve_active = [&] {
        Eigen::MatrixXd part(active.size(), active.size());
        Eigen::VectorXd rhs(active.size());
        for (std::size_t r = 0; r < active.size(); ++r) {
            rhs(static_cast<Index>(r)) = b(active[r]);
            for (std::size_t c = 0; c < active.size(); ++c)
                part(static_cast<Index>(r), static_cast<Index>(c)) = a(active[r], active[c]);
        }
        part.diagonal() *= 1.0 + 1e-10;
        return Eigen::VectorXd(part.ldlt().solve(rhs));
    };
    for (Index turn = 0; turn < 3 * n; ++turn) {
        const Eigen::VectorXd gradient = b - a * x;
        Index best = -1;
        double most = 1e-9;
        for (Index i = 0; i < n; ++i) {
            if (std::find(active.begin(), active.end(), i) != active.end() || !(a(i, i) > 0.0)) continue;
            const double gain = gradient(i) / std::sqrt(a(i, i));
            if (gain > most * (1.0 + std::abs(b(i)) / std::sqrt(a(i, i)))) {
                best = i;
                most = gain;
            }
        }
        if (best < 0) break;
        active.push_back(best);
        while (!active.empty()) {
            const Eigen::VectorXd wanted = solve_active();
            double step = 1.0;
            for (std::size_t r = 0; r < active.size(); ++r) {
                const double w = wanted(static_cast<Index>(r)), now = x(active[r]);
                if (!(w > 0.0)) step = std::min(step, now > 0.0 ? now / (now - w) : 0.0);
            }
            for (std::size_t r = 0; r < active.size(); ++r)
                x(active[r]) += step * (wanted(static_cast<Index>(r)) - x(active[r]));
            if (step >= 1.0) break;
            std::erase_if(active, [&](Index i) {
                if (x(i) > 1e-14 * x.cwiseAbs().maxCoeff()) return false;
                x(i) = 0.0;
                return true;
            });
        }
    }
    return vector_of(x);
}

NormalEquations projected(const Matrix& normal, std::span<const double> right, const Matrix& basis) {
    const auto b = view(basis);
    return {matrix_of(b.transpose() * (view(normal) * b)), vector_of(b.transpose() * view(right))};
}

}  // namespace emberline::numerics
