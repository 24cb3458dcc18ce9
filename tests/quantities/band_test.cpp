// SPDX-License-Identifier: MIT
#include "quantities/band.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

TEST_CASE("R is read as Cousins R, r as Sloan r, and reported by the network's codes", "[band]") {
    // The network's list of filter codes: R is Cousins R, SR is Sloan r.
    CHECK(parse_band("R")->name() == "Rc");
    CHECK(facts(*parse_band("Rc")).network_code == "R");
    CHECK(facts(*parse_band("r")).network_code == "SR");
    CHECK_FALSE(parse_band("Luminance"));
}

TEST_CASE("a band without a sequence of its own is put on its neighbour's", "[band]") {
    CHECK(sequence_band(*parse_band("CV")).name() == "V");
    CHECK(sequence_band(*parse_band("TG")).name() == "V");
    CHECK(sequence_band(*parse_band("TB")).name() == "B");
    CHECK(sequence_band(*parse_band("TR")).name() == "Rc");
    CHECK(sequence_band(*parse_band("CR")).name() == "Rc");
}

TEST_CASE("every band's facts name bands that exist", "[band]") {
    for (const BandFacts& band : all_bands()) {
        INFO(band.name);
        CHECK(parse_band(band.calibrated_on));
        CHECK(parse_band(band.colour_blue));
        CHECK(parse_band(band.colour_red));
        CHECK(band.wavelength_nm > 300.0);
    }
}
