// SPDX-License-Identifier: MIT
// The two shapes that save work, against the dense arithmetic that they replace.
#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/least_squares.hpp"
#include "numerics/low_rank_covariance.hpp"
#include "numerics/random.hpp"

using namespace emberline;
using numerics::BorderedLeastSquares;
using numerics::LowRankCovariance;
using numerics::Matrix;

namespace {

struct Points {
    std::vector<double> variances;
    Matrix vectors;
    std::vector<double> residuals;
    Eigen::MatrixXd dense;
};

Points points(std::size_t n, std::size_t k, std::uint64_t seed) {
    numerics::Random random(seed);
    Points p{{}, Matrix(n, k), {}, {}};
    Eigen::MatrixXd v(n, k);
    for (std::size_t i = 0; i < n; ++i) {
        p.variances.push_back(random.uniform(0.5, 2.0));
        p.residuals.push_back(random.gaussian());
        for (std::size_t j = 0; j < k; ++j) {
            p.vectors(i, j) = random.gaussian();
            v(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j)) = p.vectors(i, j);
        }
    }
    p.dense = v * v.transpose();
    for (std::size_t i = 0; i < n; ++i)
        p.dense(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(i)) += p.variances[i];
    return p;
}

Eigen::VectorXd column(const std::vector<double>& v) {
    return Eigen::Map<const Eigen::VectorXd>(v.data(), static_cast<Eigen::Index>(v.size()));
}

}  // namespace

TEST_CASE("Woodbury's solve, chi2 and determinant equal the dense ones", "[low-rank]") {
    for (const std::size_t k : {std::size_t{0}, std::size_t{1}, std::size_t{5}, std::size_t{30}}) {
        INFO(k << " common errors of 20 values");
        const Points p = points(20, k, 11 + k);
        const auto c = LowRankCovariance::make(p.variances, p.vectors);
        REQUIRE(c);
        const Eigen::VectorXd r = column(p.residuals);
        const Eigen::LLT<Eigen::MatrixXd> factor(p.dense);
        const Eigen::VectorXd solved = factor.solve(r);
        const std::vector<double> ours = c->solve(p.residuals);
        CHECK((column(ours) - solved).norm() < 1e-12 * solved.norm());
        CHECK(c->chi2(p.residuals) == Approx(r.dot(solved)).epsilon(1e-12));
        const double determinant = std::log(p.dense.determinant());
        CHECK(c->log_determinant() == Approx(determinant).epsilon(1e-12));
        CHECK(c->minus_two_log_likelihood(p.residuals) ==
              Approx(r.dot(solved) + determinant + 20.0 * std::log(2.0 * std::numbers::pi)).epsilon(1e-12));
    }
}

TEST_CASE("generalised least squares equals the dense normal equations", "[low-rank]") {
    const Points p = points(25, 4, 17);
    Matrix a(25, 3);
    Eigen::MatrixXd dense(25, 3);
    for (std::size_t i = 0; i < 25; ++i) {
        for (std::size_t j = 0; j < 3; ++j) {
            a(i, j) = std::pow(static_cast<double>(i), static_cast<double>(j));
            dense(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(j)) = a(i, j);
        }
    }
    const auto c = LowRankCovariance::make(p.variances, p.vectors);
    REQUIRE(c);
    const auto fit = numerics::generalised_fit(a, p.residuals, *c);
    REQUIRE(fit);
    const Eigen::MatrixXd inverse = p.dense.inverse();
    const Eigen::MatrixXd covariance = (dense.transpose() * inverse * dense).inverse();
    const Eigen::VectorXd parameters = covariance * (dense.transpose() * inverse * column(p.residuals));
    const Eigen::VectorXd rest = column(p.residuals) - dense * parameters;
    for (std::size_t j = 0; j < 3; ++j) {
        const auto e = static_cast<Eigen::Index>(j);
        CHECK(fit->parameters[j] == Approx(parameters(e)).epsilon(1e-9));
        for (std::size_t i = 0; i < 3; ++i)
            CHECK(fit->covariance(i, j) == Approx(covariance(static_cast<Eigen::Index>(i), e)).epsilon(1e-9));
    }
    CHECK(fit->chi2 == Approx(rest.dot(inverse * rest)).epsilon(1e-10));
    CHECK(fit->dof == 22);
}

TEST_CASE("an error that all values share moves a mean's error and leaves a slope's alone", "[low-rank]") {
    // Ten values of unit variance with a common offset of sigma 3: the mean's variance is 1/10 + 9, the
    // slope's as without the offset, 12/(n (n² − 1)).
    Matrix shared(10, 1), line(10, 2);
    std::vector<double> y;
    for (std::size_t i = 0; i < 10; ++i) {
        shared(i, 0) = 3.0;
        line(i, 0) = 1.0;
        line(i, 1) = static_cast<double>(i) - 4.5;
        y.push_back(static_cast<double>(i));
    }
    const auto c = LowRankCovariance::make(std::vector<double>(10, 1.0), shared);
    REQUIRE(c);
    const auto fit = numerics::generalised_fit(line, y, *c);
    REQUIRE(fit);
    CHECK(fit->covariance(0, 0) == Approx(9.1).epsilon(1e-12));
    CHECK(fit->covariance(1, 1) == Approx(12.0 / 990.0).epsilon(1e-12));
    CHECK(fit->parameters[1] == Approx(1.0).epsilon(1e-12));
}

TEST_CASE("covariances that cannot be are refused", "[low-rank]") {
    CHECK_FALSE(LowRankCovariance::make({1.0, 0.0}, Matrix(2, 0)));
    CHECK_FALSE(LowRankCovariance::make({1.0, std::nan("")}, Matrix(2, 0)));
    CHECK_FALSE(LowRankCovariance::make({1.0, 1.0}, Matrix(3, 1)));
    Matrix bad(2, 1);
    bad(1, 0) = INFINITY;
    CHECK_FALSE(LowRankCovariance::make({1.0, 1.0}, bad));
    const auto c = LowRankCovariance::make({1.0, 1.0, 1.0}, Matrix(3, 0));
    REQUIRE(c);
    Matrix same(3, 2);
    for (std::size_t i = 0; i < 3; ++i)
        same(i, 0) = same(i, 1) = 1.0 + static_cast<double>(i);
    const std::vector<double> y = {1.0, 2.0, 3.0};
    CHECK_FALSE(numerics::generalised_fit(same, y, *c));
    CHECK_FALSE(numerics::generalised_fit(Matrix(3, 1), y, *c));
}

TEST_CASE("eliminating the locals gives the same as solving everything at once", "[bordered]") {
    constexpr std::size_t groups = 7, globals = 4;
    numerics::Random random(23);
    BorderedLeastSquares problem(groups, globals);
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(groups + globals, groups + globals);
    Eigen::VectorXd right = Eigen::VectorXd::Zero(groups + globals);
    std::vector<double> weight_of(groups, 0.0);
    for (std::size_t f = 0; f < groups; ++f) {
        if (f == 5) continue;  // a group without any row
        for (int i = 0; i < 6; ++i) {
            const std::size_t first = static_cast<std::size_t>(random.uniform(0.0, 3.0));
            const BorderedLeastSquares::Term terms[] = {{first, random.gaussian()}, {3, random.gaussian()}};
            const double y = random.gaussian(), w = random.uniform(0.2, 2.0);
            problem.add_row(f, terms, y, w);
            weight_of[f] += w;
            Eigen::VectorXd row = Eigen::VectorXd::Zero(groups + globals);
            row(static_cast<Eigen::Index>(f)) = 1.0;
            for (const auto& t : terms)
                row(static_cast<Eigen::Index>(groups + t.global)) += t.coefficient;
            normal += w * row * row.transpose();
            right += w * y * row;
        }
    }
    for (std::size_t j = 0; j < globals; ++j) {
        const auto at = static_cast<Eigen::Index>(groups + j);
        problem.add_prior(j, 0.3, 2.0);
        normal(at, at) += 2.0;
        right(at) += 2.0 * 0.3;
    }
    normal(5, 5) = 1.0;  // keeps the dense matrix regular; touches nothing else
    const auto solved = problem.solve();
    REQUIRE(solved);
    const Eigen::MatrixXd covariance = normal.inverse();
    const Eigen::VectorXd all = covariance * right;
    for (std::size_t j = 0; j < globals; ++j) {
        const auto at = static_cast<Eigen::Index>(groups + j);
        CHECK(solved->globals[j] == Approx(all(at)).epsilon(1e-11));
        for (std::size_t i = 0; i < globals; ++i) {
            CHECK(solved->global_covariance(j, i) ==
                  Approx(covariance(at, static_cast<Eigen::Index>(groups + i))).epsilon(1e-10).margin(1e-14));
        }
    }
    for (std::size_t f = 0; f < groups; ++f) {
        CHECK(solved->determined[f] == (f != 5));
        if (f == 5) continue;
        const auto at = static_cast<Eigen::Index>(f);
        CHECK(solved->locals[f] == Approx(all(at)).epsilon(1e-11));
        CHECK(solved->local_variance_given_globals[f] == Approx(1.0 / weight_of[f]).epsilon(1e-12));
        // Variance of a local: given the globals, and through its gradient what the globals are uncertain by.
        double through = 0.0;
        for (std::size_t i = 0; i < globals; ++i) {
            for (std::size_t j = 0; j < globals; ++j) {
                through += solved->local_gradient(f, i) * solved->global_covariance(i, j) *
                           solved->local_gradient(f, j);
            }
        }
        CHECK(solved->local_variance_given_globals[f] + through == Approx(covariance(at, at)).epsilon(1e-10));
    }
}

TEST_CASE("a global that nothing determines is named, not guessed", "[bordered]") {
    // The same coefficient in every row of each group cannot be told from the groups' own unknowns.
    BorderedLeastSquares problem(2, 2);
    for (std::size_t f = 0; f < 2; ++f) {
        for (int i = 0; i < 9; ++i) {
            const BorderedLeastSquares::Term terms[] = {{0, 0.1 * i}, {1, 0.3}};
            problem.add_row(f, terms, 1.0, 0.7);
        }
    }
    const auto solved = problem.solve();
    REQUIRE_FALSE(solved);
    CHECK(solved.error().what.find("number 2") != std::string::npos);
    problem.add_prior(1, 0.5, 4.0);
    const auto with_prior = problem.solve();
    REQUIRE(with_prior);
    CHECK(with_prior->globals[1] == Approx(0.5).epsilon(1e-9));
    CHECK(with_prior->global_covariance(1, 1) == Approx(0.25).epsilon(1e-9));
    CHECK(BorderedLeastSquares(3, 0).solve());
}

TEST_CASE("Cholesky factors solve, and a matrix without full rank still has one", "[matrix]") {
    Matrix a(3, 3);
    const double values[3][3] = {{4.0, 2.0, 0.6}, {2.0, 5.0, 1.0}, {0.6, 1.0, 3.0}};
    for (std::size_t i = 0; i < 3; ++i) {
        for (std::size_t j = 0; j < 3; ++j)
            a(i, j) = values[i][j];
    }
    const std::vector<double> x = {1.0, -2.0, 0.5};
    const auto b = numerics::multiply(a, x);
    const auto found = numerics::solve_cholesky(numerics::cholesky_lower(a), b);
    for (std::size_t i = 0; i < 3; ++i)
        CHECK(found[i] == Approx(x[i]).epsilon(1e-14));
    // xᵀ A x = 4 + 20 + 0.75 − 8 + 0.6 − 2, by hand.
    CHECK(numerics::quadratic_form(a, x, x) == Approx(15.35).epsilon(1e-14));

    Matrix flat(2, 2);
    flat(0, 0) = flat(0, 1) = flat(1, 0) = flat(1, 1) = 9.0;
    const Matrix lower = numerics::cholesky_lower(flat);
    CHECK(lower(0, 0) == 3.0);
    CHECK(lower(1, 0) == 3.0);
    CHECK(lower(0, 1) == 0.0);
    CHECK(lower(1, 1) < 1e-6);
    CHECK(lower(1, 1) > 0.0);
}
