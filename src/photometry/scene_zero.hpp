// SPDX-License-Identifier: MIT
// photometry/scene_zero — what a fade says of the one number that a scene leaves open: how much of the light
// at the transient's place is host.
#pragma once

#include <optional>
#include <vector>

namespace emberline::photometry {

// The transient's light on one frame on the common scale, the host as fitted taken away; `err`: one sigma
// without the part that all share.
struct SceneLight {
    double light = 0.0, err = 0.0;
};
// Host light missed (above zero: the host is brighter than fitted, the transient fainter).
struct ZeroShift {
    double mean = 0.0, err = 0.0;
};

// The prior of the missed light is N(0, `common_err`²). Where the light falls by D beyond its noise, the
// faintest level is taken for none with even odds, and otherwise for anything above zero with density 1/D;
// never for less. Absent: no fall that is sure, and so nothing to learn (a bare condition of positive light
// would push every faint transient up).
[[nodiscard]] std::optional<ZeroShift> zero_by_fade(const std::vector<SceneLight>& lights, double common_err);

}  // namespace emberline::photometry
