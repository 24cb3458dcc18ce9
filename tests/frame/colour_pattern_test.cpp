// SPDX-License-Identifier: MIT
#include "frame/colour_pattern.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>

#include "frame/fits_maker.hpp"
#include "header_of.hpp"

using namespace emberline;
using namespace emberline::frame;
using test::header_of;
using test::remarks_on;

namespace {

constexpr const char* words[] = {"RGGB", "BGGR", "GRBG", "GBRG"};

struct Read {
    Result<std::optional<Fact<ColourPattern>>> pattern;
    FrameFacts facts;
    // "RGGB", "none" or "problem".
    [[nodiscard]] std::string word() const {
        if (!pattern) return "problem";
        return *pattern ? (*pattern)->value.word() : "none";
    }
};

Read read(const Header& header, int height_px = 100, const Instrument& instrument = {}) {
    FrameFacts facts;
    facts.width_px = 120;
    facts.height_px = height_px;
    auto pattern = read_colour_pattern(header, instrument, facts);
    return {std::move(pattern), facts};
}

Read read_lines(std::initializer_list<std::string> lines, int height_px = 100) {
    return read(header_of(lines), height_px);
}

Instrument with_pattern(const std::string& word) {
    Instrument instrument;
    instrument.pattern = word;
    return instrument;
}

}  // namespace

// Common practice, no source: with RGGB an offset of one column gives GRBG, of one row GBRG, of both BGGR.
TEST_CASE("offsets of the pattern are added, whole steps of two are none", "[pattern]") {
    const struct {
        const char *x, *y, *expected;
    } cases[] = {{"0", "0", "RGGB"}, {"1", "0", "GRBG"},  {"0", "1", "GBRG"},  {"1", "1", "BGGR"},
                 {"2", "0", "RGGB"}, {"3", "-1", "BGGR"}, {"-1", "4", "GRBG"}, {"'1'", "0.0", "GRBG"}};
    for (const auto& c : cases) {
        INFO(c.x << ' ' << c.y);
        CHECK(read_lines(
                  {"BAYERPAT= 'RGGB    '", std::string("XBAYROFF= ") + c.x, std::string("YBAYROFF= ") + c.y})
                  .word() == c.expected);
    }
    const auto half = read_lines({"BAYERPAT= 'RGGB    '", "XBAYROFF= 0.5"});
    CHECK(half.word() == "RGGB");
    CHECK(remarks_on(half.facts, "XBAYROFF is '0.5'"));
}

// Common practice, no source: the pattern is given as seen with the top row first; turning an even number of
// rows over makes RGGB GBRG, an odd number leaves it.
TEST_CASE("the order of rows moves the pattern where the number of rows is even", "[pattern]") {
    const std::pair<const char*, const char*> turned[] = {
        {"RGGB", "GBRG"}, {"BGGR", "GRBG"}, {"GRBG", "BGGR"}, {"GBRG", "RGGB"}};
    for (const auto& [word, upside_down] : turned) {
        const std::string card = std::string("BAYERPAT= '") + word + "'";
        for (const int height : {100, 101}) {
            INFO(word << ' ' << height);
            CHECK(read_lines({card}, height).word() == word);
            CHECK(read_lines({card, "ROWORDER= 'TOP-DOWN'"}, height).word() == word);
            CHECK(read_lines({card, "ROWORDER= 'BOTTOM-UP'"}, height).word() ==
                  std::string(height % 2 == 0 ? upside_down : word));
            // What a program that writes BOTTOM-UP must state is what is read back.
            const ColourPattern stored = *parse_colour_pattern(word);
            CHECK(stored.upside_down(height).upside_down(height) == stored);
            CHECK(
                read_lines({"BAYERPAT= '" + stored.upside_down(height).word() + "'", "ROWORDER= 'bottom-up'"},
                           height)
                    .word() == word);
        }
    }
    const auto odd = read_lines({"BAYERPAT= 'RGGB'", "ROWORDER= 'SIDEWAYS'"});
    CHECK(odd.word() == "RGGB");
    CHECK(remarks_on(odd.facts, "SIDEWAYS"));
}

// A frame turned over pixel by pixel, which knows nothing of the rule.
TEST_CASE("rows stored from the bottom or from the top hold the same colours", "[pattern]") {
    for (const char* word : words) {
        for (const int height : {6, 7}) {
            const ColourPattern seen = *parse_colour_pattern(word);
            const auto stored =
                read_lines({std::string("BAYERPAT= '") + word + "'", "ROWORDER= 'BOTTOM-UP'"}, height);
            for (int y = 0; y < height; ++y) {
                for (int x = 0; x < 4; ++x) {
                    // Row y of the file is row height − 1 − y as it is seen.
                    CHECK((*stored.pattern)->value.at(x, y) == seen.at(x, height - 1 - y));
                }
            }
        }
    }
}

TEST_CASE("the dialects of the pattern are read", "[pattern]") {
    CHECK(read_lines({"BAYERPAT= 'grbg  '"}).word() == "GRBG");
    CHECK(read_lines({"BAYERPAT= 'GR/BG'"}).word() == "GRBG");
    CHECK(read_lines({"BAYERPAT= 'BAYER_BG'"}).word() == "BGGR");
    CHECK(read_lines({"BAYERPAT= 'GB'"}).word() == "GBRG");
    CHECK(read_lines({"COLORTYP= 'RGGB'"}).word() == "RGGB");
    CHECK(read_lines({"CFAPAT  = 'GBRG'"}).word() == "GBRG");
    CHECK(read_lines({"CFA     = 'BGGR'"}).word() == "BGGR");
    CHECK(read_lines({"FILTER  = 'RGGB'"}).word() == "RGGB");
    CHECK((*read_lines({"FILTER  = 'RGGB'"}).pattern)->source == "FILTER");
    // The one that holds a pattern and nothing else is believed first.
    CHECK(read_lines({"FILTER  = 'RGGB'", "BAYERPAT= 'GRBG'"}).word() == "GRBG");
}

TEST_CASE("frames without a pattern are no mosaics", "[pattern]") {
    CHECK(read_lines({"FILTER  = 'V'"}).word() == "none");
    CHECK(read_lines({"BAYERPAT= ''"}).word() == "none");
    CHECK(read_lines({"BAYERPAT= 'NONE'"}).word() == "none");
    CHECK(read_lines({"BAYERPAT= 'Mono'"}).word() == "none");
    CHECK(read_lines({"COLORTYP= 'MONO'"}).word() == "none");
    CHECK(read_lines({"CFA     = T"}).word() == "none");
    CHECK(read_lines({"FILTER  = 'R'"}).word() == "none");
    CHECK(read_lines({"FILTER  = 'GB'"}).word() == "none");
    for (const char* wrong : {"", "RGB", "RRGB", "RGGBX", "GGRB", "RGBG"})
        CHECK_FALSE(parse_colour_pattern(wrong));
}

TEST_CASE("a pattern that means nothing is a problem with its keyword and its mend", "[pattern]") {
    for (const char* wrong : {"RGBX", "TRUE", "5", "RGBG", "CYGM", "RRRR"}) {
        const auto found = read_lines({std::string("BAYERPAT= '") + wrong + "'"});
        INFO(wrong);
        REQUIRE_FALSE(found.pattern);
        CHECK(found.pattern.error().what.find("BAYERPAT is '" + std::string(wrong)) == 0);
        CHECK(found.pattern.error().where == "BAYERPAT");
        CHECK(found.pattern.error().mend.find("pattern = \"RGGB\"") != std::string::npos);
    }
    const auto wide = read_lines({"BAYERPAT= 'GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG'"});
    REQUIRE_FALSE(wide.pattern);
    CHECK(wide.pattern.error().what.find("2 × 2") != std::string::npos);
    FrameFacts thin;
    thin.width_px = 1;
    thin.height_px = 50;
    CHECK_FALSE(read_colour_pattern(header_of({"BAYERPAT= 'RGGB'"}), {}, thin));
}

TEST_CASE("the campaign's pattern wins, and what it overrules is remarked", "[pattern]") {
    const auto none = read(header_of({"BAYERPAT= 'RGGB'"}), 100, with_pattern("none"));
    CHECK(none.word() == "none");
    CHECK(remarks_on(none.facts, "BAYERPAT says RGGB, the campaign none"));
    const auto other = read(header_of({"BAYERPAT= 'RGGB'"}), 100, with_pattern("gbrg"));
    CHECK(other.word() == "GBRG");
    CHECK(remarks_on(other.facts, "BAYERPAT says RGGB, the campaign GBRG"));
    const auto same =
        read(header_of({"BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"}), 100, with_pattern("GBRG"));
    CHECK(same.word() == "GBRG");
    CHECK(same.facts.remarks.empty());
    CHECK(read(header_of({"FILTER  = 'V'"}), 100, with_pattern("BGGR")).word() == "BGGR");
    // It mends a header that means nothing.
    CHECK(read(header_of({"BAYERPAT= 'QQQQ'"}), 100, with_pattern("RGGB")).word() == "RGGB");
    const auto wrong = read(header_of({}), 100, with_pattern("RGBG"));
    REQUIRE_FALSE(wrong.pattern);
    CHECK(wrong.pattern.error().kind == ProblemKind::request);
}

TEST_CASE("an odd sub-frame and binning are remarked", "[pattern]") {
    const auto column = read_lines({"BAYERPAT= 'RGGB'", "XORGSUBF= 101", "YORGSUBF= 40"});
    CHECK(column.word() == "RGGB");
    CHECK(remarks_on(column.facts, "odd column"));
    CHECK(remarks_on(column.facts, "the pattern here is GRBG, not RGGB"));
    CHECK_FALSE(column.facts.caveats.has(Caveat::pattern_doubtful));
    // Red and blue exchanged: the greens cannot tell.
    const auto both = read_lines({"BAYERPAT= 'RGGB'", "XORGSUBF= 101", "YORGSUBF= 41"});
    CHECK(remarks_on(both.facts, "the pattern here is BGGR, not RGGB"));
    CHECK(both.facts.caveats.has(Caveat::pattern_doubtful));
    // Offsets that are stated answer the question.
    const auto stated =
        read_lines({"BAYERPAT= 'RGGB'", "XORGSUBF= 101", "YORGSUBF= 41", "XBAYROFF= 1", "YBAYROFF= 1"});
    CHECK(stated.word() == "BGGR");
    CHECK(stated.facts.remarks.empty());
    CHECK(read_lines({"BAYERPAT= 'RGGB'", "XORGSUBF= 100"}).facts.remarks.empty());
    CHECK(remarks_on(read_lines({"BAYERPAT= 'RGGB'", "XBINNING= 2", "YBINNING= 2"}).facts, "binned mosaic"));
    CHECK(remarks_on(read_lines({"BAYERPAT= 'GBRG'", "BINNING = '2*2'"}).facts, "binned mosaic"));
    CHECK(read_lines({"BAYERPAT= 'GBRG'", "XBINNING= 1"}).facts.remarks.empty());
}

TEST_CASE("headers of real colour cameras give their pattern", "[pattern][real]") {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder == nullptr || *folder == '\0') {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set, so the headers of real cameras were not read.");
        return;
    }
    const auto of = [&](const std::string& name) {
        std::ifstream file(std::string(folder) + "/headers/real_camera_headers/" + name);
        REQUIRE(file);
        std::vector<std::string> lines;
        for (std::string line; std::getline(file, line);)
            lines.push_back(line);
        const Header header = parse_header(testing::cards(lines));
        return read(header, static_cast<int>(header.integer("NAXIS2").value_or(0)));
    };
    // Read off the headers with the eye.
    CHECK(of("camera1_mono.hdr.txt").word() == "none");
    CHECK(of("camera2_mono_sip.hdr.txt").word() == "none");
    CHECK(of("camera3_osc_b.hdr.txt").word() == "none");  // a colour camera that does not say so
    const auto plain = of("camera4_osc_bayerpat_rggb.hdr.txt");
    CHECK(plain.word() == "RGGB");
    CHECK(plain.facts.remarks.empty());
    CHECK(of("camera5_osc_m57_tan.hdr.txt").word() == "none");
    const auto binned = of("camera6_osc_bayerpat_gbrg.hdr.txt");
    CHECK(binned.word() == "GBRG");
    CHECK(remarks_on(binned.facts, "binned mosaic"));
    // camera7 is a cube with a pattern left over: see mosaic_frame_test.cpp.
}
