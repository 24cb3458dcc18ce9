// SPDX-License-Identifier: MIT
#include "night/significance.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/contamination.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

constexpr std::size_t least_others = 2;
constexpr int reweighings = 8;
constexpr double most_squared_pull = 9.0;  // one wild star among the others must not hide a second
constexpr double loose = 10.0;             // prior of the constant: none to speak of

// Value = constant + Σ slope · x, from the trusted stars but for one.
struct Expectation {
    double value = 0.0, variance = 0.0;  // at the star left out
    double scale2 = 1.0, dof = 0.0;      // of the others' errors squared
};

Expectation expect(const PropertyOfStars& p, std::size_t without, const std::vector<std::size_t>& others) {
    const std::size_t n = others.size(), columns = 1 + p.follows.size();
    numerics::Matrix a(n + columns, columns);
    std::vector<double> y(n + columns, 0.0), weight(n + columns), own_weight(n);
    std::vector<double> middle;
    for (std::size_t r = 0; r < n; ++r) {
        const std::size_t i = others[r];
        y[r] = p.values[i];
        own_weight[r] = 1.0 / (p.errs[i] * p.errs[i]);
        middle.push_back(p.values[i]);
        a(r, 0) = 1.0;
        for (std::size_t c = 1; c < columns; ++c)
            a(r, c) = p.follows[c - 1].x[i];
    }
    const double start = numerics::median(std::move(middle));
    for (std::size_t c = 0; c < columns; ++c) {
        a(n + c, c) = 1.0;
        const double err = c == 0 ? loose : std::max(p.follows[c - 1].slope.err, 1e-6);
        y[n + c] = c == 0 ? start : p.follows[c - 1].slope.value;
        weight[n + c] = 1.0 / (err * err);
    }
    std::vector<double> pull2(n);
    for (std::size_t r = 0; r < n; ++r)
        pull2[r] = (y[r] - start) * (y[r] - start) * own_weight[r];
    Expectation out;
    for (int k = 0; k < reweighings; ++k) {
        for (std::size_t r = 0; r < n; ++r)
            weight[r] =
                own_weight[r] * numerics::contamination_weight(pull2[r], numerics::catalogue_outliers);
        const auto fit = numerics::linear_fit(a, y, weight);
        if (!fit) return out;
        for (std::size_t r = 0; r < n; ++r) {
            double miss = y[r];
            for (std::size_t c = 0; c < columns; ++c)
                miss -= a(r, c) * fit->parameters[c];
            pull2[r] = miss * miss * own_weight[r];
        }
        std::vector<double> at(columns, 1.0);
        for (std::size_t c = 1; c < columns; ++c)
            at[c] = p.follows[c - 1].x[without];
        out.value = 0.0;
        for (std::size_t c = 0; c < columns; ++c)
            out.value += at[c] * fit->parameters[c];
        out.variance = numerics::quadratic_form(fit->covariance, at, at);
    }
    double squares = p.scatter_dof;
    for (const double q : pull2)
        squares += std::min(q, most_squared_pull);
    out.dof = p.scatter_dof + static_cast<double>(n) - 1.0;
    out.scale2 = out.dof > 0.0 ? squares / out.dof : 1.0;
    return out;
}

}  // namespace

double t_in_sigma(double t, double dof) {
    if (!(dof > 0.0)) return 0.0;
    const double size = (8.0 * dof + 1.0) / (8.0 * dof + 3.0) * std::sqrt(dof * std::log1p(t * t / dof));
    return std::copysign(size, t);
}

double f_in_sigma(double f, double dof_above, double dof_below) {
    if (!(dof_above > 0.0) || !(dof_below > 0.0) || !(f > 0.0)) return 0.0;
    const double above = 2.0 / (9.0 * dof_above), below = 2.0 / (9.0 * dof_below), root = std::cbrt(f);
    return ((1.0 - below) * root - (1.0 - above)) / std::sqrt(below * root * root + above);
}

double sigma_of_chance(double chance, double looks) {
    const double each = chance / std::max(looks, 1.0);
    double low = 0.0, high = 20.0;
    constexpr int halvings = 60;
    for (int k = 0; k < halvings; ++k) {
        const double middle = 0.5 * (low + high);
        (0.5 * std::erfc(middle / std::numbers::sqrt2) > each ? low : high) = middle;
    }
    return low;
}

Line line_through(const std::vector<double>& x, const std::vector<double>& y,
                  const std::vector<double>& weight) {
    Line line;
    double sum = 0.0, xx = 0.0, xy = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        sum += weight[i];
        line.mean_x += weight[i] * x[i];
        line.mean_y += weight[i] * y[i];
    }
    if (!(sum > 0.0)) return {};
    line.mean_x /= sum;
    line.mean_y /= sum;
    for (std::size_t i = 0; i < x.size(); ++i) {
        xx += weight[i] * (x[i] - line.mean_x) * (x[i] - line.mean_x);
        xy += weight[i] * (x[i] - line.mean_x) * (y[i] - line.mean_y);
    }
    line.known = xx > 0.0;
    if (line.known) line.slope = {xy / xx, 1.0 / std::sqrt(xx)};
    return line;
}

std::vector<Standing> stand_against_others(const PropertyOfStars& p) {
    std::vector<Standing> out(p.values.size());
    for (std::size_t i = 0; i < out.size(); ++i) {
        std::vector<std::size_t> others;
        for (std::size_t j = 0; j < out.size(); ++j) {
            if (j != i && p.trusted[j] && p.known[j]) others.push_back(j);
        }
        if (!p.known[i] || others.size() < least_others) continue;
        const Expectation expected = expect(p, i, others);
        Standing& star = out[i];
        star.expected = expected.value;
        star.expected_err = std::sqrt(expected.scale2 * expected.variance);
        star.miss = p.values[i] - expected.value;
        star.err = std::sqrt(expected.scale2 * (p.errs[i] * p.errs[i] + expected.variance));
        star.sigma = t_in_sigma(star.miss / star.err, expected.dof);
        star.judged = true;
    }
    return out;
}

}  // namespace emberline::night
