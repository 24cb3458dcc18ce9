// SPDX-License-Identifier: MIT
#include "quantities/nearest_word.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

TEST_CASE("a word is taken for the nearest one that is known, and for none where all are far",
          "[quantities]") {
    const std::vector<std::string> known = {"measure", "inspect", "ra", "dec", "longitude", "latitude"};
    CHECK(nearest_word("mesure", known) == "measure");
    CHECK(nearest_word("insepct", known) == "inspect");  // neighbours exchanged count once
    CHECK(nearest_word("Longtitude", known) == "longitude");
    CHECK(nearest_word("RA", known) == "ra");  // whatever its case
    CHECK(nearest_word("gain", known).empty());
    CHECK(nearest_word("frobnicate", known).empty());
    CHECK(nearest_word("", known).empty());
    CHECK(nearest_word("measure", {}).empty());
}
