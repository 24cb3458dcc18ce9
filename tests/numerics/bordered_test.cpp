// SPDX-License-Identifier: MIT
// The shape that saves work, against the dense arithmetic that it replaces.
#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "numerics/least_squares.hpp"
#include "numerics/random.hpp"

using namespace emberline;
using numerics::BorderedLeastSquares;
using numerics::Matrix;

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
