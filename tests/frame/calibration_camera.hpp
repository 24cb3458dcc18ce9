// SPDX-License-Identifier: MIT
// A small camera whose bias, dark current and flat are formulas, its files, and what is read of them.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fits_maker.hpp"
#include "frame/calibration.hpp"
#include "frame/frame.hpp"
#include "frame/write_frame.hpp"

namespace emberline::frame::testing {

inline constexpr int width = 70, height = 54;

inline Card word_card(const std::string& keyword, const std::string& value) {
    return {keyword, value, "", true};
}
inline Card number_card(const std::string& keyword, const std::string& value) {
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

inline std::vector<Card> cards_of(const Exposure& e) {
    std::vector<Card> cards{word_card("IMAGETYP", e.kind)};
    if (e.exposure_s) cards.push_back(number_card("EXPTIME", fmt::format("{:.3f}", *e.exposure_s)));
    if (!e.filter.empty()) cards.push_back(word_card("FILTER", e.filter));
    cards.insert(cards.end(), e.more.begin(), e.more.end());
    return cards;
}

inline std::string write(const Folder& folder, const std::string& name, const Exposure& e, const Pixels& adu,
                         emberline::frame::Packing packing = emberline::frame::Packing::plain) {
    std::vector<std::uint16_t> pixels;
    for (int y = 0; y < e.height_px; ++y) {
        for (int x = 0; x < e.width_px; ++x)
            pixels.push_back(static_cast<std::uint16_t>(adu(x, y)));
    }
    REQUIRE(write_frame(folder.path(name), e.width_px, e.height_px, pixels, cards_of(e), packing));
    return folder.path(name);
}

inline std::string write_float(const Folder& folder, const std::string& name, const Exposure& e,
                               const Pixels& adu) {
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
inline double bias_adu(int x, int y) {
    return 300.0 + x + (y % 3);
}
inline double current_adu(int x, int y) {  // in 60 s
    return 12.0 + ((x * 7 + y * 3) % 31 == 0 ? 600.0 : 0.0);
}
inline double dark_adu(int x, int y) {
    return bias_adu(x, y) + current_adu(x, y);
}
inline double flat(int x, int y) {
    const double dx = (x - width / 2.0) / width, dy = (y - height / 2.0) / height;
    return 1.1 - 0.8 * (dx * dx + dy * dy);
}
inline double light_adu(int x, int y) {
    return std::floor(dark_adu(x, y) + 2000.0 * flat(x, y));
}

inline const PixelBox some_box{11, 7, 23, 19};

inline Cutout read(const std::string& light, const Masters& masters, PixelBox box = some_box) {
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    const auto cutout = frames->front().read(box);
    REQUIRE(cutout);
    return *cutout;
}

inline void check_pixels(const Cutout& cutout, const Pixels& expected, double margin = 1e-3) {
    double worst = 0.0;
    for (int y = cutout.box.y0; y < cutout.box.y0 + cutout.box.height; ++y) {
        for (int x = cutout.box.x0; x < cutout.box.x0 + cutout.box.width; ++x)
            worst = std::max(worst, std::abs(static_cast<double>(cutout.at(x, y)) - expected(x, y)));
    }
    CHECK(worst < margin);  // ADU; float pixels of some thousand ADU hold 2.4e-4
}

inline FrameFacts facts_with(const std::string& light, const Masters& masters) {
    const auto frames = open_frames(light, {}, &masters);
    REQUIRE(frames);
    return frames->front().facts();
}

inline std::string all(const std::vector<std::string>& sentences) {
    std::string text;
    for (const std::string& s : sentences)
        text += s + "\n";
    return text;
}

}  // namespace emberline::frame::testing
