// SPDX-License-Identifier: MIT
#include "numerics/shared_unknowns.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "numerics/least_squares.hpp"
#include "numerics/random.hpp"

using namespace emberline::numerics;

namespace {

DataBlock block_of(std::size_t rows, std::size_t shared, Random& random) {
    DataBlock b{.shared = {rows, shared}, .own = {rows, 2}};
    for (std::size_t r = 0; r < rows; ++r) {
        for (std::size_t k = 0; k < shared; ++k)
            b.shared(r, k) = random.gaussian();
        b.own(r, 0) = 1.0;
        b.own(r, 1) = random.gaussian();
        b.y.push_back(random.gaussian());
        b.weights.push_back(random.uniform(0.5, 2.0));
    }
    b.own_precision = {0.0, 4.0};
    return b;
}

}  // namespace

TEST_CASE("eliminating each block's own unknowns gives what one large fit gives", "[shared-unknowns]") {
    Random random(5);
    const std::size_t shared = 3, rows = 12;
    const std::vector<DataBlock> blocks{block_of(rows, shared, random), block_of(rows, shared, random)};
    SharedUnknowns sum(shared);
    std::vector<EliminatedBlock> eliminated;
    for (const auto& b : blocks) {
        auto one = sum.add(b);
        REQUIRE(one);
        eliminated.push_back(*one);
    }
    Matrix prior(shared, shared);
    for (std::size_t k = 0; k < shared; ++k)
        prior(k, k) = 0.25;
    const std::vector<double> mean{0.3, -0.2, 0.1};
    const auto field =
        field_posterior(whitened(sum.normal(), sum.right(), std::vector<double>(shared, 0.5)), mean, prior);
    REQUIRE(field);

    // The same with priors as further rows of an ordinary fit.
    const std::size_t unknowns = shared + 4;
    Matrix a(2 * rows + shared + 2, unknowns);
    std::vector<double> y, w;
    for (std::size_t b = 0; b < 2; ++b) {
        for (std::size_t r = 0; r < rows; ++r) {
            for (std::size_t k = 0; k < shared; ++k)
                a(y.size(), k) = blocks[b].shared(r, k);
            for (std::size_t j = 0; j < 2; ++j)
                a(y.size(), shared + 2 * b + j) = blocks[b].own(r, j);
            y.push_back(blocks[b].y[r]);
            w.push_back(blocks[b].weights[r]);
        }
    }
    for (std::size_t k = 0; k < shared; ++k) {
        a(y.size(), k) = 1.0;
        y.push_back(mean[k]);
        w.push_back(4.0);
    }
    for (std::size_t b = 0; b < 2; ++b) {
        a(y.size(), shared + 2 * b + 1) = 1.0;
        y.push_back(0.0);
        w.push_back(4.0);
    }
    const auto direct = linear_fit(a, y, w);
    REQUIRE(direct);
    for (std::size_t k = 0; k < shared; ++k) {
        CHECK(field->mean[k] == Approx(direct->parameters[k]).margin(1e-7));
        for (std::size_t l = 0; l < shared; ++l)
            CHECK(field->covariance(k, l) == Approx(direct->covariance(k, l)).margin(1e-7));
    }
    for (std::size_t b = 0; b < 2; ++b) {
        for (std::size_t j = 0; j < 2; ++j) {
            double own = eliminated[b].at_zero[j];
            for (std::size_t k = 0; k < shared; ++k)
                own -= eliminated[b].gain(j, k) * field->mean[k];
            CHECK(own == Approx(direct->parameters[shared + 2 * b + j]).margin(1e-7));
        }
    }
}

TEST_CASE("the evidence of one measured number is its Gaussian density", "[shared-unknowns]") {
    // y = x + noise of variance v, prior N(m, c): −2 ln p(y) = (y − m)²/(v + c) + ln(v + c) + constants.
    const double v = 0.5, y = 1.7;
    Matrix normal(1, 1);
    normal(0, 0) = 1.0 / v;
    const auto data = whitened(normal, std::vector<double>{y / v}, std::vector<double>{1.0});
    const auto theirs = [&](double m, double c) {
        return (y - m) * (y - m) / (v + c) + std::log((v + c) / v);
    };
    for (const double c : {0.1, 2.0}) {
        for (const double m : {0.0, 1.0}) {
            Matrix covariance(1, 1);
            covariance(0, 0) = c;
            const auto ours = minus_two_log_evidence(data, std::vector<double>{m}, covariance);
            REQUIRE(ours);
            CHECK(*ours == Approx(theirs(m, c)).epsilon(1e-7));
            const auto of_mean = marginal_of_mean(data, covariance);
            REQUIRE(of_mean);
            CHECK(of_mean->normal(0, 0) == Approx(1.0 / (v + c)).epsilon(1e-7));
            CHECK(of_mean->right[0] == Approx(y / (v + c)).epsilon(1e-7));
        }
    }
}

TEST_CASE("numbers that tell the same thing are whitened into one", "[shared-unknowns]") {
    // Two unknowns of which only the sum is seen, and a third that nothing tells of.
    Matrix normal(3, 3);
    normal(0, 0) = normal(0, 1) = normal(1, 0) = normal(1, 1) = 4.0;
    const auto data =
        whitened(normal, std::vector<double>{8.0, 8.0, 0.0}, std::vector<double>{1.0, 1.0, 1.0});
    REQUIRE(data.y.size() == 1);
    CHECK(data.y[0] == Approx(4.0));  // the sum is 2 at an error of 1/2
    CHECK(data.root(0, 0) == Approx(2.0));
    CHECK(data.root(1, 0) == Approx(2.0));
    CHECK(data.root(2, 0) == 0.0);
    CHECK(whitened(normal, std::vector<double>{8.0, 8.0, 0.0}, std::vector<double>{0.0, 0.0, 0.0}).y.empty());
}

TEST_CASE("a non-negative solution meets the conditions of Kuhn and Tucker", "[shared-unknowns]") {
    Random random(7);
    for (int turn = 0; turn < 50; ++turn) {
        const std::size_t n = 6;
        Matrix root(9, n), a(n, n);
        for (std::size_t r = 0; r < 9; ++r) {
            for (std::size_t c = 0; c < n; ++c)
                root(r, c) = random.gaussian();
        }
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j) {
                for (std::size_t r = 0; r < 9; ++r)
                    a(i, j) += root(r, i) * root(r, j);
            }
        }
        std::vector<double> b(n);
        for (double& x : b)
            x = random.gaussian(0.0, 5.0);
        const auto x = non_negative_solution(a, b);
        for (std::size_t i = 0; i < n; ++i) {
            double gradient = b[i];
            for (std::size_t j = 0; j < n; ++j)
                gradient -= a(i, j) * x[j];
            CHECK(x[i] >= 0.0);
            if (x[i] > 0.0) {
                CHECK(gradient == Approx(0.0).margin(1e-6));
            } else {
                CHECK(gradient < 1e-6);
            }
        }
    }
}

TEST_CASE("misshapen or undetermined blocks are refused", "[shared-unknowns]") {
    Random random(9);
    SharedUnknowns sum(3);
    DataBlock narrow = block_of(5, 2, random);
    CHECK_FALSE(sum.add(narrow));
    DataBlock short_of_weights = block_of(5, 3, random);
    short_of_weights.weights.pop_back();
    CHECK_FALSE(sum.add(short_of_weights));
    DataBlock blind = block_of(5, 3, random);
    for (double& w : blind.weights)
        w = 0.0;
    CHECK_FALSE(sum.add(blind));
    DataBlock broken = block_of(5, 3, random);
    broken.own(2, 1) = std::nan("");
    CHECK_FALSE(sum.add(broken));
}
