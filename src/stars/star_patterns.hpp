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
    int stars_in_pattern = 4;     // or 3, which asks less and proves less; 3 anyway where a side has but 3
    std::size_t neighbours = 8;   // a star makes patterns with so many of its nearest
    std::size_t most_maps = 500;  // that are given back
};

struct PatternVote {
    PlaneMap map;        // first plane → second: shift, scale, rotation, mirror; no shear
    double votes = 0.0;  // stars of one side that have one of the other, by patterns that agree on the map
};

// Places in a plane, brightest first, on each side. Maps that patterns agree on, best first: one pattern
// alone gives as many votes as it has stars, which proves nothing by itself; none where nothing agrees.
// Places that are not finite, and a second star at one place, are passed over. Deterministic.
[[nodiscard]] std::vector<PatternVote> match_patterns(const std::vector<frame::PixelPosition>& first,
                                                      const std::vector<frame::PixelPosition>& second,
                                                      const PatternSettings& settings);

}  // namespace emberline::stars
