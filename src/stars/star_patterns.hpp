// SPDX-License-Identifier: MIT
// stars/star_patterns — patterns of a few stars that look alike whatever the scale, the rotation and the
// mirror: how stars of a picture are recognised on the sky.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "frame/wcs.hpp"

namespace emberline::stars {

// (x, y) → (a x + b y + e, c x + d y + f), in whatever units the two planes have.
struct PlaneMap {
    double a = 1.0, b = 0.0, c = 0.0, d = 1.0, e = 0.0, f = 0.0;
    [[nodiscard]] frame::PixelPosition apply(const frame::PixelPosition& p) const {
        return {a * p.x + b * p.y + e, c * p.x + d * p.y + f};
    }
    [[nodiscard]] double determinant() const { return a * d - b * c; }
};

struct PatternSettings {
    std::size_t most_stars = 60;                 // the brightest so many of each side are used
    double least_scale = 0.0, most_scale = 0.0;  // of the map, second plane's units a first's; 0: any
    std::optional<bool> mirrored;                // absent: either
    double tolerance = 0.01;                     // of a pattern's shape, in its own size
};

struct PatternVote {
    PlaneMap map;  // first plane → second
    double votes = 0.0;
};

// Places in a plane, brightest first, on each side. Maps that several patterns agree on, best first; none
// where nothing agrees. Deterministic.
[[nodiscard]] std::vector<PatternVote> match_patterns(const std::vector<frame::PixelPosition>& first,
                                                      const std::vector<frame::PixelPosition>& second,
                                                      const PatternSettings& settings);

}  // namespace emberline::stars
