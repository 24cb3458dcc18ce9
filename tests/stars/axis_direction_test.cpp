// SPDX-License-Identifier: MIT
#include "stars/axis_direction.hpp"

#include <catch2/catch.hpp>

using namespace emberline;
using stars::axis_direction;

TEST_CASE("an axis points into [0, 180) degrees, whatever its length and its rounding", "[axis-direction]") {
    // Arithmetic: half of the angle whose sine and cosine are given.
    CHECK(axis_direction(0.0, 3.0).degrees() == 0.0);
    CHECK(axis_direction(2.0, 0.0).degrees() == Approx(45.0));
    CHECK(axis_direction(0.0, -1.0).degrees() == Approx(90.0));
    CHECK(axis_direction(-2.0, 0.0).degrees() == Approx(135.0));
    // Wide light's direction was given as −45° here, and what is hardly below 0 as 180°.
    CHECK(axis_direction(-1e-30, 1.0).degrees() == 0.0);
    CHECK(axis_direction(-1e-3, 1.0).degrees() < 180.0);
}
