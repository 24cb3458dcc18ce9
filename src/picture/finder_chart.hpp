// SPDX-License-Identifier: MIT
// picture/finder_chart — the field as a catalogue has it: north up, east to the left, brighter stars larger;
// the transient, its comparison stars and the check star marked (design, section 6).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::picture {

struct ChartStar {
    SkyPosition position;
    double magnitude_mag = 0.0;
};

struct ChartMark {
    ChartStar star;
    std::string label;
    bool check = false;
};

struct FinderChart {
    std::string name;  // of the transient
    SkyPosition transient;
    std::optional<SkyPosition> nucleus;
    double radius_arcmin = 10.0;   // half the side of the chart
    std::string band;              // of the magnitudes
    std::string catalogue;         // where the stars come from
    double epoch_jyear = 2000.0;   // of all positions
    std::vector<ChartStar> stars;  // those outside are left out; of very many the brightest are drawn
    std::vector<ChartMark> marks;
};

// SVG, PNG or PDF, by the path's ending. Problem (request): another ending, a radius that no tangent plane
// holds; (storage): gnuplot missing, the disk.
[[nodiscard]] Result<void> draw_finder_chart(const FinderChart& chart, const std::string& path);

}  // namespace emberline::picture
