// SPDX-License-Identifier: MIT
#include "frame/calibration.hpp"

#include <fmt/format.h>

#include <bit>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <random>
#include <thread>

#include "fits_maker.hpp"
#include "frame/fits_image.hpp"
#include "frame/frame.hpp"
#include "frame/write_frame.hpp"
#include "header_of.hpp"

using namespace emberline;
using namespace emberline::frame;
using emberline::frame::testing::Folder;

namespace {

constexpr int width = 70, height = 54;

Card word_card(const std::string& keyword, const std::string& value) {
    return {keyword, value, "", true};
}
Card number_card(const std::string& keyword, const std::string& value) {
    return {keyword, value, "", false};
}

struct Exposure {
    std::string kind = "Light Frame";
    std::optional<double> exposure_s = 60.0;
    std::string filter;
    std::vector<Card> more;
    int width_px = width, height_px = height;
};

using Pixels = std::function<double(int, int)>;

std::vector<Card> cards_of(const Exposure& e) {
    std::vector<Card> cards{word_card("IMAGETYP", e.kind)};
    if (e.exposure_s) cards.push_back(number_card("EXPTIME", fmt::format("{:.3f}", *e.exposure_s)));
    if (!e.filter.empty()) cards.push_back(word_card("FILTER", e.filter));
    cards.insert(cards.end(), e.more.begin(), e.more.end());
    return cards;
}

std::string write(const Folder& folder, const std::string& name, const Exposure& e, const Pixels& adu,
                  frame::Packing packing = frame::Packing::plain) {
    std::vector<std::uint16_t> pixels;
    for (int y = 0; y < e.height_px; ++y) {
        for (int x = 0; x < e.width_px; ++x)
            pixels.push_back(static_cast<std::uint16_t>(adu(x, y)));
    }
    REQUIRE(write_frame(folder.path(name), e.width_px, e.height_px, pixels, cards_of(e), packing));
    return folder.path(name);
}

std::string write_float(const Folder& folder, const std::string& name, const Exposure& e, const Pixels& adu) {
    std::vector<float> pixels;
    for (int y = 0; y < e.height_px; ++y) {
        for (int x = 0; x < e.width_px; ++x)
            pixels.push_back(static_cast<float>(adu(x, y)));
    }
    REQUIRE(
        write_frame(folder.path(name), e.width_px, e.height_px, std::span<const float>(pixels), cards_of(e)));
    return folder.path(name);
}

// The camera of these tests: a bias with a slope, a dark current with hot pixels, a flat that falls outwards.
double bias_adu(int x, int y) {
    return 300.0 + x + (y % 3);
}
double current_adu(int x, int y) {  // in 60 s
    return 12.0 + ((x * 7 + y * 3) % 31 == 0 ? 600.0 : 0.0);
}
double dark_adu(int x, int y) {
    return bias_adu(x, y) + current_adu(x, y);
}
double flat(int x, int y) {
    const double dx = (x - width / 2.0) / width, dy = (y - height / 2.0) / height;
    return 1.1 - 0.8 * (dx * dx + dy * dy);
}
double light_adu(int x, int y) {
    return std::floor(dark_adu(x, y) + 2000.0 * flat(x, y));
}

const PixelBox some_box{11, 7, 23, 19};

Cutout read(const std::string& light, const Masters& masters, PixelBox box = some_box) {
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    const auto cutout = frames->front().read(box);
    REQUIRE(cutout);
    return *cutout;
}

void check_pixels(const Cutout& cutout, const Pixels& expected, double margin = 1e-3) {
    double worst = 0.0;
    for (int y = cutout.box.y0; y < cutout.box.y0 + cutout.box.height; ++y) {
        for (int x = cutout.box.x0; x < cutout.box.x0 + cutout.box.width; ++x)
            worst = std::max(worst, std::abs(static_cast<double>(cutout.at(x, y)) - expected(x, y)));
    }
    CHECK(worst < margin);  // ADU; float pixels of some thousand ADU hold 2.4e-4
}

FrameFacts facts_with(const std::string& light, const Masters& masters) {
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    return frames->front().facts();
}

std::string all(const std::vector<std::string>& sentences) {
    std::string text;
    for (const std::string& s : sentences)
        text += s + "\n";
    return text;
}

}  // namespace

TEST_CASE("the kind of an exposure is told from its header", "[calibration]") {
    using test::facts_of;
    const auto kind = [](const std::string& line) { return facts_of({line}).kind; };
    CHECK(kind("IMAGETYP= 'Light Frame'")->value == FrameKind::light);
    CHECK(kind("IMAGETYP= 'Bias Frame'")->value == FrameKind::bias);
    CHECK(kind("OBSTYPE = 'zero    '")->value == FrameKind::bias);
    CHECK(kind("IMAGETYP= 'DARK    '")->value == FrameKind::dark);
    CHECK(kind("FRAME   = 'Flat Dark'")->value == FrameKind::flat_dark);
    CHECK(kind("IMAGETYP= 'DARKFLAT'")->value == FrameKind::flat_dark);
    CHECK(kind("IMAGETYP= 'Master Flat'")->value == FrameKind::flat);
    CHECK(kind("IMAGETYP= 'Flat Field'")->source == "IMAGETYP");
    // A number, and a system of coordinates, tell nothing.
    CHECK_FALSE(kind("FRAME   =                   47 / Frame sequence number within the run"));
    CHECK_FALSE(kind("FRAME   = 'FK5     '           / Target coordinate system"));
}

TEST_CASE("temperature, gain setting and offset are read where they mean something", "[calibration]") {
    using test::facts_of;
    const auto cooled = facts_of({"CCD-TEMP=  -19.0 / C", "SET-TEMP=  -20.0"});
    CHECK(cooled.temperature_c->value == -19.0);
    CHECK(facts_of({"SET-TEMP=  -20.0"}).temperature_c->source == "SET-TEMP");
    CHECK_FALSE(facts_of({"CCD-TEMP=  180.2 / kelvin"}).temperature_c);
    const auto setting = facts_of({"GAIN    =  120 / sensor gain", "EGAIN   =  0.8", "OFFSET  = 30"});
    CHECK(setting.gain_setting->value == 120.0);
    CHECK_FALSE(facts_of({"GAIN    =  2.3 / e-/ADU"}).gain_setting);
    // The sign of PEDESTAL varies between programs: common practice, no source.
    CHECK(facts_of({"PEDESTAL= -100"}).offset_adu->value == 100.0);
    CHECK(facts_of({"PEDESTAL= 100"}).offset_adu->value == 100.0);
    CHECK_FALSE(facts_of({"PEDESTAL= 0"}).offset_adu);
    CHECK(facts_of({"PEDESTAL= 0", "CALSTAT = 'BDF'"}).offset_adu->value == 0.0);
    Instrument stated;
    stated.offset_adu = 512.0;
    CHECK(facts_of({"PEDESTAL= 0"}, {stated}).offset_adu->value == 512.0);
}

TEST_CASE("what was done to a frame before is told letter by letter", "[calibration]") {
    using test::facts_of;
    CHECK(facts_of({"CALSTAT = 'BDF'"}).calibrated->value == "BDF");
    CHECK(facts_of({"CALSTAT = 'DF      '"}).calibrated->value == "DF");
    CHECK(facts_of({"HISTORY Dark Subtracted, master_dark.fit"}).calibrated->value == "D");
    CHECK(facts_of({"HISTORY Flat fielded with V.fit", "HISTORY bias subtracted"}).calibrated->value == "BF");
    CHECK(facts_of({"FLATCOR = 'Jun 12 10:30 Flat field image is Flat.imh'"}).calibrated->value == "F");
    CHECK(facts_of({"DARKCORR= 'COMPLETE'", "FLATCORR= 'OMIT    '"}).calibrated->value == "D");
    CHECK_FALSE(facts_of({"CALSTAT = '        '"}).calibrated);
    CHECK_FALSE(facts_of({"HISTORY not dark subtracted", "HISTORY plate solved"}).calibrated);
    CHECK_FALSE(facts_of({"COMMENT flat fielding is a good thing"}).calibrated);
}

TEST_CASE("dark, flat and defects act on the pixels of the box that is read", "[calibration]") {
    const Folder folder;
    const auto packing = GENERATE(frame::Packing::plain, frame::Packing::tiles);
    const std::string light = write(folder, "light.fits", {"Light Frame", 60.0, "V", {}}, light_adu, packing);
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark Frame", 60.0, "", {}}, dark_adu, packing)};
    paths.flat["V"] = {write_float(folder, "flat.fits", {"Master Flat", 3.0, "V", {}},
                                   [](int x, int y) { return 25000.0 * flat(x, y); })};
    paths.defects = {write(
        folder, "defects.fits", {"Defect Map", {}, "", {}},
        [](int x, int y) { return x == 20 && y == 12 ? 2 : 0; }, packing)};
    const Masters masters = Masters::open(paths);
    CHECK(masters.refused().empty());
    const FrameFacts facts = facts_with(light, masters);
    CHECK(facts.masters.size() == 3);
    CHECK(facts.caveats.has(Caveat::not_calibrated) == false);
    CHECK(facts.offset_adu->value == 0.0);

    Cutout cutout = read(light, masters);
    CHECK(std::isnan(cutout.at(20, 12)));
    // The flat's mean is that of sampled boxes: one factor for all pixels.
    const double factor =
        static_cast<double>(cutout.at(30, 20)) * flat(30, 20) / (light_adu(30, 20) - dark_adu(30, 20));
    CHECK(factor == Approx(1.0).margin(0.1));
    cutout.at(20, 12) = static_cast<float>(2000.0 * factor);
    check_pixels(
        cutout, [&](int x, int y) { return factor * (light_adu(x, y) - dark_adu(x, y)) / flat(x, y); }, 1.5);
    // The whole frame, cut at its edges, is the same as its boxes.
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    const auto whole = frames->front().read_whole();
    REQUIRE(whole);
    CHECK(whole->at(31, 20) == cutout.at(31, 20));
    CHECK(whole->at(11, 7) == cutout.at(11, 7));
    // Of the stored pixels, as they are.
    CHECK(frames->front().read_stored({some_box})->front().at(15, 9) == static_cast<float>(light_adu(15, 9)));
}

TEST_CASE("a dark of another exposure is scaled about its bias, and only with one", "[calibration]") {
    const Folder folder;
    const auto dark_of = [](double seconds) {
        return [seconds](int x, int y) { return bias_adu(x, y) + current_adu(x, y) * seconds / 60.0; };
    };
    const std::string light = write(folder, "light.fits", {"Light", 120.0, "V", {}},
                                    [&](int x, int y) { return dark_of(120.0)(x, y) + 1000.0; });
    MasterPaths paths;
    paths.dark = {write(folder, "dark_60.fits", {"Dark", 60.0, "", {}}, dark_of(60.0))};
    {
        const Masters masters = Masters::open(paths);
        const FrameFacts facts = facts_with(light, masters);
        CHECK(facts.masters.empty());
        CHECK(facts.caveats.has(Caveat::not_calibrated));
        CHECK(all(facts.remarks).find("exposed for 60 s, the frame for 120 s") != std::string::npos);
        check_pixels(read(light, masters), [&](int x, int y) { return dark_of(120.0)(x, y) + 1000.0; });
    }
    paths.bias = {write(folder, "bias.fits", {"Bias", 0.0, "", {}}, bias_adu)};
    SECTION("its bias still in it") {
        const Masters masters = Masters::open(paths);
        CHECK(facts_with(light, masters).masters.size() == 2);
        check_pixels(read(light, masters), [](int, int) { return 1000.0; });
    }
    SECTION("its bias taken away before") {
        paths.dark = {write_float(folder, "current.fits",
                                  {"Master Dark", 60.0, "", {number_card("BIASSUB", "T")}}, current_adu)};
        check_pixels(read(light, Masters::open(paths)), [](int, int) { return 1000.0; });
    }
    SECTION("one of the same exposure wins, and needs no bias") {
        paths.dark.push_back(write(folder, "dark_120.fits", {"Dark", 120.0, "", {}}, dark_of(120.0)));
        const Masters masters = Masters::open(paths);
        const FrameFacts facts = facts_with(light, masters);
        REQUIRE(facts.masters.size() == 1);
        CHECK(facts.masters.front().ends_with("dark_120.fits"));
        check_pixels(read(light, masters), [](int, int) { return 1000.0; });
    }
    SECTION("much too short, it is passed over for the bias alone") {
        paths.dark = {write(folder, "dark_5.fits", {"Dark", 5.0, "", {}}, dark_of(5.0))};
        const Masters masters = Masters::open(paths);
        const FrameFacts facts = facts_with(light, masters);
        CHECK(facts.caveats.has(Caveat::not_calibrated));
        CHECK(all(facts.remarks).find("too short to be scaled") != std::string::npos);
        check_pixels(read(light, masters), [&](int x, int y) { return 2.0 * current_adu(x, y) + 1000.0; });
    }
}

TEST_CASE("a short dark may stand in for a bias, and it is said", "[calibration]") {
    const Folder folder;
    const std::string light = write(folder, "light.fits", {"Light", 120.0, "V", {}},
                                    [](int x, int y) { return bias_adu(x, y) + 500.0; });
    const std::string dark = write(folder, "dark_1.fits", {"Dark", 1.0, "", {}}, bias_adu);
    MasterPaths paths;
    SECTION("among the darks") {
        paths.dark = {dark};
    }
    SECTION("named for a bias") {
        paths.bias = {dark};
    }
    const Masters masters = Masters::open(paths);
    CHECK(masters.refused().empty());
    const FrameFacts facts = facts_with(light, masters);
    CHECK_FALSE(facts.caveats.has(Caveat::not_calibrated));
    CHECK(all(facts.remarks).find("stands in for a bias") != std::string::npos);
    check_pixels(read(light, masters), [](int, int) { return 500.0; });
}

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

TEST_CASE("saturated pixels are known for what they are after dark and flat, and no others",
          "[calibration]") {
    const Folder folder;
    const double full = 60000.0;
    Instrument instrument;
    instrument.saturation_adu = full;
    instrument.linear_to_adu = 50000.0;
    // A bright pixel just below saturation where the flat is low, a saturated one where it is high.
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "V", {}}, [&](int x, int y) {
        if (x == 35 && y == 27) return full;
        if (x == 2 && y == 2) return full - 200.0;
        if (x == 36 && y == 30) return 51000.0;
        return light_adu(x, y);
    });
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu)};
    paths.flat["V"] = {write_float(folder, "flat.fits", {"Master Flat", 1.0, "V", {}},
                                   [](int x, int y) { return 20000.0 * flat(x, y); })};
    const Masters masters = Masters::open(paths);
    const auto frames = open_frames(light, {instrument}, &masters);
    REQUIRE(frames);
    const FrameFacts& facts = frames->front().facts();
    const auto whole = frames->front().read_whole();
    REQUIRE(whole);
    const auto adu = [&](int x, int y) { return static_cast<double>(whole->at(x, y)); };
    CHECK(adu(35, 27) >= facts.saturation_adu->value);
    CHECK(adu(2, 2) < facts.saturation_adu->value);
    CHECK(adu(2, 2) > full);  // above the camera's own level, and yet good
    CHECK(adu(36, 30) > facts.linear_to_adu->value);
    CHECK(adu(36, 30) < facts.saturation_adu->value);
    std::size_t saturated = 0;
    for (const float v : whole->adu)
        saturated += static_cast<double>(v) >= facts.saturation_adu->value ? 1 : 0;
    CHECK(saturated == 1);
}

TEST_CASE("the flat of a mosaic is normalised for each colour", "[calibration]") {
    const Folder folder;
    const double colour[] = {1.0, 2.0, 2.2, 0.7};  // of the lamp
    const auto phase = [](int x, int y) { return (x & 1) + 2 * (y & 1); };
    const std::vector<Card> mosaic{word_card("BAYERPAT", "RGGB")};
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "", mosaic},
                                    [](int x, int y) { return 10000.0 * flat(x, y); });
    MasterPaths paths;
    paths.flat[""] = {write_float(folder, "flat.fits", {"Master Flat", 1.0, "", mosaic},
                                  [&](int x, int y) { return 9000.0 * colour[phase(x, y)] * flat(x, y); })};
    const Masters masters = Masters::open(paths);
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    REQUIRE(frames->size() == 3);
    for (const Frame& one : *frames) {
        const auto cutout = one.read(PixelBox{12, 12, 6, 6});
        REQUIRE(cutout);
        std::vector<float> there;
        for (const float v : cutout->adu) {
            if (std::isfinite(v)) there.push_back(v);
        }
        REQUIRE_FALSE(there.empty());
        // The lamp's colour is gone: every phase has its own mean, all about the same.
        const auto [low, high] = std::minmax_element(there.begin(), there.end());
        CHECK(static_cast<double>(*high / *low) == Approx(1.0).margin(0.002));
        CHECK(static_cast<double>(*low) == Approx(10000.0).epsilon(0.1));
    }
    // Read as a camera without colour, the flat's colour would stay in.
    Instrument plain;
    plain.pattern = "none";
    const std::string other =
        write_float(folder, "plain.fits", {"Master Flat", 1.0, "", {}},
                    [&](int x, int y) { return 9000.0 * colour[phase(x, y)] * flat(x, y); });
    paths.flat[""] = {other};
    const auto alone = open_frames(light, {plain}, &masters);
    REQUIRE(alone);
    CHECK(alone->size() == 1);
}

TEST_CASE("masters of the whole sensor are cut for a part of it", "[calibration]") {
    const Folder folder;
    const int left = 20, bottom = 9;
    Exposure part{"Light", 60.0, "V", {number_card("XORGSUBF", "20"), number_card("YORGSUBF", "9")}, 40, 30};
    const std::string light = write(folder, "part.fits", part,
                                    [&](int x, int y) { return dark_adu(x + left, y + bottom) + 800.0; });
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu)};
    check_pixels(read(light, Masters::open(paths), {3, 2, 20, 20}), [](int, int) { return 800.0; });
    // Of the same size and another place, it is no dark of this frame.
    Exposure elsewhere{"Dark", 60.0, "", {number_card("XORGSUBF", "0"), number_card("YORGSUBF", "0")},
                       40,     30};
    paths.dark = {write(folder, "elsewhere.fits", elsewhere, dark_adu)};
    const FrameFacts facts = facts_with(light, Masters::open(paths));
    CHECK(all(facts.remarks).find("another part of the sensor") != std::string::npos);
}

TEST_CASE("stacks and colour pictures are left as they are", "[calibration]") {
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

TEST_CASE("a raw flat gives up its bias first", "[calibration]") {
    const Folder folder;
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "V", {}},
                                    [](int x, int y) { return 400.0 + 5000.0 * flat(x, y); });
    MasterPaths paths;
    paths.bias = {write(folder, "bias.fits", {"Bias", 0.0, "", {}}, [](int, int) { return 400.0; })};
    paths.flat["V"] = {write(folder, "flat.fits", {"Flat Field", 1.0, "V", {}},
                             [](int x, int y) { return 400.0 + 20000.0 * flat(x, y); })};
    const Masters masters = Masters::open(paths);
    const Cutout cutout = read(light, masters, {0, 0, width, height});
    const auto [low, high] = std::minmax_element(cutout.adu.begin(), cutout.adu.end());
    // Rounding to whole ADU: 1 in 3000. With its bias in, the flat would leave 1.5 % between centre and
    // corner.
    CHECK(static_cast<double>(*high / *low) == Approx(1.0).margin(6e-4));
    CHECK(all(facts_with(light, masters).remarks).find("was taken off it") != std::string::npos);
}

TEST_CASE("the flat's own noise is told, by its variance plane where there is one", "[calibration]") {
    const Folder folder;
    std::mt19937_64 random(11);
    std::normal_distribution<double> noise(0.0, 0.01);
    const std::string light = write(folder, "light.fits", {"Light", 60.0, "V", {}}, light_adu);
    MasterPaths paths;
    paths.flat["V"] = {write_float(folder, "flat.fits", {"Master Flat", 1.0, "V", {}},
                                   [&](int x, int y) { return flat(x, y) + noise(random); })};
    // One per cent in a thousand pixels and more: known to 3 %, and the flat's own bend adds little.
    CHECK(facts_with(light, Masters::open(paths)).flat_pixel_err == Approx(0.01).epsilon(0.1));

    using namespace emberline::frame::testing;
    std::vector<std::uint32_t> level, variance;
    for (int i = 0; i < width * height; ++i) {
        level.push_back(std::bit_cast<std::uint32_t>(2.0F));
        variance.push_back(std::bit_cast<std::uint32_t>(0.0001F));
    }
    const std::vector<std::string> shape{"BITPIX  = -32", "NAXIS   = 2", "NAXIS1  = 70", "NAXIS2  = 54"};
    const auto header = [&](const std::string& first, const std::vector<std::string>& more) {
        std::vector<std::string> lines{first};
        lines.insert(lines.end(), shape.begin(), shape.end());
        lines.insert(lines.end(), more.begin(), more.end());
        return header_block(lines);
    };
    const std::string bytes =
        header("SIMPLE  = T", {"EXTEND  = T", "IMAGETYP= 'Master Flat'", "FILTER  = 'V'"}) +
        data_block(big_endian(level)) +
        header("XTENSION= 'IMAGE   '", {"PCOUNT  = 0", "GCOUNT  = 1", "EXTNAME = 'VARIANCE'"}) +
        data_block(big_endian(variance));
    paths.flat["V"] = {folder.file("with_variance.fits", bytes)};
    CHECK(facts_with(light, Masters::open(paths)).flat_pixel_err == Approx(0.005));  // 0.01 of 2
    const auto plane = FitsImage::open(paths.flat["V"].front(), "variance");
    REQUIRE(plane);
    CHECK((*plane)->read(0, {{3, 3, 1, 1}})->front().adu.front() == 0.0001F);
    CHECK_FALSE(FitsImage::open(paths.flat["V"].front(), "OTHER"));
}

TEST_CASE("masters are shared by threads", "[calibration]") {
    const Folder folder;
    const auto packing = GENERATE(frame::Packing::plain, frame::Packing::tiles);
    MasterPaths paths;
    paths.dark = {write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu, packing)};
    const Masters masters = Masters::open(paths);
    std::vector<std::string> lights;
    for (int k = 0; k < 4; ++k)
        lights.push_back(write(folder, fmt::format("light{}.fits", k), {"Light", 60.0, "V", {}}, light_adu));
    std::vector<int> wrong(lights.size(), 0);
    std::vector<std::thread> threads;
    for (std::size_t k = 0; k < lights.size(); ++k) {
        threads.emplace_back([&, k] {
            for (int round = 0; round < 40; ++round) {
                const auto frames = open_frames(lights[k], {}, &masters);
                const PixelBox box{round % 20, (round * 7) % 20, 30, 30};
                const auto cutout = frames ? frames->front().read(box) : Result<Cutout>(fail({}));
                if (!cutout) {
                    ++wrong[k];
                    continue;
                }
                for (int y = box.y0; y < box.y0 + box.height; ++y) {
                    for (int x = box.x0; x < box.x0 + box.width; ++x) {
                        const double expected = light_adu(x, y) - dark_adu(x, y);
                        wrong[k] += static_cast<double>(cutout->at(x, y)) != expected ? 1 : 0;
                    }
                }
            }
        });
    }
    for (std::thread& thread : threads)
        thread.join();
    for (const int n : wrong)
        CHECK(n == 0);
}

TEST_CASE("masters made anew under their name are other masters", "[calibration]") {
    const Folder folder;
    static_cast<void>(write(folder, "dark.fits", {"Dark", 60.0, "", {}}, dark_adu));
    MasterPaths paths;
    paths.dark = {"dark.fits"};
    const std::string before = masters_text(paths, folder.path(""));
    CHECK(masters_text(paths, folder.path("")) == before);
    static_cast<void>(write(folder, "dark.fits", {"Dark", 60.0, "", {}},
                            [](int x, int y) { return dark_adu(x, y) + 1.0; }));
    CHECK(masters_text(paths, folder.path("")) != before);
}
