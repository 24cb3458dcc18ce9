// SPDX-License-Identifier: MIT
// tests/studies/curve_study — does one sigma mean one sigma, for every model of a light curve and for what is
// read off it? Curves of known truth on realistic nights, fitted as an observer's would be.
//
//   emberline_curve_study [curves] [threads] [only titles that contain this; "breaks", "limits"]
//
// For each parameter and figure: the share of truths inside 1 and 2 sigma with its binomial error, the mean
// pull (value − truth over error; clipped at 5), and the robust spread of pulls. Exit status 1: a share
// outside its bounds (see curve_study_coverage.hpp; a line that is excused says why).
#include <fmt/format.h>

#include <cstdlib>

#include "curve_study_cases.hpp"
#include "curve_study_extras.hpp"

int main(int argc, char** argv) {
    const std::size_t curves = argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 500;
    const auto threads = static_cast<unsigned>(argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 2);
    const std::string only = argc > 3 ? argv[3] : "";
    std::size_t wrong = 0;
    std::uint64_t first_seed = 1000;
    for (const curve_study::Case& one : curve_study::cases()) {
        first_seed += 100000;
        if (one.title.find(only) == std::string::npos) continue;
        const auto outcomes = curve_study::many(curves, threads, first_seed, one.one);
        wrong += curve_study::report(fmt::format("{}, seeds from {}", one.title, first_seed), outcomes,
                                     one.exceptions, one.most_failures);
    }
    if (std::string("breaks").find(only) == 0) wrong += curve_study::study_breaks(curves, threads);
    if (std::string("limits").find(only) == 0) wrong += curve_study::study_limits(curves, threads);
    fmt::print("{} lines out of bounds\n", wrong);
    return wrong == 0 ? 0 : 1;
}
