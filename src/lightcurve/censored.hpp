// SPDX-License-Identifier: MIT
// lightcurve/censored — what a limit says: the probability that a noisy flux stayed below it.
#pragma once

namespace emberline::lightcurve {

// Of L(z) = ε + (1 − ε) Φ(z), z = (limit − model flux) / σ: ε is the chance that a limit is a mistake, so
// that one wrong limit pulls like nothing instead of like z. Exact far into the tail.
struct CensoredTerm {
    double minus_two_log = 0.0;  // −2 ln L
    double pull = 0.0;           // d ln L / dz
    double curvature = 0.0;      // −d² ln L / dz², never below 0
    double trust = 1.0;          // probability that the limit is none of the mistakes
};
[[nodiscard]] CensoredTerm censored_term(double z, double mistake_probability);

}  // namespace emberline::lightcurve
