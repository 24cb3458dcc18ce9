// SPDX-License-Identifier: MIT
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>

#include "program/frame_bytes.hpp"
#include "program/program.hpp"

using namespace emberline::testing;

namespace {

// 40 × 30 pixels, level and a little noise that is never the same; more cards as given.
std::string exposure(const std::string& kind, double level, int number, const Words& more = {},
                     int width = 40) {
    Words cards{"SIMPLE  =                    T", "BITPIX  =                   16",
                "NAXIS   =                    2", "NAXIS1  = " + std::string(17, ' ') + std::to_string(width),
                "NAXIS2  =                   30", "BZERO   =                32768",
                "BSCALE  =                    1", "IMAGETYP= '" + kind + "'"};
    cards.insert(cards.end(), more.begin(), more.end());
    std::vector<short> pixels;
    for (int i = 0; i < width * 30; ++i) {
        const int noise = (i * 7919 + number * 104729) % 11 - 5;
        pixels.push_back(static_cast<short>(static_cast<int>(level) + noise - 32768));
    }
    return fits_of(cards, pixels_of(pixels));
}

Words dark_cards(double exposure_s = 60.0, double temperature_c = -10.0) {
    return {"EXPTIME = " + std::to_string(exposure_s), "CCD-TEMP= " + std::to_string(temperature_c),
            "GAIN    =                  120", "OFFSET  =                   50"};
}

// Five darks, four biases, four flats in V.
void write_night(const Folder& folder) {
    for (int i = 0; i < 5; ++i)
        write_contents(folder.path("d" + std::to_string(i) + ".fits"),
                       exposure("Dark", 320, i, dark_cards()));
    for (int i = 0; i < 4; ++i) {
        write_contents(folder.path("b" + std::to_string(i) + ".fits"),
                       exposure("Bias", 300, 10 + i, dark_cards(0.0)));
        Words cards = dark_cards(2.0);
        cards.emplace_back("FILTER  = 'V'");
        write_contents(folder.path("f" + std::to_string(i) + ".fits"),
                       exposure("Flat", 20000 - 1000 * i, 20 + i, cards));
    }
}

Outcome build(const Folder& folder, const Words& more = {}, Setting setting = {}) {
    Words words{"masters", "build", folder.path(), "--output", folder.path("masters"), "-c", folder.path()};
    words.insert(words.end(), more.begin(), more.end());
    return run(words, setting);
}

std::vector<std::string> files_in(const std::string& folder) {
    std::vector<std::string> names;
    std::error_code none;
    for (const auto& entry : std::filesystem::directory_iterator(folder, none))
        names.push_back(entry.path().filename().string());
    std::sort(names.begin(), names.end());
    return names;
}

bool says(const std::string& text, const std::string& words) {
    return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("a folder of all kinds becomes masters with readable names and lines to paste",
          "[faults][masters]") {
    const Folder folder;
    write_night(folder);
    write_contents(folder.path("light.fits"), exposure("Light", 900, 99, dark_cards()));
    const Outcome outcome = build(folder);
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 0);
    CHECK(files_in(folder.path("masters")) == std::vector<std::string>{"bias_gain120_-10C.fits",
                                                                       "dark_60s_gain120_-10C.fits",
                                                                       "defects.fits", "flat_V.fits"});
    CHECK(says(outcome.out, "flat = { V = \"masters/flat_V.fits\" }"));
    CHECK(says(outcome.out, "defects = \"masters/defects.fits\""));
    CHECK(says(outcome.out, "1 frame was passed over"));
    // Again: nothing is written over unless asked.
    const Outcome again = build(folder);
    CHECK(again.status == 2);
    CHECK(says(again.problem(), "--replace"));
    const auto json = build(folder, {"--replace", "--json"}).json();
    CHECK(json["masters"].size() == 3);
    CHECK(json["masters"][2]["kind"] == "flat");
    CHECK(says(json["masters"][2]["subtracted"].get<std::string>(), "bias_gain120"));
    CHECK(json["refused"].empty());
}

TEST_CASE("a map of defects that is there already is told before any master is made", "[faults][masters]") {
    const Folder folder;
    write_night(folder);
    std::filesystem::create_directories(folder.path("masters"));
    write_contents(folder.path("masters/defects.fits"), "of before");
    const Outcome outcome = build(folder);
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 2);
    CHECK(says(outcome.problem(), "defects.fits"));
    CHECK(files_in(folder.path("masters")) == std::vector<std::string>{"defects.fits"});
    CHECK(contents(folder.path("masters/defects.fits")) == "of before");
}

TEST_CASE("strays are refused with their reason, and the rest are combined", "[faults][masters]") {
    const Folder folder;
    write_night(folder);
    write_contents(folder.path("warm.fits"), exposure("Dark", 320, 50, dark_cards(60.0, 4.0)));
    write_contents(folder.path("small.fits"), exposure("Dark", 320, 51, dark_cards(), 20));
    Words flat = dark_cards(2.0);
    flat.emplace_back("FILTER  = 'V'");
    write_contents(folder.path("bright.fits"), exposure("Flat", 65500, 52, flat));
    write_contents(folder.path("faint.fits"), exposure("Flat", 350, 53, flat));
    const std::string whole = contents(folder.path("d0.fits"));
    write_contents(folder.path("cut.fits"), whole.substr(0, whole.size() - 2880));
    write_contents(folder.path("text.fits"), "no picture at all");
    const Outcome outcome = build(folder, {"--json"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 1);
    const auto json = outcome.json();
    CHECK(json["masters"].size() == 3);
    std::string why;
    for (const auto& one : json["refused"])
        why += one["why"].get<std::string>() + "\n";
    INFO(why);
    CHECK(json["refused"].size() == 6);
    CHECK(says(why, "warm.fits: It was taken at 4.0 °C"));
    CHECK(says(why, "small.fits: The frame is 20 × 30 pixels"));
    CHECK(says(why, "bright.fits: The frame is saturated"));
    CHECK(says(why, "faint.fits: The flat is too faint"));
    CHECK(says(why, "cut.fits: The file is cut short"));
    CHECK(says(why, "text.fits: This is not a FITS file but a text"));
}

TEST_CASE("one dark alone is a master with a warning; lights alone are none", "[faults][masters]") {
    const Folder one, lights;
    write_contents(one.path("d.fits"), exposure("Dark", 320, 1, dark_cards()));
    const Outcome outcome = build(one);
    CHECK(outcome.status == 0);
    CHECK(says(outcome.out, "is one frame alone"));
    write_contents(lights.path("l.fits"), exposure("Light", 900, 1, dark_cards()));
    const Outcome none = build(lights);
    CHECK(none.status == 3);
    CHECK(says(none.err, "nothing to build a master from"));
    CHECK(files_in(lights.path("masters")).empty());
}

TEST_CASE("a disk that takes no more leaves no half master behind", "[faults][masters]") {
    const Folder folder;
    write_night(folder);
    Setting full;
    full.most_file_bytes = 5000;
    const Outcome outcome = build(folder, {}, full);
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 4);
    CHECK(says(outcome.problem(), "free space"));
    CHECK(files_in(folder.path("masters")).empty());
}
