// SPDX-License-Identifier: MIT
// lightcurve/shape_hint — which of the usual classes a light curve's shape goes with. Photometry alone does
// not classify a supernova; every sentence says so.
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

struct ShapeHint {
    std::string klass;  // "type Ia", "type II with a plateau", "type II, linear", "stripped envelope"
    bool consistent = false;
    std::string sentence;  // "Δm15(B) 1.12 ± 0.03 lies within 0.8–2.0, as type Ia have it."
};

struct ShapeHints {
    std::vector<ShapeHint> hints;
    std::string sentence;  // the sum of it, with its caution
};
[[nodiscard]] ShapeHints shape_hints(const std::vector<ShapeEvidence>& bands);

}  // namespace emberline::lightcurve
