// SPDX-License-Identifier: MIT
#include "picture/night_picture.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <string>

#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

std::vector<night::JudgedExposure> exposures_of(int count) {
    std::vector<night::JudgedExposure> all;
    for (int i = 0; i < count; ++i) {
        night::JudgedExposure e;
        e.night = "2024-03-18";
        e.band = parse_band(i % 2 == 0 ? "V" : "B").value();
        e.jd_utc = 2460388.40 + 0.005 * i;
        e.transparency = 1.0 - 0.02 * i;
        e.fwhm_arcsec = 3.0 + 0.1 * i;
        e.sky_mag_arcsec2 = 20.0 - 0.05 * i;
        e.flipped = i >= count / 2;
        e.used = i != 3;
        all.push_back(e);
    }
    return all;
}

std::size_t count(const std::string& text, const std::string& what) {
    std::size_t n = 0;
    for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + what.size()))
        ++n;
    return n;
}

}  // namespace

TEST_CASE("a night's picture has a mark for each exposure in each panel, refused ones open",
          "[night-picture]") {
    const TemporaryFolder folder;
    const std::string path = folder / "night.svg";
    REQUIRE(picture::draw_night(exposures_of(10), "2024-03-18", path));
    const auto svg = read_text_file(path);
    REQUIRE(svg);
    // Three panels of 10 marks, each drawn by reference to its shape; the key has V, B and "not used". Where
    // a shape is made is no mark, and each plot of a band has one such for its key at most.
    const auto with = count(*svg, "<use xlink:href='#gpPt");
    auto one_less = exposures_of(10);
    one_less.pop_back();
    REQUIRE(picture::draw_night(one_less, "2024-03-18", folder / "less.svg"));
    const auto without = read_text_file(folder / "less.svg");
    REQUIRE(without);
    CHECK(with - count(*without, "<use xlink:href='#gpPt") == 3);
    CHECK(with >= 3 * 10 + 3);
    CHECK_THAT(*svg, Contains("The night of 2024-03-18"));
    CHECK_THAT(*svg, Contains("10 exposures, 9 in use"));
    CHECK_THAT(
        *svg, Contains("light let through (%)") && Contains("width of stars (″)") && Contains("mag/arcsec²"));
    CHECK_THAT(*svg, Contains("not used") && Contains("flip") && Contains("time (UTC)"));
    REQUIRE(picture::draw_night(exposures_of(3), "2024-03-18", path));
    CHECK_THAT(*read_text_file(path), !Contains("not used"));
}

TEST_CASE("one exposure, and one without a zero point, can be drawn", "[night-picture]") {
    const TemporaryFolder folder;
    auto one = exposures_of(1);
    REQUIRE(picture::draw_night(one, "2024-03-18", folder / "one.svg"));
    one[0].transparency.reset();
    one[0].sky_mag_arcsec2.reset();
    REQUIRE(picture::draw_night(one, "2024-03-18", folder / "none.svg"));
    CHECK_THAT(*read_text_file(folder / "none.svg"), Contains("no zero point"));
}

TEST_CASE("a night without exposures, and a file of another kind, are refused", "[night-picture]") {
    const TemporaryFolder folder;
    CHECK_FALSE(picture::draw_night({}, "2024-03-18", folder / "night.svg"));
    const auto refused = picture::draw_night(exposures_of(2), "2024-03-18", folder / "night.gif");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().mend, Contains(".svg"));
    CHECK(folder.names().empty());
}
