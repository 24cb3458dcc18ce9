// SPDX-License-Identifier: MIT
// Frames of a rehearsed night that came without plate solutions. The same night rehearsed with them knows the
// truth: its frames have the same pixels.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <csignal>
#include <thread>

#include "frame/frame.hpp"
#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;

namespace {

namespace fs = std::filesystem;

const Words night = {"--nights", "1",        "--frames", "3",          "--width",
                     "640",      "--height", "500",      "--drift-px", "25"};
const std::array<const char*, 3> names = {"V_001.fits", "V_002.fits", "V_003.fits"};

Words with(Words words, const Words& more) {
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

Rehearsed unsolved(const Words& more = {}) {
    return Rehearsed(with(with(night, {"--solved", "1"}), more));
}

std::string frame_of(const std::string& name) {
    return "frames/2024-03-14/" + name;
}

frame::Wcs wcs_of(const std::string& path) {
    const auto frames = frame::open_frames(path, {});
    INFO(path);
    REQUIRE(frames);
    REQUIRE(frames->front().wcs());
    return *frames->front().wcs();
}

// How two solutions differ, pixels: at the middle, and beyond that at the worst corner.
struct Difference {
    double shift_px = 0.0, corner_px = 0.0;
};
Difference difference(const frame::Wcs& a, const frame::Wcs& b, double width, double height) {
    const auto moved = [&](const frame::PixelPosition& p) {
        const auto sky = a.sky(p);
        REQUIRE(sky);
        const auto there = b.pixel(*sky);
        REQUIRE(there);
        return frame::PixelPosition{there->x - p.x, there->y - p.y};
    };
    const frame::PixelPosition shift = moved({width / 2, height / 2});
    Difference out{std::hypot(shift.x, shift.y), 0.0};
    for (const frame::PixelPosition p :
         {frame::PixelPosition{0, 0}, {width, 0}, {0, height}, {width, height}}) {
        const frame::PixelPosition own = moved(p);
        out.corner_px = std::max(out.corner_px, std::hypot(own.x - shift.x, own.y - shift.y));
    }
    return out;
}

// Scale, rotation and distortion: a third of a pixel is a tenth of the stars' width.
constexpr double close_px = 0.3;
// Rehearsed headers are off the sky by a pixel or so, each its own way, as real ones are.
constexpr double header_err_px = 3.0;

void check_copies(const Rehearsed& campaign, const std::string& copies, const Words& which,
                  const Words& more = {}) {
    const Rehearsed truth(with(night, more));
    for (const std::string& name : which) {
        INFO(name);
        const std::string copy = copies + "/" + name;
        const Difference off = difference(wcs_of(copy), wcs_of(truth.path(frame_of(name))), 640, 500);
        CHECK(off.shift_px < header_err_px);
        CHECK(off.corner_px < close_px);
        const std::string before = contents(campaign.path(frame_of(name))), after = contents(copy);
        CHECK(before.substr(header_of(before).size()) == after.substr(header_of(after).size()));
    }
}

std::map<std::string, std::string> all_frames(const Rehearsed& campaign) {
    std::map<std::string, std::string> bytes;
    for (const char* name : names)
        bytes[name] = contents(campaign.path(frame_of(name)));
    return bytes;
}

}  // namespace

TEST_CASE("a campaign's unsolved frames are solved, kept, and copied; the frames stay as they are",
          "[command][solve]") {
    const Rehearsed campaign = unsolved();
    const auto before = all_frames(campaign);
    const std::string copies = campaign.path("solved");
    const Outcome solved = campaign.run({"solve", campaign.path("frames"), "--copies", copies, "--json"});
    INFO(solved.out << solved.err);
    REQUIRE(solved.status == 0);
    const auto json = solved.json();
    REQUIRE(json["frames"].size() == 3);
    CHECK(json["frames"][0]["had_solution"] == true);
    CHECK(json["frames"][0]["solution"].is_null());
    for (const std::size_t i : {1U, 2U}) {
        const auto& one = json["frames"][i];
        INFO(one.dump());
        CHECK(one["had_solution"] == false);
        CHECK(one["problem"].is_null());
        CHECK(one["solution"]["matched"].get<int>() >= 10);
        CHECK(one["solution"]["false_probability"].get<double>() < 1e-6);
        CHECK(one["solution"]["rms_arcsec"].get<double>() < 1.0);
        CHECK(one["copy"] == copies + "/" + names.at(i));
    }
    check_copies(campaign, copies, {"V_002.fits", "V_003.fits"});
    CHECK_FALSE(fs::exists(copies + "/V_001.fits"));
    CHECK(all_frames(campaign) == before);
    // The copies again: none is written over.
    const Outcome again = campaign.run({"solve", campaign.path("frames"), "--copies", copies});
    CHECK(again.status == 1);
    CHECK(again.refused().size() == 2);
    CHECK(again.out.find("There is a file of that name already.") != std::string::npos);
    // What was found is measured with.
    CHECK(campaign.run({"measure"}).status == 0);
}

TEST_CASE("mirrored, turned frames of unknown scale are solved against each kind of partner",
          "[command][solve]") {
    const Words trouble = {"--mirrored", "--camera-angle", "137"};
    const Rehearsed campaign = unsolved(trouble);
    const std::string frame = campaign.path(frame_of("V_002.fits"));
    const Folder elsewhere;
    const Setting there{.folder = elsewhere.path()};
    const std::string table = campaign.path("comparison.csv"), field = campaign.path("field.csv");
    const std::string solved = campaign.path(frame_of("V_001.fits"));
    int n = 0;
    for (const Words& partner :
         {Words{"--catalogue", field}, Words{"--catalogue", table}, Words{"--against", solved},
          Words{"--catalogue", field, "--scale", "2", "--scale-factor", "2"}}) {
        const std::string copies = elsewhere.path("copies" + std::to_string(n++));
        const Outcome outcome = run(with({"solve", frame, "--copies", copies, "--json"}, partner), there);
        INFO(partner.at(1) << outcome.out << outcome.err);
        REQUIRE(outcome.status == 0);
        const auto one = outcome.json()["frames"][0]["solution"];
        CHECK(one["mirrored"] == true);
        check_copies(campaign, copies, {"V_002.fits"}, trouble);
    }
}

TEST_CASE("solved frames are solved again only when asked, and compared with their headers",
          "[command][solve]") {
    const Rehearsed campaign(with(with(night, {"--solved", "1"}), {"--misled", "1"}));
    const Outcome left = campaign.run({"solve", campaign.path("frames"), "--json"});
    REQUIRE(left.status == 0);
    const auto kept = left.json();
    for (const auto& one : kept["frames"])
        CHECK(one["solution"].is_null());
    const Outcome all = campaign.run({"solve", campaign.path("frames"), "--even-if-solved", "--json"});
    INFO(all.out << all.err);
    REQUIRE(all.status == 0);
    const auto frames = all.json()["frames"];
    CHECK(frames[0]["solution"]["header_off_arcsec"].get<double>() < 1.0);
    // Rehearsed to point a third of a degree away.
    CHECK(frames[1]["solution"]["header_off_arcsec"].get<double>() > 600.0);
    CHECK(frames[2]["solution"]["header_off_corner_arcsec"].get<double>() > 600.0);
}

TEST_CASE("a person reads one line a frame, and why a frame was refused", "[command][solve]") {
    const Rehearsed campaign = unsolved();
    const std::string blank = campaign.path(frame_of("V_003.fits"));
    std::string bytes = contents(blank);
    bytes = with_pixels(bytes, pixels_of(std::vector<short>(640UL * 500, -31768)));
    write_contents(blank, bytes);
    const Outcome outcome = campaign.run({"solve", campaign.path("frames")});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    CHECK(outcome.out.find("V_002.fits") != std::string::npos);
    CHECK(outcome.out.find(frame_of("V_001.fits")) != std::string::npos);
    REQUIRE(outcome.refused().size() == 1);
    CHECK(outcome.refused().front().starts_with(frame_of("V_003.fits")));
    CHECK(outcome.out.find("3 frames: 1 solved, 1 refused, 1 with a solution of its own left alone.") !=
          std::string::npos);
}

TEST_CASE("a field that is not this one is refused, never solved", "[command][solve]") {
    const Rehearsed campaign = unsolved(), other(with(night, {"--seed", "77", "--solved", "1"}));
    const std::string frame = other.path(frame_of("V_002.fits"));
    const std::string copies = campaign.path("copies");
    for (const Words& words :
         {Words{"solve", frame, "--copies", copies},
          Words{"solve", frame, "--copies", copies, "--against", campaign.path(frame_of("V_001.fits"))}}) {
        const Outcome outcome = campaign.run(words);
        INFO(outcome.out << outcome.err);
        CHECK(outcome.status == 3);
        CHECK(outcome.refused().size() == 1);
        CHECK_FALSE(fs::exists(copies + "/V_002.fits"));
    }
}

TEST_CASE("bad usage of solve, and partners that are no use", "[command][solve]") {
    const Rehearsed campaign = unsolved();
    const Folder elsewhere;
    const std::string frame = campaign.path(frame_of("V_002.fits"));
    const std::string text = campaign.path("notes.txt");
    write_contents(text, "Thin cloud from 22:00 on.\n");
    const Setting there{.folder = elsewhere.path()};
    const auto refused = [&](const Words& words, const std::string& what) {
        const Outcome outcome = run(words, there);
        INFO(words.back() << ": " << outcome.out << outcome.err);
        CHECK(outcome.status == 2);
        CHECK(outcome.out.empty());
        CHECK(outcome.problem().find(what) != std::string::npos);
    };
    refused({"solve"}, "FRAME");
    refused({"solve", frame}, "--catalogue");
    refused({"solve", frame, "--catalogue", text}, "notes.txt");
    refused({"solve", frame, "--catalogue", elsewhere.path("absent.csv")}, "absent.csv");
    refused({"solve", frame, "--against", frame}, "plate solution");
    refused({"solve", frame, "--against", text}, "notes.txt");
    refused({"solve", frame, "--epoch", "2016"}, "--catalogue");
    refused({"solve", frame, "--catalogue", text, "--scale", "-1"}, "--scale");
    refused({"solve", frame, "--catalogue", text, "--order", "9"}, "--order");
    refused({"solve", frame, "-c", elsewhere.path()}, "campaign.toml");
    const Outcome none = run({"solve", elsewhere.path(), "-c", campaign.path()}, there);
    CHECK(none.status == 3);
    const Outcome absent = run({"solve", elsewhere.path("no.fits"), "-c", campaign.path()}, there);
    CHECK(absent.status == 3);
    CHECK(absent.refused().size() == 1);
}

TEST_CASE("copies are never written over frames, and a folder that takes none is told", "[command][solve]") {
    const Rehearsed campaign = unsolved();
    const auto before = all_frames(campaign);
    const std::string folder = campaign.path("frames/2024-03-14");
    const Outcome onto = campaign.run({"solve", campaign.path(frame_of("V_002.fits")), "--copies", folder});
    INFO(onto.out << onto.err);
    CHECK(onto.status == 3);
    CHECK(onto.out.find("never written to") != std::string::npos);
    CHECK(all_frames(campaign) == before);
    write_contents(campaign.path("file"), "no folder");
    const Outcome into =
        campaign.run({"solve", campaign.path(frame_of("V_002.fits")), "--copies", campaign.path("file/in")});
    CHECK(into.status == 4);
    CHECK(all_frames(campaign) == before);
}

TEST_CASE("stopped, solve ends with the interrupted status and a whole ledger", "[command][solve]") {
    const Rehearsed campaign(Words{"--nights", "1", "--frames", "40", "--solved", "1"});
    Process process({"solve", campaign.path("frames"), "-c", campaign.path(), "-j", "1"});
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    process.signal(SIGINT);
    const Outcome outcome = process.wait();
    INFO(outcome.out << outcome.err);
    // On a fast machine it was done before.
    CHECK((outcome.status == 130 || outcome.status == 0));
    CHECK(campaign.run({"solve", campaign.path(frame_of("V_002.fits"))}).status == 0);
}
