// SPDX-License-Identifier: MIT
#include "quantities/caveat.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

TEST_CASE("flags are written and read back word by word", "[caveat]") {
    const Caveats caveats{Caveat::cloud, Caveat::saturated, Caveat::sequence_mixed_band};
    CHECK(caveats.words() == "saturated;cloud;sequence-mixed-band");
    CHECK(parse_caveats(caveats.words()) == caveats);
    CHECK_FALSE(parse_caveats("cloud;rain"));
}
