// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "expected_table.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/random.hpp"

using namespace emberline;
using test::expected_table;
using test::number;
using test::text;

namespace {

using Model = std::function<double(std::span<const double> b, double x)>;

double square(double x) {
    return x * x;
}

const std::map<std::string, Model>& models() {
    static const std::map<std::string, Model> all = {
        {"Misra1a", [](auto b, double x) { return b[0] * (1.0 - std::exp(-b[1] * x)); }},
        {"Misra1b", [](auto b, double x) { return b[0] * (1.0 - std::pow(1.0 + 0.5 * b[1] * x, -2)); }},
        {"BoxBOD", [](auto b, double x) { return b[0] * (1.0 - std::exp(-b[1] * x)); }},
        {"DanWood", [](auto b, double x) { return b[0] * std::pow(x, b[1]); }},
        {"Thurber",
         [](auto b, double x) {
             return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])));
         }},
        {"MGH09", [](auto b, double x) { return b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3]); }},
        {"Eckerle4",
         [](auto b, double x) { return b[0] / b[1] * std::exp(-0.5 * square((x - b[2]) / b[1])); }},
        {"Rat42", [](auto b, double x) { return b[0] / (1.0 + std::exp(b[1] - b[2] * x)); }},
        {"Chwirut2", [](auto b, double x) { return std::exp(-b[0] * x) / (b[1] + b[2] * x); }},
        {"Kirby2",
         [](auto b, double x) { return (b[0] + x * (b[1] + x * b[2])) / (1.0 + x * (b[3] + x * b[4])); }},
        {"Gauss1",
         [](auto b, double x) {
             return b[0] * std::exp(-b[1] * x) + b[2] * std::exp(-square((x - b[3]) / b[4])) +
                    b[5] * std::exp(-square((x - b[6]) / b[7]));
         }},
    };
    return all;
}

std::string lower(std::string word) {
    for (char& c : word)
        c = static_cast<char>(std::tolower(c));
    return word;
}

}  // namespace

TEST_CASE("non-linear fits reach the certified values from both published starts", "[least-squares]") {
    // NIST StRD, non-linear: 11 certified digits. A millionth of the certified standard error is seven to ten
    // of them: numerical derivatives do not limit the solution, only how the last steps approach it. The
    // errors come from the Jacobian itself, whose central differences keep five digits or more.
    const DelimitedTable certified = expected_table("numerics/nist_nonlinear_certified.csv");
    std::size_t fitted = 0;
    for (const auto& [name, model] : models()) {
        const DelimitedTable data = expected_table("numerics/nist_" + lower(name) + ".csv");
        for (const std::string start_column : {"start1", "start2"}) {
            INFO(name << " from " << start_column);
            std::vector<double> start, expected, expected_sd;
            double squares = 0.0;
            for (const TableRow& row : certified.rows) {
                if (text(certified, row, "dataset") != name) continue;
                start.push_back(number(certified, row, start_column));
                expected.push_back(number(certified, row, "certified"));
                expected_sd.push_back(number(certified, row, "certified_sd"));
                squares = number(certified, row, "residual_sum_of_squares");
            }
            const auto residuals = [&data, &formula = model](std::span<const double> b, std::span<double> r) {
                for (std::size_t i = 0; i < r.size(); ++i)
                    r[i] = std::stod(data.rows[i].fields[0]) - formula(b, std::stod(data.rows[i].fields[1]));
                return true;
            };
            const auto fit = numerics::nonlinear_fit(residuals, start, data.rows.size());
            REQUIRE(fit);
            CHECK(fit->converged);
            CHECK(fit->chi2 == Approx(squares).epsilon(1e-9));
            const double residual_sd = std::sqrt(fit->chi2 / static_cast<double>(fit->dof));
            for (std::size_t j = 0; j < expected.size(); ++j) {
                INFO("b" << j + 1);
                CHECK(fit->parameters[j] == Approx(expected[j]).epsilon(0).margin(1e-6 * expected_sd[j]));
                CHECK(std::sqrt(fit->covariance(j, j)) * residual_sd == Approx(expected_sd[j]).epsilon(1e-5));
            }
            ++fitted;
        }
    }
    CHECK(fitted == 22);
}

TEST_CASE("a fit keeps inside what its model allows", "[least-squares]") {
    // y = sqrt(p) with noise-free values: steps to p < 0 are refused by the model and shortened by the fit.
    const auto residuals = [](std::span<const double> p, std::span<double> r) {
        if (p[0] < 0.0) return false;
        for (std::size_t i = 0; i < r.size(); ++i)
            r[i] = (std::sqrt(p[0]) - 0.1) * 10.0;
        return true;
    };
    const auto fit = numerics::nonlinear_fit(residuals, {5.0}, 4);
    REQUIRE(fit);
    CHECK(fit->parameters[0] == Approx(0.01).epsilon(1e-6));

    CHECK_FALSE(numerics::nonlinear_fit(residuals, {-1.0}, 4));
    CHECK_FALSE(numerics::nonlinear_fit(residuals, {}, 4));
    CHECK_FALSE(numerics::nonlinear_fit(residuals, {1.0}, 0));
}

// It gave the last attempt's, whose steps are the shortest.
TEST_CASE("a fit whose iterations run out is the best of its attempts", "[least-squares]") {
    const auto residuals = [](std::span<const double> p, std::span<double> r) {
        for (std::size_t i = 0; i < r.size(); ++i)
            r[i] = static_cast<double>(i + 1) * (p[0] - 10.0);
        return true;
    };
    const auto fit = numerics::nonlinear_fit(residuals, {1.0}, 5, {.most_iterations = 1});
    REQUIRE(fit);
    CHECK_FALSE(fit->converged);
    // Linear: with a damping of λ a step leaves λ/(1 + λ) of the way, a thousandth with the least, 1e-3.
    CHECK(fit->parameters[0] == Approx(10.0).margin(0.01));
}

TEST_CASE("a parameter that changes nothing is a problem, not an infinite error", "[least-squares]") {
    const auto residuals = [](std::span<const double> p, std::span<double> r) {
        for (std::size_t i = 0; i < r.size(); ++i)
            r[i] = p[0] * static_cast<double>(i) - 1.0;
        return true;
    };
    CHECK_FALSE(numerics::nonlinear_fit(residuals, {1.0, 1.0}, 5));
}

TEST_CASE("offsets that start at zero are found, and their errors hold", "[least-squares]") {
    // A round Moffat star on 21 × 21 pixels whose offsets start at exactly 0 and end near it: the derivative
    // there must not drown in rounding. Fisher's information of the same model, by analytic derivatives,
    // gives the errors to compare with; 1 part in 1e4 is the curvature that central differences leave.
    constexpr int side = 21;
    constexpr double beta = 3.0, alpha = 4.0, sigma = 10.0;
    const auto light = [](double amplitude, double dx, double dy, int i) {
        const double x = i % side - 10.0 - dx, y = static_cast<double>(i / side) - 10.0 - dy;
        return amplitude * std::pow(1.0 + (x * x + y * y) / (alpha * alpha), -beta);
    };
    numerics::Random random(20240203);
    std::vector<double> pixels;
    for (int i = 0; i < side * side; ++i)
        pixels.push_back(light(5000.0, 0.0, 0.0, i) + random.gaussian(0.0, sigma));
    const auto residuals = [&](std::span<const double> p, std::span<double> r) {
        for (std::size_t i = 0; i < r.size(); ++i)
            r[i] = (pixels[i] - light(p[0], p[1], p[2], static_cast<int>(i))) / sigma;
        return true;
    };
    const auto fit = numerics::nonlinear_fit(residuals, {4000.0, 0.0, 0.0}, pixels.size());
    REQUIRE(fit);
    CHECK(fit->converged);
    double information = 0.0;
    for (int i = 0; i < side * side; ++i) {
        const double x = i % side - 10.0 - fit->parameters[1];
        const double y = static_cast<double>(i / side) - 10.0 - fit->parameters[2];
        const double u = 1.0 + (x * x + y * y) / (alpha * alpha);
        const double slope = fit->parameters[0] * beta * std::pow(u, -beta - 1.0) * 2.0 * x / (alpha * alpha);
        information += square(slope / sigma);
    }
    const double err = std::sqrt(fit->covariance(1, 1));
    CHECK(err == Approx(1.0 / std::sqrt(information)).epsilon(1e-4));
    CHECK(std::abs(fit->parameters[1]) < 4.0 * err);
    CHECK(std::abs(fit->parameters[2]) < 4.0 * err);
    CHECK(fit->iterations < 12);
}
