// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "page/asked.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using nlohmann::json;

namespace {

std::string first_id(const Rehearsed& campaign) {
    const auto ledger = ledger::Ledger::open(campaign.path("campaign.ledger"), ledger::Ledger::Access::read);
    REQUIRE(ledger);
    const auto frames = ledger->frames();
    REQUIRE(frames);
    return frames->front().fingerprint + "-0";
}

}  // namespace

TEST_CASE("one star of a frame is answered as the command prints it, by label and by place", "[page][look]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string path = "/api/frames/" + first_id(campaign) + "/star";
    const json star = answered(session, path, {{"label", "first"}});
    const json printed = campaign.run({"look", "2024-03-14/V_001.fits", "--star", "first", "--json"}).json();
    CHECK(star == printed);
    for (const char* name : {"frame",
                             "label",
                             "role",
                             "x_px",
                             "y_px",
                             "ra_deg",
                             "dec_deg",
                             "fwhm_px",
                             "elongation",
                             "direction_deg",
                             "moffat_beta",
                             "peak_adu",
                             "saturated",
                             "sky_adu",
                             "sky_noise_adu",
                             "aperture_px",
                             "flux_e",
                             "flux_err_e",
                             "signal_to_noise",
                             "instrumental_mag",
                             "mag",
                             "err_mag",
                             "catalogue_mag",
                             "catalogue_err_mag",
                             "residual_mag",
                             "flags",
                             "profile",
                             "profile_fit",
                             "growth",
                             "cutout",
                             "remarks"}) {
        INFO(name);
        CHECK(star.contains(name));
    }
    const json& pixels = star["cutout"];
    CHECK(pixels["adu"].size() ==
          pixels["width_px"].get<std::size_t>() * pixels["height_px"].get<std::size_t>());
    // The brightest pixel about the centre is the peak that is told.
    double peak = 0.0;
    for (int y = -2; y <= 2; ++y) {
        for (int x = -2; x <= 2; ++x) {
            const int column =
                static_cast<int>(std::lround(star["x_px"].get<double>())) + x - pixels["x_px"].get<int>();
            const int row =
                static_cast<int>(std::lround(star["y_px"].get<double>())) + y - pixels["y_px"].get<int>();
            peak =
                std::max(peak, pixels["adu"]
                                   .at(static_cast<std::size_t>(row * pixels["width_px"].get<int>() + column))
                                   .get<double>());
        }
    }
    CHECK(peak == star["peak_adu"].get<double>());

    // A click two pixels off is that star.
    const json clicked = answered(session, path,
                                  {{"x_px", std::to_string(star["x_px"].get<double>() + 2.0)},
                                   {"y_px", std::to_string(star["y_px"].get<double>() - 1.0)}});
    CHECK(clicked == star);

    using Question = std::multimap<std::string, std::string>;
    for (const Question& wrong : {Question{}, Question{{"label", "first"}, {"x_px", "3"}, {"y_px", "3"}},
                                  Question{{"x_px", "3"}}, Question{{"x_px", "1e99"}, {"y_px", "2"}},
                                  Question{{"x_px", "-500"}, {"y_px", "2"}}, Question{{"label", "999"}}}) {
        const auto refused = asked(session, "GET", path, wrong);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().kind == ProblemKind::request);
        CHECK_FALSE(refused.error().mend.empty());
    }
    for (const char* id : {"template-V", "00ff-0", "x", "00ff-9"}) {
        for (const char* what : {"/star", "/host"}) {
            const auto none =
                asked(session, "GET", std::string("/api/frames/") + id + what, {{"label", "first"}});
            REQUIRE_FALSE(none);
            CHECK(none.error().kind == ProblemKind::input);
        }
    }
    std::filesystem::remove(campaign.first_frame());
    const auto gone = asked(session, "GET", path, {{"label", "first"}});
    REQUIRE_FALSE(gone);
    CHECK(gone.error().kind == ProblemKind::input);
}

TEST_CASE("data, model and residual of a frame are answered, the method in use first", "[page][host]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const json host = answered(session, "/api/frames/" + first_id(campaign) + "/host");
    const std::size_t n = host["width_px"].get<std::size_t>() * host["height_px"].get<std::size_t>();
    CHECK(host["data_adu"].size() == n);
    REQUIRE(!host["methods"].empty());
    CHECK(host["methods"][0]["used"] == true);
    // The one in the middle: at the edge a model may be undefined.
    const std::size_t middle =
        host["height_px"].get<std::size_t>() / 2 * host["width_px"].get<std::size_t>() +
        host["width_px"].get<std::size_t>() / 2;
    for (const json& method : host["methods"]) {
        REQUIRE(method["model_adu"].size() == n);
        REQUIRE(method["residual_sigma"].size() == n);
        const double left =
            (host["data_adu"][middle].get<double>() - method["model_adu"][middle].get<double>()) /
            host["noise_adu"].get<double>();
        CHECK(method["residual_sigma"][middle].get<double>() == Approx(left));
    }
    const double x = host["transient"]["x_px"].get<double>() - host["x_px"].get<double>();
    CHECK(x > 0.0);
    CHECK(x < host["width_px"].get<double>());
    CHECK_FALSE(host["words"].get<std::string>().empty());
}
