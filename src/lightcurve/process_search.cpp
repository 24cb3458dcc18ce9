// SPDX-License-Identifier: MIT
#include "lightcurve/process_search.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "numerics/simplex_search.hpp"

namespace emberline::lightcurve {
namespace {

constexpr double usual_scales[] = {0.5, 20.0, 0.03};
const double prior_width = std::log(4.0);

// A search on all rows costs a pass for each of some hundred trials; so many of them tell where to begin.
constexpr std::size_t enough_rows = 1000;

numerics::LowestPlace downhill(ProcessProblem& problem, const ProcessScales& start,
                               const numerics::SimplexOptions& options) {
    return numerics::simplex_search(
        [&](std::span<const double> s) {
            return depth(problem, {s.begin(), s.end()});
        },
        start, options);
}

}  // namespace

numerics::Matern process_of(numerics::MaternOrder order, const ProcessScales& scales) {
    return {.order = order, .amplitude = std::exp(scales[0]), .time_scale = std::exp(scales[1])};
}

double extra_scatter_of(const ProcessScales& scales) {
    return scales.size() > 2 ? std::exp(scales[2]) : 0.0;
}

void ProcessProblem::set_noise(double extra_scatter_mag) {
    data.values.resize(touches.size());
    data.variances.resize(touches.size());
    for (std::size_t i = 0; i < touches.size(); ++i) {
        data.values[i] = touches[i].value - centre_mag;
        data.variances[i] = touches[i].total_variance(extra_scatter_mag);
    }
}

ProcessProblem thinned(const ProcessProblem& problem, std::size_t most) {
    const std::size_t n = problem.touches.size(), stride = (n + most - 1) / most;
    if (stride <= 1) return problem;
    ProcessProblem few{.order = problem.order,
                       .data = {},
                       .centre_mag = problem.centre_mag,
                       .touches = {},
                       .night_gap = problem.night_gap};
    const std::size_t k = problem.data.basis.columns(), rows = (n + stride - 1) / stride;
    few.data.basis = numerics::Matrix(rows, k);
    for (std::size_t r = 0; r < rows; ++r) {
        few.data.times.push_back(problem.data.times[r * stride]);
        few.touches.push_back(problem.touches[r * stride]);
        for (std::size_t c = 0; c < k; ++c)
            few.data.basis(r, c) = problem.data.basis(r * stride, c);
    }
    return few;
}

double depth(ProcessProblem& problem, const ProcessScales& scales) {
    double sum = 0.0;
    for (std::size_t j = 0; j < scales.size(); ++j) {
        const double off = (scales[j] - std::log(usual_scales[j])) / prior_width;
        sum += off * off;
    }
    if (problem.night_gap > 0.0) {
        constexpr double gaps_remembered = 3.0, width = 0.4;
        const double shorter = std::log(gaps_remembered * problem.night_gap) - scales[1];
        if (shorter > 0.0) sum += shorter * shorter / (width * width);
    }
    // Past that the priors alone say no, and the numbers would overflow.
    constexpr double absurd = 1000.0;
    if (!(sum < absurd)) return HUGE_VAL;
    problem.set_noise(extra_scatter_of(scales));
    return sum +
           numerics::evidence_of(process_of(problem.order, scales), problem.data).minus_two_log_likelihood();
}

FoundScales search_scales(ProcessProblem& problem, bool with_scatter) {
    ProcessProblem few = thinned(problem, enough_rows);
    const auto start_of = [&](ProcessProblem& rows) {
        ProcessScales best;
        double lowest = HUGE_VAL;
        for (const double amplitude_mag : {0.03, 0.3, 2.0}) {
            for (const double time_scale_d : {1.0, 4.0, 15.0, 60.0, 250.0}) {
                for (const double scatter_mag : {0.01, 0.05, 0.3}) {
                    ProcessScales scales{std::log(amplitude_mag), std::log(time_scale_d)};
                    if (with_scatter) scales.push_back(std::log(scatter_mag));
                    const double value = depth(rows, scales);
                    if (value < lowest || best.empty()) {
                        lowest = value;
                        best = scales;
                    }
                    if (!with_scatter) break;
                }
            }
        }
        return best;
    };
    ProcessProblem fewest = thinned(few, 300);
    const auto nearly = downhill(few, start_of(fewest), {});
    if (few.touches.size() == problem.touches.size()) return {nearly.place, nearly.value};
    return polish_scales(problem, nearly.place);
}

FoundScales polish_scales(ProcessProblem& problem, const ProcessScales& start) {
    const auto found =
        downhill(problem, start, {.first_step = 0.1, .level = 1e-2, .size = 3e-2, .most_evaluations = 100});
    return {found.place, found.value};
}

numerics::Matrix scales_covariance(ProcessProblem& problem, const ProcessScales& scales) {
    // A tenth in the logarithm: where the likelihood is no parabola, that is about what an error bar spans.
    constexpr double step = 0.1;
    const numerics::Matrix second = numerics::curvature(
        [&](std::span<const double> s) {
            return depth(problem, {s.begin(), s.end()});
        },
        scales, step);
    const std::size_t n = scales.size();
    numerics::Matrix half(n, n), covariance(n, n);
    for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t j = 0; j < n; ++j)
            half(i, j) = 0.5 * second(i, j);
    }
    const numerics::Matrix lower = numerics::cholesky_lower(half);
    for (std::size_t j = 0; j < n; ++j) {
        std::vector<double> unit(n);
        unit[j] = 1.0;
        const auto column = numerics::solve_cholesky(lower, unit);
        for (std::size_t i = 0; i < n; ++i)
            covariance(i, j) = column[i];
    }
    return covariance;
}

std::vector<PossibleScales> possible_scales(ProcessProblem& problem, const ProcessScales& best,
                                            const numerics::Matrix& covariance) {
    // ∫ of a Gaussian times a polynomial of fifth order: 0 with 2/3, ±√3 with 1/6.
    constexpr double places[] = {0.0, -std::numbers::sqrt3, std::numbers::sqrt3};
    constexpr double shares[] = {2.0 / 3.0, 1.0 / 6.0, 1.0 / 6.0};
    constexpr double negligible = 1e-3;
    const std::size_t n = best.size();
    const numerics::Matrix root = numerics::cholesky_lower(covariance);
    const double here = depth(problem, best);
    std::size_t count = 1;
    for (std::size_t j = 0; j < n; ++j)
        count *= 3;
    std::vector<PossibleScales> all;
    double sum = 0.0;
    for (std::size_t k = 0; k < count; ++k) {
        PossibleScales one{.scales = best, .weight = 1.0};
        double z2 = 0.0;
        for (std::size_t j = 0, digits = k; j < n; ++j, digits /= 3) {
            const double z = places[digits % 3];
            one.weight *= shares[digits % 3];
            z2 += z * z;
            for (std::size_t i = j; i < n; ++i)
                one.scales[i] += root(i, j) * z;
        }
        one.weight *= std::exp(0.5 * (z2 - (depth(problem, one.scales) - here)));
        sum += one.weight;
        all.push_back(std::move(one));
    }
    std::erase_if(all, [&](const PossibleScales& one) { return one.weight < negligible * sum; });
    sum = 0.0;
    for (const PossibleScales& one : all)
        sum += one.weight;
    for (PossibleScales& one : all)
        one.weight /= sum;
    return all;
}

}  // namespace emberline::lightcurve
