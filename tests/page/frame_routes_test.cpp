// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <future>
#include <set>

#include "page/asked.hpp"
#include "picture/grey_picture.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;
using nlohmann::json;

namespace {

// The ids of a night's frames, in their order.
std::vector<std::string> ids(page::Session& session, const std::string& night = "2024-03-14") {
    std::vector<std::string> all;
    const json frames = answered(session, "/api/frames", {{"night", night}})["frames"];
    for (const json& one : frames)
        all.push_back(one["id"]);
    return all;
}

std::shared_ptr<const page::ShownFrame> shown(page::Session& session, const std::string& id) {
    const auto workspace = session.workspace();
    REQUIRE(workspace);
    const auto made = session.pyramids().of(**workspace, tasks::parse_view_id(id).value());
    if (!made) FAIL(one_line(made.error()));
    return *made;
}

// The brightest of the pixels about a place, in the frame's noise above its sky, as its tiles show it.
double height_sigma(const page::ShownFrame& frame, double x_px, double y_px) {
    double most = -1e9;
    for (int y = static_cast<int>(y_px) - 1; y <= static_cast<int>(y_px) + 2; ++y) {
        for (int x = static_cast<int>(x_px) - 1; x <= static_cast<int>(x_px) + 2; ++x) {
            const auto tile = frame.pyramid.tile(0, x / 256, y / 256);
            REQUIRE(tile);
            const int grey = tile->grey.at(static_cast<std::size_t>((y % 256) * tile->width + x % 256));
            const auto& scale = frame.pyramid.scale();
            most = std::max(most, (scale.value_adu(grey) - scale.sky_adu) / scale.noise_adu);
        }
    }
    return most;
}

Problem refused(page::Session& session, const std::string& path) {
    const auto answer = asked(session, "GET", path);
    INFO(path);
    REQUIRE_FALSE(answer);
    CHECK_FALSE(answer.error().what.empty());
    CHECK_FALSE(answer.error().mend.empty());
    return answer.error();
}

}  // namespace

TEST_CASE("the frames of a night are listed, and for blinking the deepest of each night and band",
          "[page][frames]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const json night = answered(session, "/api/frames", {{"night", "2024-03-14"}})["frames"];
    const json told = campaign.run({"nights", "--frames", "2024-03-14", "--json"}).json()["frames"];
    REQUIRE(night.size() == 2);
    REQUIRE(told.size() == 2);
    for (std::size_t i = 0; i < 2; ++i) {
        for (const char* name : {"frame", "band", "instrument", "plane", "jd_utc", "used"})
            CHECK(night[i][name] == told[i][name]);
        CHECK(told[i]["flags"].is_array());
        CHECK(night[i]["fwhm_arcsec"].get<double>() == Approx(told[i]["fwhm_arcsec"].get<double>()));
        CHECK(night[i]["mid_utc"].get<std::string>().starts_with("2024-03-1"));
    }
    CHECK(answered(session, "/api/frames", {{"night", "2020-01-01"}})["frames"].empty());

    const json deepest = answered(session, "/api/frames")["frames"];
    REQUIRE(deepest.size() == 2);
    CHECK(deepest[0]["night"] == "2024-03-14");
    CHECK(deepest[1]["night"] == "2024-03-18");
    const auto ledger = session.ledger();
    REQUIRE(ledger);
    const auto solution = ledger->newest();
    REQUIRE(solution);
    for (const json& best : deepest) {
        double own = 0.0, most = 0.0;
        for (const night::FrameMeasurement& m : solution->frames) {
            if (m.night != best["night"]) continue;
            most = std::max(most, *m.limit_mag);
            if (m.frame == best["frame"]) own = *m.limit_mag;
        }
        CHECK(own == most);
    }
}

TEST_CASE("a frame tells where its stars are, and its tiles show them there", "[page][frames]") {
    const Rehearsed campaign({"--nights", "1", "--no-host"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string id = ids(session).front();
    const json frame = answered(session, "/api/frames/" + id);
    CHECK(frame["id"] == id);
    CHECK(frame["no_pixels"].is_null());
    CHECK(frame["name"] == "V_001.fits");
    CHECK(frame["width_px"] == 300);
    CHECK(frame["height_px"] == 300);
    REQUIRE(frame["levels"].size() == 2);
    CHECK(frame["levels"][0] ==
          json({{"level", 0}, {"width_px", 300}, {"height_px", 300}, {"columns", 2}, {"rows", 2}}));
    CHECK(frame["levels"][1] ==
          json({{"level", 1}, {"width_px", 150}, {"height_px", 150}, {"columns", 1}, {"rows", 1}}));
    const auto pixels = shown(session, id);
    CHECK(frame["encoding"]["sky_adu"] == pixels->pyramid.scale().sky_adu);
    CHECK(frame["suggested"]["black_adu"].get<double>() < frame["encoding"]["sky_adu"].get<double>());
    CHECK(frame["suggested"]["white_adu"].get<double>() > frame["encoding"]["sky_adu"].get<double>());

    std::multiset<std::string> roles;
    for (const json& star : frame["stars"]) {
        roles.insert(star["role"]);
        CAPTURE(star.dump());
        CHECK(height_sigma(*pixels, star["x_px"], star["y_px"]) > 4.0);
        CHECK(star["role"] != "unused");
    }
    CHECK(roles.count("check") == 1);
    CHECK(roles.count("comparison") >= 3);
    CHECK(height_sigma(*pixels, frame["transient"]["x_px"], frame["transient"]["y_px"]) > 4.0);

    // The numbers are the ledger's.
    const auto solution = session.ledger()->newest();
    REQUIRE(solution);
    const night::FrameMeasurement& m = solution->frames.front();
    CHECK(frame["mag"].get<double>() == *m.magnitude_mag);
    CHECK(frame["err_mag"].get<double>() == *m.total_err_mag());
    CHECK(frame["limit_mag"].get<double>() == *m.limit_mag);
    CHECK(frame["aperture"]["radius_px"].get<double>() == Approx(m.aperture_px));
    CHECK(frame["aperture"]["inner_px"].get<double>() > m.aperture_px);
    CHECK(frame["aperture"]["outer_px"].get<double>() > frame["aperture"]["inner_px"].get<double>());
    // A square arcsecond has 1/scale² pixels, whichever way the frame is turned.
    const auto& j = frame["px_per_arcsec"];
    const double scale = frame["scale_arcsec_per_px"];
    CHECK(std::abs(j[0].get<double>() * j[3].get<double>() - j[1].get<double>() * j[2].get<double>()) ==
          Approx(1.0 / (scale * scale)).epsilon(0.01));
}

TEST_CASE("tiles are PNGs of the pyramid, kept by version, and one pyramid serves many who ask at once",
          "[page][frames]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string id = ids(session).front(), tile = "/api/frames/" + id + "/tiles/0/1/0";
    std::vector<std::future<Result<page::Answer>>> all;
    for (int i = 0; i < 8; ++i)
        all.push_back(std::async(std::launch::async, [&] { return asked(session, "GET", tile); }));
    std::set<std::string> bodies;
    for (auto& one : all) {
        const auto answer = one.get();
        REQUIRE(answer);
        CHECK(answer->type == "image/png");
        CHECK_FALSE(answer->lasting);  // without its version it might be another's
        bodies.insert(answer->body);
    }
    const auto pixels = shown(session, id);
    CHECK(shown(session, id) == pixels);
    CHECK(bodies == std::set<std::string>{picture::png_of(pixels->pyramid.tile(0, 1, 0).value())});
    CHECK(asked(session, "GET", tile, {{"v", pixels->version}})->lasting);
    CHECK_FALSE(asked(session, "GET", tile, {{"v", "0123456789abcdef"}})->lasting);
    CHECK(answered(session, "/api/frames/" + id)["version"] == pixels->version);
}

TEST_CASE("without its file a frame still tells its places, and what to do", "[page][frames]") {
    const Rehearsed campaign({"--nights", "1"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const std::string id = ids(session).front(), tile = "/api/frames/" + id + "/tiles/1/0/0";
    const json whole = answered(session, "/api/frames/" + id);
    const auto check = [&](const std::string& words) {
        const json left = answered(session, "/api/frames/" + id);
        CHECK_THAT(left["no_pixels"]["what"].get<std::string>(), Catch::Contains(words));
        CHECK_FALSE(left["no_pixels"]["mend"].get<std::string>().empty());
        for (const char* gone : {"width_px", "version", "levels", "encoding", "suggested"})
            CHECK(left[gone].is_null());
        for (const char* kept : {"stars", "transient", "aperture", "px_per_arcsec", "mag", "nucleus"})
            CHECK(left[kept] == whole[kept]);
        CHECK_THAT(refused(session, tile).what, Catch::Contains(words));
    };
    const std::string file = campaign.first_frame(), aside = file + ".aside";
    std::filesystem::rename(file, aside);
    check("not there any more");
    std::filesystem::copy_file(campaign.path("frames/2024-03-14/V_002.fits"), file);
    check("holds something else");
    std::ofstream(file, std::ios::trunc) << "no FITS";
    check("");
    // Put back, it is shown again.
    std::filesystem::rename(aside, file);
    CHECK(answered(session, "/api/frames/" + id)["no_pixels"].is_null());
    CHECK(asked(session, "GET", tile));
}

TEST_CASE("what is asked amiss is refused in words", "[page][frames]") {
    const Rehearsed campaign({"--nights", "1"});
    page::Session session({.campaign_folder = campaign.path()});
    CHECK(refused(session, "/api/frames").kind == ProblemKind::input);  // nothing measured yet
    campaign.measure();
    const std::string id = ids(session).front();
    for (const char* nonsense :
         {"x", "-", "template-", "template-nothing", "template", "0-9", "zz-0", "0123"})
        CHECK(refused(session, std::string("/api/frames/") + nonsense).kind == ProblemKind::request);
    CHECK(refused(session, "/api/frames/00112233445566778899aabbccddeeff-0").kind == ProblemKind::input);
    CHECK(refused(session, "/api/frames/template-V").kind == ProblemKind::input);  // it has none
    for (const char* place : {"2/0/0", "0/2/0", "0/0/2", "-1/0/0", "a/0/0", "0/1.5/0", "1/1/0", "999999/0/0",
                              "99999999999999999999/0/0", "0/2147483647/0"})
        CHECK(refused(session, "/api/frames/" + id + "/tiles/" + place).kind == ProblemKind::request);
}

TEST_CASE("the campaign's template is a frame too, by its plate solution", "[page][frames]") {
    const Rehearsed campaign({"--nights", "1", "--with-template"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    const json frame = answered(session, "/api/frames/template-V");
    CHECK(frame["id"] == "template-V");
    CHECK(frame["night"].is_null());
    CHECK(frame["aperture"].is_null());
    CHECK(frame["no_pixels"].is_null());
    REQUIRE(frame["transient"].is_object());
    REQUIRE(frame["nucleus"].is_object());
    const auto pixels = shown(session, "template-V");
    std::size_t seen = 0;
    for (const json& star : frame["stars"]) {
        CAPTURE(star.dump());
        if (star["x_px"] < 3.0 || star["y_px"] < 3.0 ||
            star["x_px"] > frame["width_px"].get<double>() - 4.0 ||
            star["y_px"] > frame["height_px"].get<double>() - 4.0)
            continue;
        CHECK(height_sigma(*pixels, star["x_px"], star["y_px"]) > 4.0);
        ++seen;
    }
    CHECK(seen >= 3);
    // The nucleus is where the arms from the transient say.
    const auto workspace = session.workspace();
    const SkyOffset away = offset((*workspace)->campaign.position, (*workspace)->campaign.nucleus.value());
    const auto& j = frame["px_per_arcsec"];
    CHECK(frame["transient"]["x_px"].get<double>() + j[0].get<double>() * away.east.arcseconds() +
              j[1].get<double>() * away.north.arcseconds() ==
          Approx(frame["nucleus"]["x_px"].get<double>()).margin(0.05));
    std::filesystem::remove(campaign.path("template.fits"));
    CHECK(refused(session, "/api/frames/template-V").kind != ProblemKind::request);
}

TEST_CASE("a colour camera's green, turned by 45 degrees, has its stars where it says", "[page][frames]") {
    const Rehearsed campaign(
        {"--nights", "1", "--mosaic", "RGGB", "--no-host", "--width", "500", "--height", "420"});
    campaign.measure();
    page::Session session({.campaign_folder = campaign.path()});
    std::size_t turned = 0;
    const json frames = answered(session, "/api/frames", {{"night", "2024-03-14"}})["frames"];
    for (const json& one : frames) {
        const json frame = answered(session, "/api/frames/" + one["id"].get<std::string>());
        CAPTURE(one.dump());
        REQUIRE(frame["no_pixels"].is_null());
        const auto pixels = shown(session, one["id"]);
        std::size_t seen = 0;
        for (const json& star : frame["stars"])
            seen += height_sigma(*pixels, star["x_px"], star["y_px"]) > 4.0 ? 1 : 0;
        CHECK(seen + 1 >= frame["stars"].size());
        const auto& j = frame["px_per_arcsec"];
        // Of an unturned frame one of the two is near nothing.
        const double x_e = std::abs(j[0].get<double>()), x_n = std::abs(j[1].get<double>());
        const bool aslant = std::min(x_e, x_n) > 0.4 * std::max(x_e, x_n);
        CHECK(aslant == (one["plane"] == 1));
        turned += aslant ? 1 : 0;
        if (one["plane"] == 1) CHECK(pixels->pyramid.tile(0, 0, 0)->grey.front() == 0);
    }
    CHECK(turned >= 1);
}
