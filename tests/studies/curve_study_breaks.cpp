// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>

#include "curve_study_cases.hpp"
#include "curve_study_extras.hpp"
#include "curve_study_nights.hpp"
#include "lightcurve/choose_model.hpp"
#include "lightcurve/fit.hpp"

namespace curve_study {

using namespace emberline;

namespace {

constexpr std::size_t most_breaks = 3;
constexpr double days = 120.0;

std::unique_ptr<lightcurve::Model> pieces(std::size_t breaks) {
    return breaks == 0 ? lightcurve::straight_line() : lightcurve::broken_line(static_cast<int>(breaks));
}

// Of breaks chosen; the last place: none could be.
using Counts = std::array<std::size_t, most_breaks + 2>;

std::size_t chosen_breaks(std::size_t breaks, double least_step, double most_step, numerics::Random& random) {
    const auto values = broken_line_values(breaks, days, least_step, most_step, random);
    const auto model = pieces(breaks);
    const auto truth = [&](double bjd_tdb) { return model->magnitude(bjd_tdb - first_bjd, values); };
    const auto curve = observe(truth, {.to_d = days}, random);
    std::vector<lightcurve::CurveFit> fits;
    std::vector<std::size_t> counts;
    for (std::size_t b = 0; b <= most_breaks; ++b) {
        if (auto fit = lightcurve::fit(curve, pieces(b))) {
            fits.push_back(std::move(*fit));
            counts.push_back(b);
        }
    }
    const auto choice = lightcurve::choose_model(fits);
    return choice.chosen ? counts[*choice.chosen] : most_breaks + 1;
}

}  // namespace

std::size_t study_breaks(std::size_t curves, unsigned threads) {
    struct Kind {
        const char* title;
        double least_step, most_step;
        std::array<double, most_breaks + 1> least_right;  // share, by true number of breaks
    };
    // Invented breaks are what must not happen; weak ones may hide.
    constexpr Kind kinds[] = {{"rates change by 0.03 to 0.06 mag/d", 0.03, 0.06, {0.93, 0.9, 0.85, 0.75}},
                              {"rates change by 0.004 to 0.01 mag/d", 0.004, 0.01, {0.93, 0.75, 0.45, 0.2}}};
    constexpr std::uint64_t first_seed = 5000000;
    std::size_t wrong = 0;
    for (const Kind& kind : kinds) {
        fmt::print("breaks that BIC chooses, {} curves each; {}\n", curves, kind.title);
        fmt::print("  {:>10} {:>7} {:>7} {:>7} {:>7} {:>7}   right\n", "true", 0, 1, 2, 3, "none");
        for (std::size_t breaks = 0; breaks <= most_breaks; ++breaks) {
            std::vector<std::size_t> chosen(curves);
            over_curves(curves, threads, first_seed + 10000 * breaks, [&](std::size_t i, auto& random) {
                chosen[i] = chosen_breaks(breaks, kind.least_step, kind.most_step, random);
            });
            Counts counts{};
            for (const std::size_t c : chosen)
                ++counts[c];
            const double n = static_cast<double>(curves);
            const double right = static_cast<double>(counts[breaks]) / n, least = kind.least_right[breaks];
            const bool good = right >= least - 3.0 * std::sqrt(least * (1.0 - least) / n);
            wrong += good ? 0 : 1;
            fmt::print("  {:>10} {:>7} {:>7} {:>7} {:>7} {:>7}   {:.3f} (least {:.2f})  {}\n", breaks,
                       counts[0], counts[1], counts[2], counts[3], counts[4], right, least,
                       good ? "ok" : "MISSED");
        }
    }
    return wrong;
}

}  // namespace curve_study
