// SPDX-License-Identifier: MIT
#include "picture/finder_chart.hpp"

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <random>
#include <regex>
#include <string>

#include "picture/label_places.hpp"
#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;
using namespace emberline::picture;
using Catch::Contains;

namespace {

const SkyPosition transient{Angle::degrees(201.338), Angle::degrees(37.27)};

SkyPosition beside(double east_arcmin, double north_arcmin) {
    return displaced(transient, {Angle::arcminutes(east_arcmin), Angle::arcminutes(north_arcmin)});
}

FinderChart small_chart() {
    FinderChart chart;
    chart.name = "DEMO SN 1";
    chart.transient = transient;
    chart.radius_arcmin = 10.0;
    chart.band = "V";
    chart.catalogue = "Gaia DR3";
    chart.epoch_jyear = 2024.1;
    chart.stars = {{beside(4.0, 3.0), 12.6}, {beside(-5.0, 2.0), 13.1}, {beside(1.0, -6.0), 14.2}};
    chart.marks = {{chart.stars[0], "126", false}, {chart.stars[1], "131", true}};
    return chart;
}

std::string svg_of(const FinderChart& chart) {
    const TemporaryFolder folder;
    const auto drawn = draw_finder_chart(chart, folder / "finder.svg");
    if (!drawn) FAIL(one_line(drawn.error()));
    const auto svg = read_text_file(folder / "finder.svg");
    REQUIRE(svg);
    return *svg;
}

std::size_t count(const std::string& text, const std::string& what) {
    std::size_t n = 0;
    for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + what.size()))
        ++n;
    return n;
}

const std::string disc = "<use xlink:href='#gpPt6' transform";

double overlap(const PaperBox& a, const PaperBox& b) {
    return std::max(0.0, std::min(a.right, b.right) - std::max(a.left, b.left)) *
           std::max(0.0, std::min(a.bottom, b.bottom) - std::max(a.top, b.top));
}

}  // namespace

TEST_CASE("a finder chart says what and where it shows", "[finder-chart]") {
    auto chart = small_chart();
    const std::string svg = svg_of(chart);
    CHECK_THAT(svg, Contains("DEMO SN 1") && Contains("13:25:21.12   +37:16:12.0") && Contains("2024.1"));
    CHECK_THAT(svg, Contains("3 stars to V 14.2 of Gaia DR3"));
    CHECK_THAT(svg, Contains(">126<") && Contains(">131<") && Contains("check star"));
    CHECK_THAT(svg, Contains("east of the transient"));
    CHECK_THAT(svg, !Contains("nucleus"));
    // The reticle's four ticks, in the field and in the legend, in ember (#e4572e).
    CHECK(std::regex_search(svg, std::regex("rgb\\(228, *87, *46\\)")));

    chart.nucleus = displaced(transient, {Angle::arcseconds(14.0), Angle::arcseconds(-7.0)});
    CHECK_THAT(svg_of(chart), Contains("nucleus") && Contains("the middle, 90″ wide"));
    chart.nucleus = beside(4.0, 0.0);
    CHECK_THAT(svg_of(chart), Contains("nucleus") && !Contains("the middle"));
    chart.transient.dec = -chart.transient.dec;
    CHECK_THAT(svg_of(chart), Contains("−37:16:12.0"));
}

TEST_CASE("east is to the left, north is up, brighter is larger", "[finder-chart]") {
    auto chart = small_chart();
    chart.marks.clear();
    chart.stars = {{beside(5.0, 2.5), 12.0}, {beside(-5.0, -2.5), 15.0}};
    const std::string svg = svg_of(chart);
    // Each disc is a rim and the disc proper, the brighter star's first; then come the legend's, so only
    // those of the field are looked at: 66 to 786 across, 100 to 820 down, 36 units an arcminute.
    const std::regex one(disc + "='translate\\(([0-9.]+),([0-9.]+)\\) scale\\(([0-9.]+)\\)'");
    std::vector<std::array<double, 3>> found;
    for (std::sregex_iterator it(svg.begin(), svg.end(), one), end; it != end; ++it) {
        const std::array<double, 3> at{std::stod((*it)[1]), std::stod((*it)[2]), std::stod((*it)[3])};
        if (at[0] > 67.0 && at[0] < 786.0 && at[2] > 0.5) found.push_back(at);
    }
    REQUIRE(found.size() == 4);
    CHECK(found[0][0] == Approx(426.0 - 180.0).margin(0.2));
    CHECK(found[0][1] == Approx(460.0 - 90.0).margin(0.2));
    CHECK(found[2][0] == Approx(426.0 + 180.0).margin(0.2));
    CHECK(found[2][1] == Approx(460.0 + 90.0).margin(0.2));
    CHECK(found[1][2] > 2.0 * found[3][2]);
    CHECK(found[0][2] > found[1][2]);  // the rim
}

TEST_CASE("stars outside the chart, or without a magnitude, are not drawn", "[finder-chart]") {
    auto chart = small_chart();
    const auto usual = count(svg_of(chart), disc);
    chart.stars.push_back({beside(10.5, 0.0), 13.5});
    chart.stars.push_back({beside(0.0, -11.0), 13.5});
    chart.stars.push_back({beside(2.0, 2.0), std::nan("")});
    chart.stars.push_back({{transient.ra + Angle::degrees(180.0), -transient.dec}, 13.5});
    chart.marks.push_back({{beside(12.0, 0.0), 13.5}, "135", false});
    const auto svg = svg_of(chart);
    CHECK(count(svg, disc) == usual);
    CHECK_THAT(svg, !Contains(">135<"));
    chart.stars.push_back({beside(3.0, -3.0), 13.5});
    CHECK(count(svg_of(chart), disc) == usual + 2);
}

TEST_CASE("of very many stars the brightest are drawn, and those that are marked", "[finder-chart]") {
    auto chart = small_chart();
    std::mt19937_64 generator(3);
    std::uniform_real_distribution<double> place(-9.9, 9.9), unit(0.0, 1.0);
    for (int i = 0; i < 6000; ++i)
        chart.stars.push_back(
            {beside(place(generator), place(generator)), 12.0 + 7.0 * std::sqrt(unit(generator))});
    chart.stars.push_back({beside(-8.0, -8.0), 19.0});
    chart.marks.push_back({chart.stars.back(), "190", false});
    const std::string svg = svg_of(chart);
    CHECK_THAT(svg, Contains("1500 stars to V 15."));
    CHECK_THAT(svg, Contains(">190<"));
    // 1501 rims and discs, and the legend's.
    CHECK(count(svg, disc) >= 3002);
    CHECK(count(svg, disc) < 3040);
    CHECK(svg.size() < 500000);
}

TEST_CASE("a chart is drawn of no star at all, under any name, on each kind of paper", "[finder-chart]") {
    const TemporaryFolder folder;
    auto chart = small_chart();
    chart.stars.clear();
    chart.marks.clear();
    chart.name = "l'étoile \"x\" % {/Symbol a}\n; exit";
    REQUIRE(draw_finder_chart(chart, folder / "a.svg"));
    CHECK_THAT(*read_text_file(folder / "a.svg"), Contains("l’étoile") && Contains("no stars"));
    REQUIRE(draw_finder_chart(small_chart(), folder / "a.png"));
    CHECK(read_text_file(folder / "a.png")->substr(1, 3) == "PNG");
    REQUIRE(draw_finder_chart(small_chart(), folder / "a.pdf"));
    CHECK(read_text_file(folder / "a.pdf")->substr(0, 4) == "%PDF");
    chart.radius_arcmin = 0.02;
    CHECK(draw_finder_chart(chart, folder / "b.svg"));
    chart.transient.dec = Angle::degrees(90.0);
    CHECK(draw_finder_chart(chart, folder / "c.svg"));
}

TEST_CASE("a chart that cannot be drawn says why and leaves nothing", "[finder-chart]") {
    const TemporaryFolder folder;
    const auto ending = draw_finder_chart(small_chart(), folder / "finder.gif");
    REQUIRE_FALSE(ending);
    CHECK(ending.error().kind == ProblemKind::request);
    for (const double radius : {0.0, -1.0, 2000.0, std::nan("")}) {
        auto chart = small_chart();
        chart.radius_arcmin = radius;
        const auto drawn = draw_finder_chart(chart, folder / "finder.svg");
        REQUIRE_FALSE(drawn);
        CHECK(drawn.error().kind == ProblemKind::request);
    }
    CHECK(folder.names().empty());
    const auto nowhere = draw_finder_chart(small_chart(), folder / "missing/finder.svg");
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
}

TEST_CASE("labels stand beside their marks and cover neither stars nor each other", "[finder-chart]") {
    const PaperBox area{0.0, 400.0, 0.0, 400.0};
    const WantedLabel one{200.0, 200.0, 7.0, 24.0, 13.0};
    const auto alone = place_labels({one}, {}, {}, area);
    REQUIRE(alone.size() == 1);
    CHECK_FALSE(alone[0].far);
    CHECK(alone[0].box.left > 207.0);  // to the right where nothing is
    CHECK(0.5 * (alone[0].box.top + alone[0].box.bottom) == Approx(200.0));
    // A star to the right: the label goes round it.
    const auto round = place_labels({one}, {{220.0, 200.0, 5.0}}, {}, area);
    CHECK(overlap(round[0].box, {215.0, 225.0, 195.0, 205.0}) == 0.0);
    CHECK_FALSE(round[0].far);
    // At the right edge it goes elsewhere; ringed by stars it goes out, and a line leads to it.
    const auto edge = place_labels({{390.0, 200.0, 7.0, 24.0, 13.0}}, {}, {}, area);
    CHECK(edge[0].box.right <= 400.0);
    std::vector<Disc> ring;
    for (int k = 0; k < 16; ++k)
        ring.push_back({200.0 + 19.0 * std::cos(0.3927 * k), 200.0 + 19.0 * std::sin(0.3927 * k), 5.0});
    const auto out = place_labels({one}, ring, {}, area);
    CHECK(out[0].far);

    std::mt19937_64 generator(9);
    std::uniform_real_distribution<double> place(12.0, 388.0);
    for (int sky = 0; sky < 20; ++sky) {
        std::vector<WantedLabel> wanted;
        std::vector<Disc> discs;
        for (int i = 0; i < 14; ++i)
            wanted.push_back({place(generator), place(generator), 7.0, 24.0, 13.0});
        for (int i = 0; i < 120; ++i)
            discs.push_back({place(generator), place(generator), 2.5});
        const std::vector<PaperBox> reticle{{176.0, 224.0, 176.0, 224.0}};
        const auto places = place_labels(wanted, discs, reticle, area);
        double covered = 0.0;
        for (std::size_t i = 0; i < places.size(); ++i) {
            const PaperBox& box = places[i].box;
            CHECK((box.left >= 0.0 && box.right <= 400.0 && box.top >= 0.0 && box.bottom <= 400.0));
            for (std::size_t k = 0; k < i; ++k)
                CHECK(overlap(box, places[k].box) == 0.0);
            for (const Disc& star : discs) {
                covered += overlap(box, {star.x - star.radius, star.x + star.radius, star.y - star.radius,
                                         star.y + star.radius});
            }
        }
        // In such a crowd a few stars are touched: a hundredth of the words' area.
        CAPTURE(sky, covered);
        CHECK(covered < 0.01 * 14 * 24.0 * 13.0);
    }
}
