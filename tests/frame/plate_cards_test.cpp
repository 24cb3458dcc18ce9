// SPDX-License-Identifier: MIT
// CRPIX′ = (CRPIX − p + 1)/2 and CD′ = 2 CD follow from where the pixels' centres lie (Greisen & Calabretta
// 2002, A&A 395, 1061, equation 1); A′_pq = 2^(p + q − 1) A_pq from the SIP convention (Shupe et al. 2005,
// ASPC 347, 491), whose powers end at 9.
#include "frame/plate_cards.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "frame/header_of.hpp"

using namespace emberline;
using test::header_of;

namespace {

std::string value_in(const Result<std::vector<frame::Card>>& cards, const std::string& keyword) {
    REQUIRE(cards);
    const auto found = std::find_if(cards->begin(), cards->end(),
                                    [&](const frame::Card& card) { return card.keyword == keyword; });
    return found == cards->end() ? "" : found->value;
}

}  // namespace

TEST_CASE("a plate solution halved by hand", "[plate_cards]") {
    const auto header = header_of({"OBJECT  = 'DEMO SN 1'", "CTYPE1  = 'RA---TAN-SIP'", "CRPIX1  = 21.0",
                                   "CD1_1   = -0.0005", "A_ORDER = 2", "A_2_0   = 0.001", "A_0_1   = 0.25"});
    const auto whole = frame::plate_cards(header);
    CHECK(value_in(whole, "CRPIX1") == "21.0");
    CHECK(value_in(whole, "OBJECT").empty());
    const auto halved = frame::halved_plate_cards(header, 1.0, 0.0);
    CHECK(value_in(halved, "CRPIX1") == "10.5");
    CHECK(value_in(halved, "CD1_1") == "-0.001");
    CHECK(value_in(halved, "A_2_0") == "0.002");
    CHECK(value_in(halved, "A_0_1") == "0.25");
    CHECK(value_in(halved, "A_ORDER") == "2");
}

// It went without: the copy's solution then had no distortion, or a projection that no reader knows.
TEST_CASE("a distortion goes with its solution, or the solution does not go", "[plate_cards]") {
    const auto polynomial = header_of({"CTYPE1  = 'RA---TAN'", "CTYPE2  = 'DEC--TAN'", "CPDIS1  = 'TPD'",
                                       "DP1     = 'NAXES: 2'", "DP1     = 'TPD.FWD.3: 1E-5'"});
    const auto carried = frame::plate_cards(polynomial);
    REQUIRE(carried);
    CHECK(std::count_if(carried->begin(), carried->end(),
                        [](const frame::Card& card) { return card.keyword == "DP1"; }) == 2);
    CHECK(value_in(carried, "CPDIS1") == "TPD");
    CHECK_FALSE(frame::halved_plate_cards(polynomial, 0.0, 0.0));
    for (const char* type : {"RA---TNX", "RA---ZPX"}) {
        const auto header = header_of({std::string("CTYPE1  = '") + type + "'",
                                       "WAT1_001= 'wtype=tnx axtype=ra lngcor = \"3. 4. 4. 2. '"});
        INFO(type);
        const auto refused = frame::plate_cards(header);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().where == "keyword CTYPE1");
        CHECK_FALSE(frame::halved_plate_cards(header, 0.0, 0.0));
    }
    // WAT cards beside a projection that needs none say nothing more.
    CHECK(frame::plate_cards(header_of({"CTYPE1  = 'RA---TAN'", "WAT1_001= 'wtype=tan axtype=ra'"})));
}

// Their sum overflowed.
TEST_CASE("a power that no polynomial has is no coefficient", "[plate_cards]") {
    const auto halved = frame::halved_plate_cards(
        header_of({"HIERARCH A_9223372036854775807_1 = 1.0", "HIERARCH A_-3_2 = 1.0"}), 0.0, 0.0);
    CHECK(value_in(halved, "A_9223372036854775807_1") == "1.0");
    CHECK(value_in(halved, "A_-3_2") == "1.0");
}
