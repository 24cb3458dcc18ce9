// SPDX-License-Identifier: MIT
#include "picture/host_picture.hpp"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>

using namespace emberline;

namespace {

frame::Cutout blob(double height) {
    frame::Cutout cutout{{10, 20, 31, 31}, {}};
    for (int y = 0; y < 31; ++y) {
        for (int x = 0; x < 31; ++x) {
            const double r2 = std::pow(x - 15.0, 2) + std::pow(y - 15.0, 2);
            cutout.adu.push_back(static_cast<float>(1000.0 + height * std::exp(-0.1 * r2)));
        }
    }
    return cutout;
}

picture::HostPicture example() {
    picture::HostPicture picture;
    picture.title = "DEMO SN 1, V, 2024-03-14";
    picture.rows = {{"template", blob(500.0), blob(300.0), 8.0}, {"scene", blob(500.0), blob(310.0), 8.0}};
    picture.rows[1].model.adu[3] = std::numeric_limits<float>::quiet_NaN();
    picture.transient = {25.0, 35.0};
    picture.nucleus = frame::PixelPosition{30.0, 38.0};
    picture.scale_arcsec_per_px = 1.2;
    return picture;
}

// Width and height lie in bytes 16 to 23 of a PNG (ISO/IEC 15948, 11.2.2).
std::pair<int, int> size_of(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    const std::string bytes{std::istreambuf_iterator<char>(file), {}};
    REQUIRE(bytes.starts_with("\x89PNG"));
    const auto number = [&](std::size_t at) {
        int value = 0;
        for (std::size_t i = 0; i < 4; ++i)
            value = value * 256 + static_cast<unsigned char>(bytes[at + i]);
        return value;
    };
    return {number(16), number(20)};
}

}  // namespace

TEST_CASE("a row of panels is drawn for each method", "[picture][host]") {
    const std::string path =
        (std::filesystem::temp_directory_path() / ("emberline-host-" + std::to_string(::getpid()) + ".png"));
    picture::HostPicture picture = example();
    REQUIRE(picture::draw_host(picture, path));
    const auto two = size_of(path);
    picture.rows.pop_back();
    picture.nucleus.reset();
    REQUIRE(picture::draw_host(picture, path));
    const auto one = size_of(path);
    CHECK(two.first == one.first);
    CHECK(two.second > one.second + 400);
    std::filesystem::remove(path);
}

TEST_CASE("a host picture without rows, or of pixels that do not match, is refused", "[picture][host]") {
    picture::HostPicture none = example();
    none.rows.clear();
    CHECK_FALSE(picture::draw_host(none, "/nowhere/at/all.png"));
    picture::HostPicture other = example();
    other.rows[0].model.box.x0 += 1;
    const auto refused = picture::draw_host(other, "/nowhere/at/all.png");
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == ProblemKind::request);
    picture::HostPicture silent = example();
    silent.rows[0].noise_adu = 0.0;
    CHECK_FALSE(picture::draw_host(silent, "/nowhere/at/all.png"));
    CHECK_FALSE(picture::draw_host(example(), "/nowhere/at/all.png"));
}
