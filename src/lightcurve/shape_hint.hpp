// SPDX-License-Identifier: MIT
// lightcurve/shape_hint — which of the usual classes a light curve's shape goes with. Photometry alone does
// not classify a supernova; the sum of it says so.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/figures.hpp"

namespace emberline::lightcurve {

struct ShapeEvidence {
    std::string band;
    std::optional<Figure> delta_m15;
    std::optional<ValueWithError> plateau_length_d, drop_mag;
    std::optional<ValueWithError> early_rate_mag_per_day;  // 0 to 30 d after maximum
    std::optional<ValueWithError> tail_rate_mag_per_day;
    std::optional<ValueWithError> fade_100d_mag;  // over the first 100 d after maximum
};

// One class that something was measured about. A figure agrees when its interval of two sigma touches the
// class's range, and says nothing when that interval is wider than the range. Consistent: no figure disagrees
// and at least one telling one agrees.
struct ShapeHint {
    std::string
        klass;  // "type Ia", "type II with a plateau", "type II, linear", "stripped envelope (Ib, Ic)"
    bool consistent = false;
    std::string sentence;  // "Type Ia: Δm15(B) 1.12 ± 0.03 lies within 0.8 to 2 (Phillips 1993; …)."
};

struct ShapeHints {
    std::vector<ShapeHint> hints;
    std::string sentence;  // the sum of it, with its caution
};
[[nodiscard]] ShapeHints shape_hints(const std::vector<ShapeEvidence>& bands);

}  // namespace emberline::lightcurve
