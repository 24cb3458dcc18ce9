// SPDX-License-Identifier: MIT
// Needs: matern_state, matern_pass.  What the values leave of the process: matern_posterior.cpp.
#include "numerics/matern_filter.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/matern_pass.hpp"

namespace emberline::numerics {
namespace {

Problem of_process(std::string what, std::string mend) {
    return {.what = std::move(what), .where = "Matérn process", .mend = std::move(mend)};
}

bool all_finite(std::span<const double> values) {
    return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

template <std::size_t D>
MaternEvidence evidence_with(const Matern& process, const MaternData& data) {
    UnitRidge fit(data.basis.columns());
    const double log_determinant =
        pass_forward<D>(process, data, fit, [](std::size_t, const auto&, const auto&) {});
    return evidence_from(fit, data.times.size(), log_determinant);
}

}  // namespace

double covariance(const Matern& process, double lag) {
    const double variance = process.amplitude * process.amplitude;
    const bool smoother = process.order == MaternOrder::five_halves;
    const double r = std::sqrt(smoother ? 5.0 : 3.0) * std::abs(lag) / process.time_scale;
    return variance * (1.0 + r + (smoother ? r * r / 3.0 : 0.0)) * std::exp(-r);
}

Result<void> check(const MaternData& data) {
    const std::size_t n = data.times.size();
    if (n == 0) return fail(of_process("There are no values.", "Give at least one."));
    if (data.values.size() != n || data.variances.size() != n ||
        (data.basis.columns() > 0 && data.basis.rows() != n)) {
        return fail(of_process("Times, values, variances and terms are not equally many.",
                               "Give one of each for every value."));
    }
    if (!all_finite(data.times) || !all_finite(data.values) || !all_finite(data.basis.values())) {
        return fail(of_process("A time, value or term is not a finite number.", "Leave that value out."));
    }
    for (std::size_t i = 0; i < n; ++i) {
        if (i > 0 && data.times[i] < data.times[i - 1]) {
            return fail(of_process(fmt::format("Time number {} lies before the one in front of it.", i + 1),
                                   "Sort the values by time."));
        }
        if (!(data.variances[i] > 0.0) || !std::isfinite(data.variances[i])) {
            return fail(
                of_process(fmt::format("Variance number {} is {:g}, not positive.", i + 1, data.variances[i]),
                           "Give every value an error above zero."));
        }
    }
    return {};
}

UnitRidge::UnitRidge(std::size_t coefficients) : r_(coefficients, coefficients), right_(coefficients) {
    for (std::size_t j = 0; j < coefficients; ++j)
        r_(j, j) = 1.0;
}

void UnitRidge::add(std::span<double> row, double value) {
    const std::size_t k = right_.size();
    for (std::size_t j = 0; j < k; ++j) {
        if (row[j] == 0.0) continue;
        const double length = std::sqrt(r_(j, j) * r_(j, j) + row[j] * row[j]);
        const double c = r_(j, j) / length, s = row[j] / length;
        r_(j, j) = length;
        for (std::size_t l = j + 1; l < k; ++l) {
            const double above = r_(j, l);
            r_(j, l) = c * above + s * row[l];
            row[l] = c * row[l] - s * above;
        }
        const double above = right_[j];
        right_[j] = c * above + s * value;
        value = c * value - s * above;
    }
    rest_ += value * value;
}

std::vector<double> UnitRidge::solution() const {
    std::vector<double> b = right_;
    for (std::size_t j = b.size(); j-- > 0;) {
        for (std::size_t l = j + 1; l < b.size(); ++l)
            b[j] -= r_(j, l) * b[l];
        b[j] /= r_(j, j);
    }
    return b;
}

MaternEvidence evidence_from(const UnitRidge& fit, std::size_t n, double log_determinant) {
    MaternEvidence evidence{
        .n = n, .chi2 = fit.rest(), .log_determinant = log_determinant, .column_log_determinant = {}};
    for (std::size_t j = 0; j < fit.triangle().rows(); ++j)
        evidence.column_log_determinant.push_back(2.0 * std::log(fit.triangle()(j, j)));
    return evidence;
}

double MaternEvidence::minus_two_log_likelihood(std::size_t integrated) const {
    double sum = chi2 + log_determinant + static_cast<double>(n) * std::log(2.0 * std::numbers::pi);
    for (std::size_t j = 0; j < std::min(integrated, column_log_determinant.size()); ++j)
        sum += column_log_determinant[j];
    return sum;
}

double MaternEvidence::minus_two_log_likelihood() const {
    return minus_two_log_likelihood(column_log_determinant.size());
}

MaternEvidence evidence_of(const Matern& process, const MaternData& data) {
    return process.order == MaternOrder::three_halves ? evidence_with<2>(process, data)
                                                      : evidence_with<3>(process, data);
}

}  // namespace emberline::numerics
