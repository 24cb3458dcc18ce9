// SPDX-License-Identifier: MIT
#include "standard/sequence.hpp"

#include <catch2/catch.hpp>

using namespace emberline;

TEST_CASE("a published sequence is read with its errors and colours", "[sequence]") {
    // AAVSO sequence as reproduced by M. Richmond (RIT), 2011: star 128 has B 13.553, V 12.751 ± 0.031.
    const auto sequence = standard::read_sequence(EMBERLINE_TEST_DATA "/comparison_sequence_2011fe.csv");
    REQUIRE(sequence);
    REQUIRE(sequence->stars.size() == 6);
    const auto* star = sequence->find("128");
    REQUIRE(star != nullptr);
    CHECK(star->magnitude(*parse_band("V")) == ValueWithError{12.751, 0.031});
    CHECK(star->colour(*parse_colour_index("B-V"))->value == Approx(0.802));
    CHECK(star->magnitude(*parse_band("R"))->value == 12.253);
    const auto again = standard::parse_sequence(standard::write_sequence(*sequence), "again");
    REQUIRE(again);
    CHECK(again->find("131")->magnitudes == sequence->find("131")->magnitudes);
}

TEST_CASE("a faulty sequence is refused by line and column", "[sequence]") {
    const struct {
        const char* text;
        const char* where;
    } cases[] = {
        {"label,ra,V\n", "s.csv"},
        {"label,ra,dec,V,Q\n", "s.csv, column 5"},
        {"label,ra,dec,V\n126,10,20,bright\n", "s.csv, line 2, column 'V'"},
        {"label,ra,dec,V,V_err\n126,10,20,12.6,-0.1\n", "s.csv, line 2, column 'V_err'"},
        {"label,ra,dec,V\n126,370,20,12.6\n", "s.csv, line 2, column 'ra'"},
        {"label,ra,dec,V,role\n126,10,20,12.6,main\n", "s.csv, line 2, column 'role'"},
        {"label,ra,dec,V\n126,10,20,12.6\n126,11,20,12.7\n", "s.csv, line 3, column 'label'"},
        {"label,ra,dec,V\n126,10,20,12.6\n127,10,20,12.7\n", "s.csv, lines 2 and 3"},
    };
    for (const auto& c : cases) {
        const auto sequence = standard::parse_sequence(c.text, "s.csv");
        INFO(c.text);
        REQUIRE_FALSE(sequence);
        CHECK(sequence.error().where == c.where);
        CHECK_FALSE(sequence.error().mend.empty());
    }
}

TEST_CASE("a label that a star cannot have is refused with the reason that holds for it", "[sequence]") {
    const auto refused = [](const std::string& label) {
        const auto sequence = standard::parse_sequence("label,ra,dec,V\n" + label + ",10,20,12.6\n", "s.csv");
        REQUIRE_FALSE(sequence);
        CHECK(sequence.error().where == "s.csv, line 2, column 'label'");
        return sequence.error().what;
    };
    CHECK(refused("transient") == "A star cannot be labelled 'transient': that is the transient's.");
    // It was said to be the transient's too.
    CHECK(refused("@126") == "A star cannot be labelled '@126': no label begins with '@'.");
    CHECK(refused("") == "The star has no label.");
}

TEST_CASE("an empty magnitude is unknown, a missing error is assumed", "[sequence]") {
    const auto sequence = standard::parse_sequence("label,ra,dec,B,V,V_err\n126,10,20,,12.6,\n", "s.csv");
    REQUIRE(sequence);
    CHECK_FALSE(sequence->stars[0].magnitude(*parse_band("B")));
    CHECK(sequence->stars[0].magnitude(*parse_band("V"))->err == standard::assumed_catalogue_err_mag);
    CHECK(sequence->remarks.size() == 2);  // no B_err column, no role column
}
