// SPDX-License-Identifier: MIT
#include "curve_study_coverage.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdio>
#include <thread>

#include "numerics/robust.hpp"

namespace curve_study {

using namespace emberline;

namespace {

constexpr double inside_1sigma = 0.682689492, inside_2sigma = 0.954499736;
constexpr double margin_1sigma = 0.06, margin_2sigma = 0.03;
constexpr std::size_t short_run = 100;

double binomial_err(double share, std::size_t n) {
    return std::sqrt(share * (1.0 - share) / static_cast<double>(n));
}

struct Bounds {
    double least_1, most_1, least_2, most_2;
};

Bounds bounds_of(std::size_t n, const Exception* exception) {
    const double errors = n < short_run ? 4.0 : 3.0;
    const double e1 = errors * binomial_err(inside_1sigma, n), e2 = errors * binomial_err(inside_2sigma, n);
    Bounds b{.least_1 = inside_1sigma - std::max(margin_1sigma, e1),
             .most_1 = inside_1sigma + std::max(margin_1sigma, e1),
             .least_2 = inside_2sigma - std::max(margin_2sigma, e2),
             .most_2 = inside_2sigma + std::max(margin_2sigma, e2)};
    if (exception) {
        b.least_1 = std::min(b.least_1, exception->expected_1sigma - e1);
        b.most_1 = std::max(b.most_1, exception->expected_1sigma + e1);
        b.least_2 = std::min(b.least_2, exception->expected_2sigma - e2);
        b.most_2 = std::max(b.most_2, exception->expected_2sigma + e2);
    }
    return b;
}

}  // namespace

double share_within(const std::vector<double>& pulls, double sigma) {
    const auto inside =
        std::count_if(pulls.begin(), pulls.end(), [&](double p) { return std::abs(p) <= sigma; });
    return static_cast<double>(inside) / static_cast<double>(pulls.size());
}

void Pulls::add(const std::string& name, const ValueWithError& found, double truth) {
    if (!of.contains(name)) order.push_back(name);
    of[name].push_back((found.value - truth) / found.err);
}

void Pulls::add(const std::string& name, const lightcurve::Figure& found, double truth) {
    const double err = truth > found.value ? found.high - found.value : found.value - found.low;
    add(name, ValueWithError{found.value, err}, truth);
}

void Pulls::join(const Pulls& others) {
    for (const std::string& name : others.order) {
        if (!of.contains(name)) order.push_back(name);
        const auto& more = others.of.at(name);
        of[name].insert(of[name].end(), more.begin(), more.end());
    }
}

void over_curves(std::size_t curves, unsigned threads, std::uint64_t first_seed,
                 const std::function<void(std::size_t, numerics::Random&)>& one) {
    std::atomic<std::size_t> next{0};
    std::vector<std::thread> workers;
    for (unsigned t = 0; t < threads; ++t) {
        workers.emplace_back([&] {
            for (std::size_t i = next++; i < curves; i = next++) {
                numerics::Random random(first_seed + i);
                one(i, random);
            }
        });
    }
    for (std::thread& worker : workers)
        worker.join();
}

std::vector<Outcome> many(std::size_t curves, unsigned threads, std::uint64_t first_seed,
                          const std::function<Outcome(numerics::Random&)>& one) {
    std::vector<Outcome> outcomes(curves);
    over_curves(curves, threads, first_seed,
                [&](std::size_t i, numerics::Random& random) { outcomes[i] = one(random); });
    return outcomes;
}

std::size_t report(const std::string& title, const std::vector<Outcome>& outcomes,
                   const std::vector<Exception>& exceptions, double most_failures) {
    Pulls all;
    std::map<std::string, std::size_t> failures;
    std::size_t failed = 0, points = 0, limits = 0, wrong = 0;
    for (const Outcome& o : outcomes) {
        all.join(o.pulls);
        points += o.points;
        limits += o.limits;
        if (!o.failure.empty()) ++failures[o.failure], ++failed;
    }
    const double curves = static_cast<double>(outcomes.size());
    fmt::print("{}: {} curves, {:.0f} points each, {:.1f} of them limits; {} fits failed\n", title,
               outcomes.size(), static_cast<double>(points) / curves, static_cast<double>(limits) / curves,
               failed);
    for (const auto& [why, count] : failures)
        fmt::print("  {:4} times: {}\n", count, why);
    if (static_cast<double>(failed) > std::max(most_failures * curves, 1.0)) {
        fmt::print("  TOO MANY FAILED: at most {:.1f} % may\n", 100.0 * most_failures);
        ++wrong;
    }
    fmt::print("  {:<28} {:>5}  {:>15}  {:>15}  {:>14}  {:>6}\n", "", "n", "inside 1 sigma", "inside 2 sigma",
               "mean pull", "spread");
    for (const std::string& name : all.order) {
        const std::vector<double>& pulls = all.of.at(name);
        const std::size_t n = pulls.size();
        const double one = share_within(pulls, 1.0), two = share_within(pulls, 2.0);
        double mean = 0.0;
        for (const double p : pulls)
            mean += std::clamp(p, -5.0, 5.0) / static_cast<double>(n);  // one lost fit must not decide it
        const double spread = numerics::robust_spread(pulls);
        const auto exception = std::find_if(exceptions.begin(), exceptions.end(),
                                            [&](const Exception& e) { return e.line == name; });
        const bool excused = exception != exceptions.end();
        const Bounds b = bounds_of(n, excused ? &*exception : nullptr);
        const bool good = one >= b.least_1 && one <= b.most_1 && two >= b.least_2 && two <= b.most_2;
        wrong += good ? 0 : 1;
        fmt::print("  {:<28} {:>5}  {:.3f} ± {:.3f}    {:.3f} ± {:.3f}   {:+.3f} ± {:.3f}  {:6.3f}  {}{}\n",
                   name, n, one, binomial_err(inside_1sigma, n), two, binomial_err(inside_2sigma, n), mean,
                   spread / std::sqrt(static_cast<double>(n)), spread, good ? "ok" : "OUT OF BOUNDS",
                   excused ? ": " + exception->why : "");
    }
    std::fflush(stdout);  // a long study is read while it runs
    return wrong;
}

}  // namespace curve_study
