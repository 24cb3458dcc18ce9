// SPDX-License-Identifier: MIT
#include "picture/curve_picture.hpp"

#include <stdlib.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

#include "picture/gnuplot_process.hpp"
#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using emberline::test::TemporaryFolder;
namespace fs = std::filesystem;
using namespace std::string_literals;
using Catch::Contains;

namespace {

lightcurve::LightCurve fading(const std::string& band, double first_mag) {
    lightcurve::LightCurve curve;
    curve.band = parse_band(band).value();
    curve.common_names = {"catalogue zero point"};
    constexpr double wiggle[] = {0.01, -0.02, 0.015, 0.0, -0.01, 0.02};
    for (int i = 0; i < 6; ++i) {
        lightcurve::Point point;
        point.bjd_tdb = 2460400.6 + 2.0 * i;
        point.jd_utc = point.bjd_tdb - 0.003;
        point.magnitude_mag = first_mag + 0.1 * 2.0 * i + wiggle[i];
        point.random_err_mag = 0.02;
        point.common_err_mag = {0.03};
        curve.points.push_back(point);
    }
    return curve;
}

// V with a fit and a limit at the end, B without a fit.
picture::CurvePicture two_bands() {
    picture::CurveOnPaper v{.curve = fading("V", 15.0)};
    lightcurve::Point limit;
    limit.bjd_tdb = limit.jd_utc = 2460415.6;
    limit.is_limit = true;
    limit.limit_mag = 16.2;
    v.curve.points.push_back(limit);
    v.fit = lightcurve::fit(v.curve, lightcurve::straight_line()).value();
    return {.title = "DEMO SN 1",
            .subtitle = {"V: 0.1000 ± 0.0020 mag/d"},
            .bands = {v, {.curve = fading("B", 15.6)}}};
}

void require_drawn(const Result<void>& drawn) {
    INFO((drawn ? std::string() : one_line(drawn.error())));
    REQUIRE(drawn);
}

std::string contents(const std::string& path) {
    const auto text = read_text_file(path);
    REQUIRE(text);
    return *text;
}

}  // namespace

TEST_CASE("two bands, a limit and a fit are drawn as SVG, PDF and PNG", "[picture]") {
    const TemporaryFolder folder;
    const auto picture = two_bands();
    for (const std::string name : {"curve.svg", "curve.pdf", "curve.png", "LOUD.SVG"}) {
        CAPTURE(name);
        require_drawn(picture::draw_curve(picture, folder / name));
    }
    // ISO 32000-1, 7.5.2; RFC 2083, 3.1.
    CHECK(contents(folder / "curve.pdf").starts_with("%PDF-"));
    CHECK_THAT(contents(folder / "curve.pdf"), Contains("%%EOF"));
    const std::string png = contents(folder / "curve.png");
    CHECK(png.starts_with("\x89PNG\r\n\x1a\n"));
    CHECK_THAT(png, Contains("IEND"));
    const std::string svg = contents(folder / "curve.svg");
    CHECK(svg.starts_with("<?xml"));
    CHECK_THAT(svg, Contains("<svg") && Contains("</svg>"));
    CHECK_THAT(svg, Contains("DEMO SN 1") && Contains("0.1000 ± 0.0020 mag/d"));
    CHECK(contents(folder / "LOUD.SVG") == svg);
    // Nothing half-made stays behind.
    CHECK(folder.names() == std::vector<std::string>{"LOUD.SVG", "curve.pdf", "curve.png", "curve.svg"});
}

TEST_CASE("a picture replaces the one before it", "[picture]") {
    const TemporaryFolder folder;
    auto picture = two_bands();
    require_drawn(picture::draw_curve(picture, folder / "curve.svg"));
    picture.title = "DEMO SN 2";
    require_drawn(picture::draw_curve(picture, folder / "curve.svg"));
    CHECK_THAT(contents(folder / "curve.svg"), Contains("DEMO SN 2") && !Contains("DEMO SN 1"));
    CHECK(folder.names().size() == 1);
}

TEST_CASE("an ending that is no picture's is refused before anything is written", "[picture]") {
    const TemporaryFolder folder;
    for (const std::string name : {"curve.gif", "curve", "curve.svg.txt", ".svg"}) {
        CAPTURE(name);
        const auto drawn = picture::draw_curve(two_bands(), folder / name);
        REQUIRE_FALSE(drawn);
        CHECK(drawn.error().kind == ProblemKind::request);
        CHECK(drawn.error().where == folder / name);
        CHECK_THAT(drawn.error().mend, Contains(".svg, .pdf or .png"));
    }
    CHECK(folder.names().empty());
}

TEST_CASE("a folder that cannot be written to is a problem, not a crash", "[picture]") {
    const TemporaryFolder folder;
    REQUIRE(write_text_file(folder / "file", "not a folder"));
    // Permissions bind no superuser, so the folder is one that does not exist, or is a file.
    for (const std::string name : {"missing/curve.svg", "file/curve.svg"}) {
        CAPTURE(name);
        const auto drawn = picture::draw_curve(two_bands(), folder / name);
        REQUIRE_FALSE(drawn);
        CHECK(drawn.error().kind == ProblemKind::storage);
        CHECK_THAT(drawn.error().what, Contains("cannot be written"));
        CHECK(drawn.error().where == folder / name);
    }
    // A folder where the picture should be stays a folder, and nothing stays beside it.
    fs::create_directory(folder / "curve.png");
    const auto drawn = picture::draw_curve(two_bands(), folder / "curve.png");
    REQUIRE_FALSE(drawn);
    CHECK(drawn.error().kind == ProblemKind::storage);
    CHECK(folder.names() == std::vector<std::string>{"curve.png", "file"});
}

TEST_CASE("hostile words in a title neither run nor break the picture", "[picture]") {
    const TemporaryFolder folder;
    const std::string touch = "touch " + (folder / "owned");
    const std::string words[] = {
        "x'; system('" + touch + "'); '",
        "x\"; system(\"" + touch + "\"); \"",
        "`" + touch + "`",
        "$(" + touch + ")",
        "one\n!" + touch + "\nset output '" + (folder / "owned") + "'\nexit",
        "two\r\nshell\r\n" + touch,
        "' . system(\"" + touch + "\") . '",
        "@macro %s %d \\n \\ {/Symbol a} ^{b}_{c} &{d} #",
        "</text><script>alert(1)</script>&amp;",
        "zero\0byte \x01\x7f \xff\xfe bad UTF-8 \xe2\x82"s,
        std::string(20000, '\''),
        "",
    };
    for (const std::string& hostile : words) {
        CAPTURE(hostile.substr(0, 100));
        auto picture = two_bands();
        picture.title = hostile;
        picture.subtitle = {hostile, hostile};
        picture.bands[0].curve.series = {hostile};
        picture.bands[0].curve.points[0].label = hostile;
        picture.bands[0].fit->model = hostile;
        require_drawn(picture::draw_curve(picture, folder / "curve.svg"));
        const std::string svg = contents(folder / "curve.svg");
        CHECK_THAT(svg, Contains("</svg>") && !Contains("<script>alert"));
        CHECK(folder.names() == std::vector<std::string>{"curve.svg"});
    }
}

TEST_CASE("quoted text stays on one line between its quotes", "[picture]") {
    CHECK(picture::gnuplot_text("DEMO SN 1") == "'DEMO SN 1'");
    CHECK(picture::gnuplot_text("it's") == "'it\u2019s'");
    CHECK(picture::gnuplot_text("''x''") == "'\u2019\u2019x\u2019\u2019'");
    CHECK(picture::gnuplot_text("a\nb\tc\x01") == "'a b c '");
    CHECK(picture::gnuplot_text("±") == "'±'");
    CHECK(picture::gnuplot_text("\xff") == "'?'");
    CHECK(picture::gnuplot_text("") == "''");
}

TEST_CASE("what cannot be drawn is said or left out", "[picture]") {
    const TemporaryFolder folder;
    CHECK_FALSE(picture::draw_curve({}, folder / "curve.svg"));
    CHECK_FALSE(picture::draw_curve({.title = "DEMO SN 1", .bands = {{}}}, folder / "curve.svg"));
    CHECK(folder.names().empty());

    constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
    auto picture = two_bands();
    picture.bands[0].curve.points[0].magnitude_mag = not_a_number;
    picture.bands[0].curve.points[1].bjd_tdb = not_a_number;
    picture.bands[0].curve.points[2].random_err_mag = not_a_number;
    picture.bands[0].fit->prediction = nullptr;
    require_drawn(picture::draw_curve(picture, folder / "curve.svg"));
    CHECK_THAT(contents(folder / "curve.svg"), !Contains("nan"));
}

TEST_CASE("gnuplot's own words reach the observer when it fails", "[picture]") {
    const TemporaryFolder folder;
    const auto wrong =
        picture::run_gnuplot("set terminal svg\nplot nothing_of_that_name\n", folder / "a.svg");
    REQUIRE_FALSE(wrong);
    CHECK(wrong.error().kind == ProblemKind::storage);
    CHECK_THAT(wrong.error().what, Contains("nothing_of_that_name"));
    const auto endless = picture::run_gnuplot("while (1) { x = 1 }\n", folder / "a.svg", 0.3);
    REQUIRE_FALSE(endless);
    CHECK_THAT(endless.error().what, Contains("did not finish"));
    CHECK(folder.names().empty());
}
