// SPDX-License-Identifier: MIT
#include "frame/calibration.hpp"

#include <bit>
#include <random>
#include <thread>

#include "calibration_camera.hpp"
#include "frame/fits_image.hpp"

using namespace emberline;
using namespace emberline::frame;
using namespace emberline::frame::testing;

TEST_CASE("dark, flat and defects act on the pixels of the box that is read", "[calibration]") {
    const Folder folder;
    const auto packing = GENERATE(emberline::frame::Packing::plain, emberline::frame::Packing::tiles);
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
    const auto packing = GENERATE(emberline::frame::Packing::plain, emberline::frame::Packing::tiles);
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
