// SPDX-License-Identifier: MIT
#include "quantities/angle.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline;

TEST_CASE("sixty seconds never print: rounding comes first", "[angle]") {
    // 59.9996 s at two decimals is 60.00 s, that is the next minute; arithmetic.
    CHECK(sexagesimal_hours(Angle::hours(1.0 + 59.0 / 60.0 + 59.9996 / 3600.0), 2) == "02:00:00.00");
    CHECK(sexagesimal_hours(Angle::degrees(std::nan("")), 2) == "nan");
    CHECK(sexagesimal_degrees(Angle::degrees(1e300), 0) == "+1e+300");
    CHECK(sexagesimal_hours(Angle::hours(23.0 + 59.0 / 60.0 + 59.9999 / 3600.0), 2) == "00:00:00.00");
}
