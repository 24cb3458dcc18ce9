// SPDX-License-Identifier: MIT
// lightcurve/process_clock — the time by which a transient changes: fast when young, slower with age, so that
// one time scale serves the rise and the tail.
// Notation: x days after the brightest point, over `slowing_d`.
#pragma once

#include <cmath>

namespace emberline::lightcurve {

// Runs as ours does at the brightest point, at 1/(1 + x) after it (time's logarithm), at 1 − x before it and
// not above 3.
struct ProcessClock {
    double brightest_days = 0.0;
    double slowing_d = HUGE_VAL;  // infinite: it runs as ours

    [[nodiscard]] bool is_plain() const { return !std::isfinite(slowing_d); }
    [[nodiscard]] double at(double days) const {
        if (is_plain()) return days;
        const double x = (days - brightest_days) / slowing_d;
        constexpr double fastest_from = -2.0, fastest = 3.0;
        const double own = x >= 0.0           ? std::log1p(x)
                           : x > fastest_from ? x - 0.5 * x * x
                                              : -4.0 + fastest * (x - fastest_from);
        return slowing_d * own;
    }
};

}  // namespace emberline::lightcurve
