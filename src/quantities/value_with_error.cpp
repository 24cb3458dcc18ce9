// SPDX-License-Identifier: MIT
#include "quantities/value_with_error.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline {
inline namespace quantities {

int decimals_for(double err, int at_most) {
    if (!(err > 0.0) || !std::isfinite(err)) return std::min(3, at_most);
    const double exponent = std::floor(std::log10(err));
    const double first_figures = err / std::pow(10.0, exponent);
    // 2.95 and above rounds to 3 and needs one figure only.
    const int figures = first_figures < 2.95 ? 2 : 1;
    return std::clamp(static_cast<int>(figures - 1 - exponent), 0, at_most);
}

std::string with_error(const ValueWithError& v, int least_decimals) {
    const int decimals = std::max(decimals_for(v.err), least_decimals);
    return fmt::format("{:.{}f} ± {:.{}f}", v.value, decimals, v.err, decimals);
}

}  // namespace quantities
}  // namespace emberline
