// SPDX-License-Identifier: MIT
// quantities/value_with_error — a number with its error, to the digits that the error allows.
#pragma once

#include <string>

namespace emberline {
inline namespace quantities {

struct ValueWithError {
    double value = 0.0;
    double err = 0.0;  // one sigma
    bool operator==(const ValueWithError&) const = default;
};

// Decimals so that the error shows two figures when its first is 1 or 2, else one: 0.0123 -> 3, 0.046 -> 2.
// common practice, no source
[[nodiscard]] int decimals_for(double err, int at_most = 6);

// "14.232 ± 0.014"; at least `least_decimals`, so that columns of magnitudes line up.
[[nodiscard]] std::string with_error(const ValueWithError& v, int least_decimals = 0);

}  // namespace quantities
}  // namespace emberline
