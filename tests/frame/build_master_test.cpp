// SPDX-License-Identifier: MIT
#include <fitsio.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <functional>

#include "frame/build_master.hpp"
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
