// SPDX-License-Identifier: MIT
#include "picture/forecast_picture.hpp"

#include <catch2/catch.hpp>

#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;

TEST_CASE("an empty forecast is refused, as is paper of no kind", "[forecast_picture]") {
    CHECK_FALSE(picture::draw_forecast({}, "forecast.svg"));
    const auto none = picture::draw_forecast({}, "forecast.txt");
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::request);
}

TEST_CASE("a forecast is drawn with its past, its thresholds and its nights", "[forecast_picture]") {
    picture::BandAhead band;
    band.curve.band = *parse_band("V");
    for (int k = 0; k < 4; ++k) {
        lightcurve::Point point;
        point.bjd_tdb = 2460400.5 + 2.0 * k;
        point.magnitude_mag = 15.0 + 0.1 * k;
        point.random_err_mag = 0.02;
        band.curve.points.push_back(point);
    }
    for (int k = 0; k <= 5; ++k) {
        const double mag = 15.3 + 0.05 * k, half = 0.03 + 0.01 * k;
        band.line.push_back({2460406.5 + k, mag, mag - half, mag + half, mag - 2.0 * half, mag + 2.0 * half});
    }
    picture::ForecastPicture paper{.title = "DEMO SN 1", .subtitle = "5 nights"};
    paper.bands.push_back(band);
    paper.passes_mag = {15.4};
    paper.nights = {{2460407.5, 7.0, 5.0, 0.4}, {2460408.5, 6.9, 4.9, 0.5}};
    const test::TemporaryFolder folder;
    const auto drawn = picture::draw_forecast(paper, folder / "f.svg");
    INFO((drawn ? std::string() : one_line(drawn.error())));
    REQUIRE(drawn);
    const auto text = read_text_file(folder / "f.svg");
    REQUIRE(text);
    for (const char* words : {"DEMO SN 1", "5 nights", "V (mag)", "hours", "Moon (%)", "15.40"}) {
        INFO(words);
        CHECK(text->find(words) != std::string::npos);
    }
}
