// SPDX-License-Identifier: MIT
#include <random>

#include "calibration_camera.hpp"

using namespace emberline;
using namespace emberline::frame;
using namespace emberline::frame::testing;

TEST_CASE("a master that does not fit is passed over, with the reason", "[calibration]") {
    const Folder folder;
    const Exposure own{"Light",
                       60.0,
                       "V",
                       {number_card("XBINNING", "1"), number_card("GAIN", "120"), number_card("OFFSET", "30"),
                        number_card("CCD-TEMP", "-10.0")}};
    const std::string light = write(folder, "light.fits", own, light_adu);
    struct Case {
        const char* what;
        Exposure dark;
        const char* reason;
    };
    const auto dark_with = [](const std::string& binning, const std::string& gain,
                              const std::string& degrees) {
        return Exposure{"Dark",
                        60.0,
                        "",
                        {number_card("XBINNING", binning), number_card("GAIN", gain),
                         number_card("OFFSET", "30"), number_card("CCD-TEMP", degrees)}};
    };
    Exposure small = dark_with("1", "120", "-10.0");
    small.width_px = 60;
    const std::vector<Case> cases{
        {"size", small, "it is 60 × 54 pixels, the frame 70 × 54"},
        {"binning", dark_with("2", "120", "-10.0"), "binned 2-fold, the frame 1-fold"},
        {"gain", dark_with("1", "200", "-10.0"), "its gain is set to 200, the frame's to 120"},
        {"temperature", dark_with("1", "120", "-5.0"), "taken at -5.0 °C, the frame at -10.0 °C"},
    };
    for (const Case& c : cases) {
        INFO(c.what);
        MasterPaths paths;
        paths.dark = {write(folder, std::string(c.what) + ".fits", c.dark, dark_adu)};
        const FrameFacts alone = facts_with(light, Masters::open(paths));
        CHECK(alone.masters.empty());
        CHECK(alone.caveats.has(Caveat::not_calibrated));
        CHECK(all(alone.remarks).find(c.reason) != std::string::npos);
        // Beside one that fits, nothing is missing.
        paths.dark.push_back(write(folder, "right.fits", dark_with("1", "120", "-11.0"), dark_adu));
        const FrameFacts served = facts_with(light, Masters::open(paths));
        CHECK_FALSE(served.caveats.has(Caveat::not_calibrated));
        REQUIRE(served.masters.size() == 1);
        CHECK(served.masters.front().find("right.fits") != std::string::npos);
        CHECK(all(served.remarks).find("taken at -11.0 °C, the frame at -10.0 °C") != std::string::npos);
    }
}

// The sum of such a number and a frame's width overflowed.
TEST_CASE("a sub-frame that begins where no sensor has pixels begins at the sensor's corner",
          "[calibration]") {
    const Folder folder;
    const std::string light =
        write(folder, "light.fits",
              {"Light", 60.0, "V", {number_card("XORGSUBF", "2147483640"), number_card("YORGSUBF", "-5")}},
              light_adu);
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu)};
    CHECK(facts_with(light, Masters::open(paths)).masters.size() == 1);
}

TEST_CASE("a flat is chosen by band and filter", "[calibration]") {
    const Folder folder;
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "V", {}}, light_adu);
    const auto flat_adu = [](int x, int y) { return 20000.0 * flat(x, y); };
    const std::string in_b = write_float(folder, "B.fits", {"Master Flat", 1.0, "B", {}}, flat_adu);
    const std::string in_v = write_float(folder, "V.fits", {"Master Flat", 1.0, "V", {}}, flat_adu);
    const std::string unnamed = write_float(folder, "any.fits", {"Master Flat", 1.0, "", {}}, flat_adu);
    MasterPaths paths;
    paths.flat["B"] = {in_b};
    FrameFacts facts = facts_with(light, Masters::open(paths));
    CHECK(facts.masters.empty());
    CHECK(all(facts.remarks).find("it is named for B") != std::string::npos);
    paths.flat["B"] = {};
    paths.flat["V"] = {in_b};
    facts = facts_with(light, Masters::open(paths));
    CHECK(all(facts.remarks).find("taken through 'B', the frame through 'V'") != std::string::npos);
    paths.flat["V"] = {unnamed, in_v};
    CHECK(facts_with(light, Masters::open(paths)).masters.front().ends_with("V.fits"));
    paths.flat.clear();
    paths.flat[""] = {in_b, in_v};
    CHECK(facts_with(light, Masters::open(paths)).masters.front().ends_with("V.fits"));
    paths.flat[""] = {unnamed};
    CHECK(facts_with(light, Masters::open(paths)).masters.size() == 1);
}

TEST_CASE("what was done before is not done again", "[calibration]") {
    const Folder folder;
    MasterPaths paths;
    paths.bias = {write(folder, "bias.fits", {"Bias", 0.0, "", {}}, bias_adu)};
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu)};
    paths.flat["V"] = {write_float(folder, "flat.fits", {"Master Flat", 1.0, "V", {}},
                                   [](int x, int y) { return 20000.0 * flat(x, y); })};
    const Masters masters = Masters::open(paths);
    const auto applied = [&](const std::string& letters) {
        const std::string light = write(folder, "light" + letters + ".fits",
                                        {"Light", 60.0, "V", {word_card("CALSTAT", letters)}}, light_adu);
        const FrameFacts facts = facts_with(light, masters);
        CHECK_FALSE(facts.caveats.has(Caveat::not_calibrated));
        CHECK(all(facts.remarks).find("not done again") != std::string::npos);
        std::string steps;
        for (const std::string& used : facts.masters)
            steps += used.substr(0, 4) + " ";
        return steps;
    };
    CHECK(applied("BDF").empty());
    CHECK(applied("D") == "flat ");
    CHECK(applied("F") == "dark ");
    // The bias is out of the frame, not of the dark: dark less bias.
    CHECK(applied("B") == "dark bias flat ");
    const std::string light = write(folder, "b.fits", {"Light", 60.0, "V", {word_card("CALSTAT", "BF")}},
                                    [](int x, int y) { return current_adu(x, y) + 700.0; });
    check_pixels(read(light, masters), [](int, int) { return 700.0; });
}

TEST_CASE("a stack of exposures is left as it is", "[calibration]") {
    const Folder folder;
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu)};
    const std::string stack =
        write(folder, "stack.fits", {"Light", 60.0, "V", {number_card("NCOMBINE", "12")}}, light_adu);
    const FrameFacts facts = facts_with(stack, Masters::open(paths));
    CHECK(facts.masters.empty());
    CHECK(facts.caveats.has(Caveat::not_calibrated));
    CHECK(all(facts.remarks).find("masters belong to each") != std::string::npos);
    check_pixels(read(stack, Masters::open(paths)), light_adu);
}

TEST_CASE("masters that cannot be used are refused with their reason", "[calibration]") {
    const Folder folder;
    const auto refusal = [](const MasterPaths& paths) {
        const Masters masters = Masters::open(paths);
        REQUIRE(masters.refused().size() == 1);
        return one_line(masters.refused().front());
    };
    const auto as_flat = [&](const std::string& path) {
        MasterPaths paths;
        paths.flat["V"] = {path};
        return refusal(paths);
    };
    const auto as_dark = [&](const std::string& path) {
        MasterPaths paths;
        paths.dark = {path};
        return refusal(paths);
    };
    CHECK(as_dark(folder.path("none.fits")).find("cannot be opened") != std::string::npos);
    CHECK(as_dark(folder.file("text.fits", "no FITS")).find("not a FITS file") != std::string::npos);
    CHECK(as_dark(write(folder, "f.fits", {"Flat", 60.0, "V", {}}, dark_adu)).find("a flat") !=
          std::string::npos);
    CHECK(as_dark(write(folder, "d.fits", {"Dark", {}, "", {}}, dark_adu)).find("how long it was exposed") !=
          std::string::npos);
    CHECK(as_flat(write(folder, "d2.fits", {"Dark", 1.0, "", {}}, dark_adu)).find("a dark") !=
          std::string::npos);
    CHECK(as_flat(write(folder, "full.fits", {"Flat", 1.0, "V", {}}, [](int, int) {
              return 65535.0;
          })).find("saturated") != std::string::npos);
    CHECK(as_flat(write_float(folder, "zero.fits", {"Flat", 1.0, "V", {}}, [](int, int) {
              return 0.0;
          })).find("no light") != std::string::npos);
    std::mt19937_64 random(7);
    std::normal_distribution<double> noise(0.0, 0.3);
    CHECK(as_flat(write_float(folder, "faint.fits", {"Master Flat", 1.0, "V", {}}, [&](int, int) {
              return 1.0 + noise(random);
          })).find("too little light") != std::string::npos);
    // With every dark refused the frame goes on, and says so.
    MasterPaths paths;
    paths.dark = {folder.path("none.fits")};
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "V", {}}, light_adu);
    const FrameFacts facts = facts_with(light, Masters::open(paths));
    CHECK(facts.caveats.has(Caveat::not_calibrated));
    CHECK(all(facts.remarks).find("none that is named can be used") != std::string::npos);
}

TEST_CASE("darks of flats beside a bias are no missing dark", "[calibration]") {
    const Folder folder;
    const std::string light = write(folder, "light.fits", {"Light", 120.0, "V", {}}, light_adu);
    MasterPaths paths;
    paths.bias = {write(folder, "bias.fits", {"Bias", 0.0, "", {}}, bias_adu)};
    paths.dark = {write(folder, "dark_2.fits", {"Dark", 2.0, "", {}}, bias_adu)};
    const FrameFacts facts = facts_with(light, Masters::open(paths));
    REQUIRE(facts.masters.size() == 1);
    CHECK(facts.masters.front().starts_with("bias "));
    CHECK_FALSE(facts.caveats.has(Caveat::not_calibrated));
    // One that was meant for the lights, of another exposure, is missed.
    paths.dark.push_back(write(folder, "dark_20.fits", {"Dark", 20.0, "", {}}, dark_adu));
    CHECK(facts_with(light, Masters::open(paths)).caveats.has(Caveat::not_calibrated));
}
