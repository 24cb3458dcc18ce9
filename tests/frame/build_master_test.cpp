// SPDX-License-Identifier: MIT
#include <fitsio.h>

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <functional>

#include "frame/build_master.hpp"
#include "frame/calibration_sets.hpp"
#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"
#include "frame/write_frame.hpp"
#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::frame;
using frame::testing::Folder;

namespace {

constexpr int width = 150, height = 90;

using PixelLaw = std::function<double(int x, int y)>;

std::string write(const Folder& folder, const std::string& name, const PixelLaw& law,
                  Packing packing = Packing::plain) {
    std::vector<std::uint16_t> adu;
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x)
            adu.push_back(static_cast<std::uint16_t>(std::clamp(std::lround(law(x, y)), 0L, 65535L)));
    }
    REQUIRE(write_frame(folder.path(name), width, height, adu, {}, packing));
    return folder.path(name);
}

MasterPlan plan_of(const Folder& folder, FrameKind kind, const std::vector<std::string>& paths) {
    MasterPlan plan;
    plan.kind = kind;
    plan.output = folder.path("master.fits");
    for (const std::string& path : paths)
        plan.frames.push_back({path, -1, 60.0});
    plan.width_px = width;
    plan.height_px = height;
    return plan;
}

// An image extension, or 0 for the primary image, as another program reads it.
std::vector<float> pixels_by_library(const std::string& path, int part) {
    fitsfile* file = nullptr;
    int status = 0, any = 0;
    fits_open_diskfile(&file, path.c_str(), READONLY, &status);
    fits_movabs_hdu(file, part + 1, nullptr, &status);
    std::vector<float> out(static_cast<std::size_t>(width * height));
    float undefined = std::numeric_limits<float>::quiet_NaN();
    fits_read_img(file, TFLOAT, 1, width * height, &undefined, out.data(), &any, &status);
    fits_close_file(file, &status);
    REQUIRE(status == 0);
    return out;
}

std::size_t at(int x, int y) {
    return static_cast<std::size_t>(y) * width + static_cast<std::size_t>(x);
}

std::vector<std::string> noisy_darks(const Folder& folder, int n, Packing packing = Packing::plain) {
    std::vector<std::string> paths;
    for (int i = 0; i < n; ++i) {
        numerics::Random random(100 + static_cast<std::uint64_t>(i));
        paths.push_back(write(
            folder, "dark" + std::to_string(i) + ".fits",
            [&](int x, int y) {
                const bool hit = x == 10 + i && y == 20;
                return random.gaussian(300.0 + 0.1 * x + 0.2 * y, 4.0) + (hit ? 3000.0 : 0.0);
            },
            packing));
    }
    return paths;
}

}  // namespace

TEST_CASE("a master dark is the mean without the hits, with the variance of that mean", "[master]") {
    const Folder folder;
    const auto built = build_master(plan_of(folder, FrameKind::dark, noisy_darks(folder, 9)));
    REQUIRE(built);
    CHECK(built->used.size() == 9);
    CHECK(built->left_out.empty());
    // Noise 4 ADU and what rounding adds, √(16 + 1/12).
    CHECK(built->scatter_adu == Approx(4.01).epsilon(0.02));
    const auto mean = pixels_by_library(built->path, 0), variance = pixels_by_library(built->path, 1),
               used = pixels_by_library(built->path, 2);
    double chi2 = 0.0, variances = 0.0;
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            const double off = static_cast<double>(mean[at(x, y)]) - (300.0 + 0.1 * x + 0.2 * y);
            chi2 += off * off / (16.08 / 9.0) / (width * height);
            variances += static_cast<double>(variance[at(x, y)]) / (width * height);
        }
    }
    CHECK(chi2 == Approx(1.0).margin(0.04));  // of 13500 pixels: 1.2 %
    CHECK(variances == Approx(16.08 / 9.0).epsilon(0.02));
    for (int i = 0; i < 9; ++i)
        CHECK(used[at(10 + i, 20)] == 8.0F);
}

TEST_CASE("the answer does not depend on how much memory is allowed, nor on threads or packing", "[master]") {
    const Folder folder;
    MasterPlan plan = plan_of(folder, FrameKind::dark, noisy_darks(folder, 7));
    const auto whole = build_master(plan);
    REQUIRE(whole);
    const auto expected = pixels_by_library(whole->path, 0);
    plan.memory_bytes = 50000;  // a row at a time
    plan.threads = 1;
    REQUIRE(build_master(plan));
    CHECK(pixels_by_library(plan.output, 0) == expected);
    const Folder packed;
    REQUIRE(build_master(plan_of(packed, FrameKind::dark, noisy_darks(packed, 7, Packing::tiles))));
    CHECK(pixels_by_library(packed.path("master.fits"), 0) == expected);
}

namespace {

constexpr std::array<double, 4> phase_light{0.4, 1.0, 1.0, 0.6};

// Light falling from the middle out, another for each phase of a mosaic.
double lit(int x, int y, double level, bool mosaic) {
    const double r2 = std::pow((x - width / 2.0) / width, 2) + std::pow((y - height / 2.0) / height, 2);
    return level * (1.0 - 0.4 * r2) *
           (mosaic ? phase_light[static_cast<std::size_t>((x & 1) + 2 * (y & 1))] : 1.0);
}

std::string write_flat(const Folder& folder, int i, double level, bool mosaic, double bias) {
    numerics::Random random(500 + static_cast<std::uint64_t>(i));
    return write(folder, "flat" + std::to_string(i) + ".fits", [&](int x, int y) {
        const double light = lit(x, y, level, mosaic);
        const double response = x == 33 && y == 44 ? 0.2 : 1.0;
        return random.gaussian(bias + light * response, std::sqrt(light));
    });
}

std::string write_bias(const Folder& folder, double bias) {
    MasterPlan plan =
        plan_of(folder, FrameKind::bias, {write(folder, "b.fits", [&](int, int) { return bias; })});
    plan.output = folder.path("master_bias.fits");
    REQUIRE(build_master(plan));
    return plan.output;
}

void is_the_light(const Folder& folder, bool mosaic) {
    MasterPlan plan = plan_of(folder, FrameKind::flat, {});
    plan.mosaic = mosaic;
    plan.pedestals = {write_bias(folder, 600.0)};
    // A twilight: each flat has less light than the one before.
    const std::array levels{40000.0, 31000.0, 24000.0, 18000.0, 13000.0};
    for (int i = 0; i < 5; ++i) {
        plan.frames.push_back(
            {write_flat(folder, i, levels[static_cast<std::size_t>(i)], mosaic, 600.0), 0, 1.0});
    }
    const auto built = build_master(plan);
    REQUIRE(built);
    REQUIRE(built->used.size() == 5);
    const auto mean = pixels_by_library(built->path, 0);
    std::array<double, 4> sum{}, truth{};
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            const auto p = mosaic ? static_cast<std::size_t>((x & 1) + 2 * (y & 1)) : 0U;
            sum[p] += static_cast<double>(mean[at(x, y)]);
            truth[p] += lit(x, y, 1.0, mosaic);
        }
    }
    const double each = width * height / (mosaic ? 4.0 : 1.0);
    double chi2 = 0.0;
    const auto variance = pixels_by_library(built->path, 1);
    for (std::size_t p = 0; p < (mosaic ? 4U : 1U); ++p)
        CHECK(sum[p] / each == Approx(1.0).margin(1e-5));
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            if (x == 33 && y == 44) continue;
            const auto p = mosaic ? static_cast<std::size_t>((x & 1) + 2 * (y & 1)) : 0U;
            const double off =
                static_cast<double>(mean[at(x, y)]) - lit(x, y, 1.0, mosaic) / (truth[p] / each);
            chi2 += off * off / static_cast<double>(variance[at(x, y)]) / (width * height);
        }
    }
    // Variances of five values filled up with the usual scatter; that of the fainter edges is less.
    CHECK(chi2 == Approx(1.0).margin(0.15));
    CHECK(built->defects == std::vector<Defect>{{33, 44, defect_dead}});
}

}  // namespace

TEST_CASE("a master flat of a twilight is the light's shape, mean 1, its bias gone", "[master]") {
    const Folder mono, mosaic;
    is_the_light(mono, false);
    is_the_light(mosaic, true);
}

TEST_CASE("flats that are saturated or too faint are refused, each with its reason", "[master]") {
    const Folder folder;
    std::vector<std::string> paths;
    for (int i = 0; i < 4; ++i)
        paths.push_back(write_flat(folder, i, 20000.0, false, 0.0));
    paths.push_back(write_flat(folder, 4, 90000.0, false, 0.0));
    paths.push_back(write_flat(folder, 5, 500.0, false, 0.0));
    paths.push_back(write_flat(folder, 6, 1500.0, false, 0.0));
    MasterPlan plan = plan_of(folder, FrameKind::flat, paths);
    plan.saturation_adu = 65535.0;
    const auto built = build_master(plan);
    REQUIRE(built);
    CHECK(built->used.size() == 4);
    REQUIRE(built->left_out.size() == 3);
    CHECK(built->left_out[0].problem.what.find("saturated") != std::string::npos);
    CHECK(built->left_out[1].problem.what.find("too faint") != std::string::npos);
    CHECK(built->left_out[2].problem.what.find("too faint") != std::string::npos);
}

// It was told to expose its flats less.
TEST_CASE("a saturated dark is advised as a dark", "[master]") {
    const Folder folder;
    auto paths = noisy_darks(folder, 3);
    paths.push_back(write(folder, "lit.fits", [](int, int) { return 65535.0; }));
    MasterPlan plan = plan_of(folder, FrameKind::dark, paths);
    plan.saturation_adu = 65535.0;
    const auto built = build_master(plan);
    REQUIRE(built);
    REQUIRE(built->left_out.size() == 1);
    CHECK(built->left_out[0].problem.what.find("saturated") != std::string::npos);
    CHECK(built->left_out[0].problem.mend.find("light fell in") != std::string::npos);
}

TEST_CASE("a frame cut short, of another size or of another level is refused, and the rest serve",
          "[master]") {
    const Folder folder;
    auto paths = noisy_darks(folder, 6);
    const std::string whole = frame::testing::bytes_of(paths[1]);
    paths[1] = folder.file("cut.fits", whole.substr(0, whole.size() / 2));
    paths.push_back(write(folder, "light_leak.fits", [](int, int) { return 450.0; }));
    const std::vector<std::uint16_t> small(100, 300);
    REQUIRE(write_frame(folder.path("small.fits"), 10, 10, small, {}));
    paths.push_back(folder.path("small.fits"));
    const auto built = build_master(plan_of(folder, FrameKind::dark, paths));
    REQUIRE(built);
    CHECK(built->used.size() == 5);
    CHECK(built->left_out.size() == 3);
}

TEST_CASE("a damaged tile found halfway drops its frame and begins anew", "[master]") {
    const Folder folder;
    auto paths = noisy_darks(folder, 5, Packing::tiles);
    std::string bytes = frame::testing::bytes_of(paths[2]);
    // The last tiles, which no sample of rows touches: a heap of nothing.
    for (std::size_t i = bytes.size() - 4000; i < bytes.size() - 2880; ++i)
        bytes[i] = '\xff';
    paths[2] = folder.file("damaged.fits", bytes);
    const auto built = build_master(plan_of(folder, FrameKind::dark, paths));
    REQUIRE(built);
    CHECK(built->used.size() + built->left_out.size() == 5);
    for (const auto& entry : std::filesystem::directory_iterator(folder.path("")))
        CHECK(entry.path().extension() != ".part");
}

TEST_CASE("one dark alone makes a master with the noise of its neighbours; none makes none", "[master]") {
    const Folder folder;
    const auto one = build_master(plan_of(folder, FrameKind::dark, noisy_darks(folder, 1)));
    REQUIRE(one);
    CHECK(one->used.size() == 1);
    CHECK(one->scatter_adu == Approx(4.0).epsilon(0.05));
    const Folder empty;
    const auto none = build_master(plan_of(empty, FrameKind::dark, {empty.path("absent.fits")}));
    REQUIRE(none);
    CHECK(none->used.empty());
    CHECK(none->left_out.size() == 1);
    CHECK_FALSE(std::filesystem::exists(empty.path("master.fits")));
}

TEST_CASE("hot and unstable pixels are found, quiet and struck ones are not", "[master]") {
    const Folder folder;
    std::vector<std::string> paths;
    for (int i = 0; i < 12; ++i) {
        numerics::Random random(900 + static_cast<std::uint64_t>(i));
        paths.push_back(write(folder, "d" + std::to_string(i) + ".fits", [&](int x, int y) {
            double level = 300.0;
            if (x == 20 && y == 30) level += 900.0;                          // hot
            if (x == 70 && y == 60 && i % 3 == 0) level += 80.0;             // comes and goes
            if (x == 90 && y == 10 && i == 4) level += 5000.0;               // struck once
            return random.gaussian(level, std::sqrt(16.0 + level - 300.0));  // at 1 e-/ADU
        }));
    }
    const auto built = build_master(plan_of(folder, FrameKind::dark, paths));
    REQUIRE(built);
    const std::vector<Defect> expected{{20, 30, defect_hot}, {70, 60, defect_hot | defect_unstable}};
    REQUIRE(built->defects.size() == 2);
    CHECK(built->defects[0] == expected[0]);
    CHECK((built->defects[1].bits & defect_unstable) != 0);
    CHECK(built->defects[1].x == 70);
}

TEST_CASE("real flats and short darks make masters", "[master][real]") {
    const char* root = std::getenv("EMBERLINE_DATASETS");
    if (root == nullptr) {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set: no real calibration frames to combine.");
        return;
    }
    std::vector<std::string> paths;
    for (const char* part : {"darks", "flats"}) {
        const auto folder = std::filesystem::path(root) / "supernova_at_core" / part;
        for (const auto& entry : std::filesystem::directory_iterator(folder))
            paths.push_back(entry.path().string());
    }
    std::sort(paths.begin(), paths.end());
    const SortedCalibration sorted = sort_calibration(paths, {});
    REQUIRE(sorted.sets.size() == 4);  // darks of 1 s and 1.5 s, flats in B and V
    CHECK(sorted.left_out.empty());
    for (const CalibrationSet& set : sorted.sets)
        CHECK(set.frames.size() == 4);
    const Folder folder;
    MasterPlan plan;
    plan.output = folder.path("dark.fits");
    plan.width_px = 1536;
    plan.height_px = 1023;
    plan.gain_e_per_adu = 2.58;
    for (const CalibrationFrame& f : sorted.sets[0].frames)
        plan.frames.push_back({f.facts.path, -1, 1.0});
    const auto dark = build_master(plan);
    REQUIRE(dark);
    CHECK(dark->level_adu == Approx(594.0).margin(2.0));  // the data set's own description: about 594
    CHECK(dark->used.size() == 4);
}
