// SPDX-License-Identifier: MIT
// Notation: x shared unknowns, n a block's own; N = R Rᵀ, b = R y their normal equations; C the prior's
// covariance; B = I + Rᵀ C R, so that (N + C⁻¹)⁻¹ = C − C R B⁻¹ Rᵀ C without inverting C, which may be all
// but singular.
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

struct Factors {
    Eigen::MatrixXd spread;            // C R
    Eigen::LLT<Eigen::MatrixXd> both;  // of B
};

Result<Factors> factors_of(const WhitenedData& data, const Matrix& covariance) {
    Factors f;
    const auto root = view(data.root);
    f.spread.noalias() = view(covariance) * root;
    Eigen::MatrixXd both = Eigen::MatrixXd::Identity(root.cols(), root.cols());
    both.triangularView<Eigen::Lower>() += root.transpose() * f.spread;
    f.both.compute(both);
    if (!f.spread.allFinite() || f.both.info() != Eigen::Success) {
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

WhitenedData whitened(const Matrix& normal, std::span<const double> right,
                      std::span<const double> prior_sigma) {
    constexpr double least = 1e-4;  // information in units of the prior's
    const auto k = static_cast<Index>(right.size());
    const auto sigma = view(prior_sigma);
    const Eigen::MatrixXd scaled = sigma.asDiagonal() * view(normal) * sigma.asDiagonal();
    const Eigen::VectorXd scaled_right = sigma.cwiseProduct(view(right));
    Eigen::VectorXd left = scaled.diagonal();
    Eigen::MatrixXd root(k, k);
    std::vector<double> y;
    Eigen::VectorXd right_left = scaled_right;
    Index rank = 0;
    for (; rank < k; ++rank) {
        Index pivot = 0;
        if (!(left.maxCoeff(&pivot) > least)) break;
        Eigen::VectorXd column = scaled.col(pivot);
        column.noalias() -= root.leftCols(rank) * root.row(pivot).head(rank).transpose();
        column /= std::sqrt(left(pivot));
        root.col(rank) = column;
        left.array() -= column.array().square();
        left(pivot) = 0.0;
        y.push_back(right_left(pivot) / column(pivot));
        right_left -= y.back() * column;
    }
    const Eigen::VectorXd unscale = sigma.unaryExpr([](double s) { return s > 0.0 ? 1.0 / s : 0.0; });
    return {matrix_of(unscale.asDiagonal() * root.leftCols(rank)), std::move(y)};
}

Result<FieldPosterior> field_posterior(const WhitenedData& data, std::span<const double> mean,
                                       const Matrix& covariance) {
    auto f = factors_of(data, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::VectorXd rest = view(data.y) - view(data.root).transpose() * view(mean);
    const Eigen::MatrixXd half = f->both.matrixL().solve(f->spread.transpose());
    FieldPosterior out;
    out.mean = vector_of(view(mean) + f->spread * f->both.solve(rest));
    Eigen::MatrixXd sigma = view(covariance);
    sigma.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose(), -1.0);
    out.covariance = matrix_of(sigma.selfadjointView<Eigen::Lower>());
    return out;
}

Result<double> minus_two_log_evidence(const WhitenedData& data, std::span<const double> mean,
                                      const Matrix& covariance) {
    auto f = factors_of(data, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::VectorXd rest = view(data.y) - view(data.root).transpose() * view(mean);
    return f->both.matrixL().solve(rest).squaredNorm() +
           2.0 * f->both.matrixLLT().diagonal().array().log().sum();
}

Result<NormalEquations> marginal_of_mean(const WhitenedData& data, const Matrix& covariance) {
    auto f = factors_of(data, covariance);
    if (!f) return tl::unexpected(f.error());
    const Eigen::MatrixXd half = f->both.matrixL().solve(view(data.root).transpose());
    Eigen::MatrixXd lower = Eigen::MatrixXd::Zero(half.cols(), half.cols());
    lower.selfadjointView<Eigen::Lower>().rankUpdate(half.transpose());
    return NormalEquations{matrix_of(lower.selfadjointView<Eigen::Lower>()),
                           vector_of(view(data.root) * f->both.solve(view(data.y)))};
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
