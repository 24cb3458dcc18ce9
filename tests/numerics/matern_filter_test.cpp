// SPDX-License-Identifier: MIT
// Expected values are those of dense matrices (Rasmussen & Williams 2006, section 2.2), an independent and
// slow way to the same numbers.
#include "numerics/matern_filter.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <ctime>
#include <numbers>

using namespace emberline;
using namespace emberline::numerics;

namespace {

constexpr MaternOrder orders[] = {MaternOrder::three_halves, MaternOrder::five_halves};

// Plain Cholesky without any ridge, for these tests alone.
struct Dense {
    std::vector<std::vector<double>> lower;
    explicit Dense(const std::vector<std::vector<double>>& c) : lower(c) {
        for (std::size_t j = 0; j < c.size(); ++j) {
            for (std::size_t i = j; i < c.size(); ++i) {
                double sum = c[i][j];
                for (std::size_t k = 0; k < j; ++k)
                    sum -= lower[i][k] * lower[j][k];
                lower[i][j] = i == j ? std::sqrt(sum) : sum / lower[j][j];
            }
        }
    }
    [[nodiscard]] std::vector<double> whiten(std::vector<double> x) const {
        for (std::size_t i = 0; i < x.size(); ++i) {
            for (std::size_t k = 0; k < i; ++k)
                x[i] -= lower[i][k] * x[k];
            x[i] /= lower[i][i];
        }
        return x;
    }
    [[nodiscard]] double log_determinant() const {
        double sum = 0.0;
        for (std::size_t i = 0; i < lower.size(); ++i)
            sum += 2.0 * std::log(lower[i][i]);
        return sum;
    }
};

double dot(const std::vector<double>& a, const std::vector<double>& b) {
    double sum = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i)
        sum += a[i] * b[i];
    return sum;
}

double shared_part(const Matrix& basis, std::size_t i, std::span<const double> other) {
    double sum = 0.0;
    for (std::size_t c = 0; c < basis.columns(); ++c)
        sum += basis(i, c) * other[c];
    return sum;
}

std::vector<double> row_of(const Matrix& m, std::size_t i) {
    std::vector<double> row;
    for (std::size_t c = 0; c < m.columns(); ++c)
        row.push_back(m(i, c));
    return row;
}

Dense dense_covariance(const Matern& process, const MaternData& data, bool with_basis = true) {
    const std::size_t n = data.times.size();
    std::vector<std::vector<double>> c(n, std::vector<double>(n));
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j) {
            c[i][j] = covariance(process, data.times[i] - data.times[j]) + (i == j ? data.variances[i] : 0.0);
            if (with_basis) c[i][j] += shared_part(data.basis, i, row_of(data.basis, j));
        }
    }
    return Dense(c);
}

double dense_minus_two_log(const Matern& process, const MaternData& data) {
    const Dense c = dense_covariance(process, data);
    const auto w = c.whiten(data.values);
    return dot(w, w) + c.log_determinant() + static_cast<double>(w.size()) * std::log(2.0 * std::numbers::pi);
}

// Covariance of f(t) + basis · b with the values.
std::vector<double> crossed(const Matern& process, const MaternData& data, double t,
                            std::span<const double> basis) {
    std::vector<double> k;
    for (std::size_t i = 0; i < data.times.size(); ++i) {
        k.push_back(covariance(process, t - data.times[i]) +
                    (basis.empty() ? 0.0 : shared_part(data.basis, i, basis)));
    }
    return k;
}

// Irregular times, two of them double, an offset that half of the values share, and a line.
MaternData some_data(std::size_t n, std::uint64_t seed, bool with_basis) {
    Random random(seed);
    MaternData data;
    double t = 3.0;
    for (std::size_t i = 0; i < n; ++i) {
        if (i % 7 != 3) t += random.uniform(0.1, 2.5);
        if (i == n / 2) t += 30.0;
        data.times.push_back(t);
        data.values.push_back(2.0 * std::sin(t / 4.0) + 0.1 * t + random.gaussian());
        data.variances.push_back(std::pow(random.uniform(0.05, 0.4), 2));
    }
    if (!with_basis) return data;
    data.basis = Matrix(n, 3);
    for (std::size_t i = 0; i < n; ++i) {
        data.basis(i, 0) = i % 2 == 0 ? 0.3 : 0.0;
        data.basis(i, 1) = 10.0;
        data.basis(i, 2) = 0.5 * (data.times[i] - 20.0);
    }
    return data;
}

MaternPosterior posterior_of(const Matern& process, const MaternData& data) {
    const auto made = MaternPosterior::make(process, data);
    INFO((made ? std::string() : one_line(made.error())));
    REQUIRE(made);
    return *made;
}

}  // namespace

TEST_CASE("one value and two have the likelihood that a hand works out", "[matern]") {
    const double ln_two_pi = std::log(2.0 * std::numbers::pi);
    for (const auto order : orders) {
        const Matern process{order, 1.5, 4.0};
        const double v = 2.25;
        const MaternData one{{7.0}, {0.8}, {0.04}, {}};
        CHECK(evidence_of(process, one).minus_two_log_likelihood() ==
              Approx(0.64 / (v + 0.04) + std::log(v + 0.04) + ln_two_pi).epsilon(1e-14));
        const MaternData two{{7.0, 9.0}, {0.8, -0.3}, {0.04, 0.09}, {}};
        // 2 days of a time scale of 4: r = √3/2, and √5/2.
        const double r = order == MaternOrder::three_halves ? std::sqrt(3.0) / 2.0 : std::sqrt(5.0) / 2.0;
        const double k =
            v * (1.0 + r + (order == MaternOrder::five_halves ? 1.25 / 3.0 : 0.0)) * std::exp(-r);
        const double a = v + 0.04, b = v + 0.09, det = a * b - k * k;
        const double chi2 = (b * 0.64 + a * 0.09 - 2.0 * k * 0.8 * -0.3) / det;
        CHECK(evidence_of(process, two).minus_two_log_likelihood() ==
              Approx(chi2 + std::log(det) + 2.0 * ln_two_pi).epsilon(1e-14));
    }
}

TEST_CASE("the marginal likelihood is that of the dense covariance", "[matern]") {
    for (const auto order : orders) {
        for (const bool with_basis : {false, true}) {
            const auto data = some_data(40, 11, with_basis);
            for (const double scale : {0.01, 0.7, 6.0, 300.0}) {
                const Matern process{order, 1.3, scale};
                CAPTURE(scale, with_basis);
                const auto evidence = evidence_of(process, data);
                CHECK(evidence.minus_two_log_likelihood() ==
                      Approx(dense_minus_two_log(process, data)).epsilon(1e-10));
                CHECK(evidence.log_determinant ==
                      Approx(dense_covariance(process, data, false).log_determinant()).epsilon(1e-10));
            }
        }
    }
}

TEST_CASE("coefficients may be integrated over or held at their best", "[matern]") {
    const Matern process{MaternOrder::five_halves, 1.3, 6.0};
    auto data = some_data(30, 12, true);
    const auto evidence = evidence_of(process, data);
    // Of the first alone, with the best values of the others taken off by hand: a priori terms stay in chi².
    const auto posterior = posterior_of(process, data);
    const auto& b = posterior.coefficients();
    MaternData rest = data;
    rest.basis = Matrix(30, 1);
    for (std::size_t i = 0; i < 30; ++i) {
        rest.values[i] -= b[1] * data.basis(i, 1) + b[2] * data.basis(i, 2);
        rest.basis(i, 0) = data.basis(i, 0);
    }
    CHECK(evidence.minus_two_log_likelihood(1) ==
          Approx(dense_minus_two_log(process, rest) + b[1] * b[1] + b[2] * b[2]).epsilon(1e-10));
    CHECK(posterior.evidence().minus_two_log_likelihood() == evidence.minus_two_log_likelihood());
}

TEST_CASE("smoothing and prediction agree with dense formulas, between the values and beyond", "[matern]") {
    for (const auto order : orders) {
        for (const bool with_basis : {false, true}) {
            const Matern process{order, 1.3, 6.0};
            const auto data = some_data(40, 13, with_basis);
            const auto posterior = posterior_of(process, data);
            const Dense c = dense_covariance(process, data);
            const auto w = c.whiten(data.values);
            std::vector<double> times = data.times;
            for (int i = 0; i < 60; ++i)
                times.push_back(-40.0 + 3.7 * i);
            for (std::size_t i = 0; i < data.times.size(); ++i) {
                const auto k = c.whiten(crossed(process, data, data.times[i], row_of(data.basis, i)));
                const double before =
                    covariance(process, 0.0) + shared_part(data.basis, i, row_of(data.basis, i));
                CHECK(posterior.at_values()[i].mean == Approx(dot(k, w)).epsilon(1e-10).margin(1e-10));
                CHECK(posterior.at_values()[i].variance ==
                      Approx(before - dot(k, k)).epsilon(1e-10).margin(1e-12 * before));
            }
            times.push_back(data.times[5] + 1e-9);
            times.push_back(data.times[6] - 1e-9);
            for (const double t : times) {
                CAPTURE(t, with_basis);
                std::vector<double> basis;
                if (with_basis) basis = {0.0, 10.0, 0.5 * (t - 20.0)};
                const auto k = c.whiten(crossed(process, data, t, basis));
                const auto got = posterior.at(t, basis);
                CHECK(got.mean == Approx(dot(k, w)).epsilon(1e-10).margin(1e-10));
                const double before = covariance(process, 0.0) + dot(basis, basis);
                // The dense way loses the digits of the wide line.
                CHECK(got.variance == Approx(before - dot(k, k)).epsilon(1e-10).margin(1e-12 * before));
            }
        }
    }
}

TEST_CASE("coefficients have the mean and covariance of generalised least squares", "[matern]") {
    const Matern process{MaternOrder::three_halves, 0.8, 5.0};
    const auto data = some_data(35, 14, true);
    const auto posterior = posterior_of(process, data);
    const Dense c = dense_covariance(process, data, true);
    const auto w = c.whiten(data.values);
    std::vector<std::vector<double>> columns;
    for (std::size_t j = 0; j < 3; ++j) {
        std::vector<double> column;
        for (std::size_t i = 0; i < 35; ++i)
            column.push_back(data.basis(i, j));
        columns.push_back(c.whiten(column));
    }
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(posterior.coefficients()[i] == Approx(dot(columns[i], w)).epsilon(1e-9));
        for (std::size_t j = 0; j < 3; ++j) {
            const double expected = (i == j ? 1.0 : 0.0) - dot(columns[i], columns[j]);
            CHECK(posterior.coefficient_covariance()(i, j) == Approx(expected).epsilon(1e-8).margin(1e-11));
        }
    }
}

TEST_CASE("draws have the mean and the joint covariance of the posterior", "[matern]") {
    constexpr std::size_t count = 40000;
    constexpr std::uint64_t seed = 15;
    CAPTURE(seed);
    for (const auto order : orders) {
        const Matern process{order, 1.3, 6.0};
        const auto data = some_data(25, seed, true);
        const auto posterior = posterior_of(process, data);
        // Before all, on a value, between, in the gap, one twice, close to another, beyond.
        std::vector<double> times{-5.0,
                                  data.times[4],
                                  data.times[4] + 0.3,
                                  data.times[11] + 15.0,
                                  data.times[11] + 15.0,
                                  data.times[20] + 1e-3,
                                  data.times[24] + 8.0};
        const std::size_t m = times.size();
        Matrix basis(m, 3);
        for (std::size_t i = 0; i < m; ++i) {
            basis(i, 1) = 10.0;
            basis(i, 2) = 0.5 * (times[i] - 20.0);
        }
        Random random(seed);
        const Matrix draws = posterior.draws(times, basis, count, random);
        const Dense c = dense_covariance(process, data);
        const auto w = c.whiten(data.values);
        std::vector<std::vector<double>> k;
        for (std::size_t i = 0; i < m; ++i)
            k.push_back(c.whiten(crossed(process, data, times[i], row_of(basis, i))));
        const auto joint = [&](std::size_t i, std::size_t j) {
            return covariance(process, times[i] - times[j]) + shared_part(basis, i, row_of(basis, j)) -
                   dot(k[i], k[j]);
        };
        for (std::size_t i = 0; i < m; ++i) {
            double mean = 0.0;
            for (std::size_t r = 0; r < count; ++r)
                mean += draws(r, i) / count;
            CAPTURE(i);
            CHECK(std::abs(mean - dot(k[i], w)) < 4.5 * std::sqrt(joint(i, i) / count));
            for (std::size_t j = 0; j <= i; ++j) {
                double product = 0.0;
                for (std::size_t r = 0; r < count; ++r)
                    product += (draws(r, i) - dot(k[i], w)) * (draws(r, j) - dot(k[j], w)) / count;
                const double expected = joint(i, j);
                const double sigma = std::sqrt((joint(i, i) * joint(j, j) + expected * expected) / count);
                CAPTURE(j);
                CHECK(std::abs(product - expected) < 4.5 * sigma);
            }
        }
        CHECK(draws(7, 3) == draws(7, 4));  // the same time
    }
}

TEST_CASE("a draw of no values is none, and no draws are an empty table", "[matern]") {
    const auto posterior = posterior_of({}, some_data(5, 1, false));
    Random random(1);
    CHECK(posterior.draws({}, {}, 3, random).columns() == 0);
    const std::vector<double> times{1.0};
    CHECK(posterior.draws(times, {}, 0, random).rows() == 0);
}

TEST_CASE("tiny errors, equal times and long gaps stay exact", "[matern]") {
    for (const auto order : orders) {
        const Matern process{order, 2.0, 20.0};
        // Values to a micromagnitude a few seconds apart; twice at one time and in disagreement; a century
        // on.
        const MaternData data{{0.0, 1e-4, 2e-4, 5.0, 5.0, 36500.0, 36501.0},
                              {1.0, 1.0, 1.0, 1.2, 1.4, -3.0, -3.1},
                              {1e-12, 1e-12, 1e-12, 1e-4, 1e-4, 1e-12, 1e-4},
                              {}};
        const auto posterior = posterior_of(process, data);
        CHECK(posterior.at(1e-4).mean == Approx(1.0).margin(1e-5));
        CHECK(posterior.at(1e-4).variance == Approx(1e-12 / 3.0).epsilon(0.3));
        // The two that disagree meet in the middle, drawn towards the curve before them by next to nothing.
        CHECK(posterior.at(5.0).mean == Approx(1.3).margin(0.002));
        CHECK(posterior.at(5.0).variance == Approx(0.5e-4).epsilon(0.01));
        // In the gap nothing is known but the process.
        CHECK(posterior.at(18000.0).mean == Approx(0.0).margin(1e-12));
        CHECK(posterior.at(18000.0).variance == Approx(4.0).epsilon(1e-12));
        CHECK(posterior.at(1e9).variance == Approx(4.0).epsilon(1e-12));
        CHECK(posterior.at(36500.0).mean == Approx(-3.0).margin(1e-5));
        const auto merged = [&](double variance, double value) {
            return MaternData{{0.0, 5.0}, {1.0, value}, {1e-4, variance}, {}};
        };
        const auto twice =
            evidence_of(process, MaternData{{0.0, 5.0, 5.0}, {1.0, 1.2, 1.4}, {1e-4, 1e-4, 1e-4}, {}});
        // Two values of one time are their mean with half the variance, and a factor that has no process in
        // it: −2 ln of a Gaussian of variance 2e-4 at their difference.
        const double once = evidence_of(process, merged(0.5e-4, 1.3)).minus_two_log_likelihood();
        CHECK(twice.minus_two_log_likelihood() ==
              Approx(once + 0.04 / 2e-4 + std::log(2.0 * std::numbers::pi * 2e-4)).epsilon(1e-10));
    }
}

TEST_CASE("a hundred thousand values are one pass", "[matern]") {
    constexpr std::size_t n = 100000;
    Random random(16);
    MaternData data;
    for (std::size_t i = 0; i < n; ++i) {
        data.times.push_back(0.01 * static_cast<double>(i) + random.uniform(0.0, 0.01));
        data.values.push_back(std::sin(data.times.back() / 10.0) + random.gaussian(0.0, 0.1));
        data.variances.push_back(0.01);
    }
    data.basis = Matrix(n, 2);
    for (std::size_t i = 0; i < n; ++i) {
        data.basis(i, 0) = 10.0;
        data.basis(i, 1) = data.times[i] - 500.0;
    }
    const std::clock_t start = std::clock();
    const auto posterior = posterior_of({MaternOrder::five_halves, 1.0, 10.0}, data);
    std::vector<double> times;
    for (int i = 0; i < 200; ++i)
        times.push_back(5.0 * i);
    const Matrix draws = posterior.draws(times, {}, 1000, random);
    const double taken_s = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    CAPTURE(taken_s);
    // A dense matrix would need 80 GB and a day; here it is some tenths of a second, with room for a busy
    // machine.
    CHECK(taken_s < 10.0);
    CHECK(posterior.evidence().chi2 == Approx(n).epsilon(0.02));
    const std::vector<double> line{10.0, 0.0};
    CHECK(posterior.at(500.0, line).mean == Approx(std::sin(50.0)).margin(0.1));
    CHECK(draws.rows() == 1000);
}

TEST_CASE("data that are none are refused in words", "[matern]") {
    const MaternData good{{1.0, 2.0}, {0.0, 0.0}, {1.0, 1.0}, {}};
    REQUIRE(check(good));
    auto bad = good;
    bad.times = {2.0, 1.0};
    REQUIRE_FALSE(check(bad));
    CHECK(check(bad).error().what == "Time number 2 lies before the one in front of it.");
    bad = good;
    bad.variances[0] = 0.0;
    CHECK_FALSE(check(bad));
    bad = good;
    bad.values[1] = std::nan("");
    CHECK_FALSE(check(bad));
    bad = good;
    bad.basis = Matrix(3, 1);
    CHECK_FALSE(check(bad));
    bad = good;
    bad.values.pop_back();
    CHECK_FALSE(check(bad));
    CHECK_FALSE(check(MaternData{}));
    CHECK_FALSE(MaternPosterior::make({MaternOrder::three_halves, 0.0, 1.0}, good));
    CHECK_FALSE(MaternPosterior::make({MaternOrder::three_halves, 1.0, -1.0}, good));
    CHECK_FALSE(MaternPosterior::make({}, bad = MaternData{}));
}
