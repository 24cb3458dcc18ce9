// SPDX-License-Identifier: MIT
#include "rehearsal/processed_save.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

constexpr int side_px = 96;
constexpr double sky_adu = 1000.0, scatter_adu = 30.0, peak_adu = 20000.0, sigma_px = 1.5;

// One Gaussian star in the middle of a noisy sky.
std::vector<float> star_on_sky() {
    numerics::Random random(20240314);
    std::vector<float> adu;
    for (int y = 0; y < side_px; ++y) {
        for (int x = 0; x < side_px; ++x) {
            const double r2 = std::pow(x - side_px / 2, 2.0) + std::pow(y - side_px / 2, 2.0);
            adu.push_back(static_cast<float>(
                std::round(sky_adu + peak_adu * std::exp(-0.5 * r2 / (sigma_px * sigma_px)) +
                           random.gaussian(0.0, scatter_adu))));
        }
    }
    return adu;
}

double at(const ProcessedImage& image, int x, int y) {
    return static_cast<double>(image.adu[static_cast<std::size_t>(y * side_px + x)]);
}

// Of the corner, where no star is.
double scatter(const std::vector<float>& adu) {
    std::vector<double> sky;
    for (int y = 0; y < 30; ++y) {
        for (int x = 0; x < side_px; ++x)
            sky.push_back(static_cast<double>(adu[static_cast<std::size_t>(y * side_px + x)]));
    }
    return numerics::robust_spread(sky);
}

double sum_about_star(const ProcessedImage& image, int reach, double sky) {
    double sum = 0.0;
    for (int y = side_px / 2 - reach; y <= side_px / 2 + reach; ++y) {
        for (int x = side_px / 2 - reach; x <= side_px / 2 + reach; ++x)
            sum += at(image, x, y) - sky;
    }
    return sum;
}

ProcessedImage made(Processing processing, double strength = 1.0) {
    return process(star_on_sky(), side_px, side_px, processing, strength);
}

}  // namespace

TEST_CASE("every processing has a name of its own and fits into 16 bits", "[processed]") {
    std::set<std::string_view> names;
    for (const Processing processing : all_processings()) {
        names.insert(word(processing));
        INFO(word(processing));
        for (const double strength : {0.0, 1.0, 2.0}) {
            const ProcessedImage image = made(processing, strength);
            REQUIRE(image.adu.size() == static_cast<std::size_t>(side_px * side_px));
            const auto whole = [](float v) { return v >= 0.0F && v <= 65535.0F && v == std::round(v); };
            CHECK(std::all_of(image.adu.begin(), image.adu.end(), whole));
            CHECK((image.adu == star_on_sky()) == (processing == Processing::none));
        }
    }
    CHECK(names.size() == all_processings().size());
    CHECK(all_processings().size() == 16);
}

TEST_CASE("8 bits leave 256 levels, as bytes or spread over 16 bits", "[processed]") {
    for (const Processing processing : {Processing::eight_bits, Processing::eight_bits_wide}) {
        const ProcessedImage image = made(processing);
        const std::set<float> levels(image.adu.begin(), image.adu.end());
        CHECK(levels.size() <= 256);
        const bool bytes = processing == Processing::eight_bits;
        CHECK(image.eight_bits == bytes);
        const float top = bytes ? 255.0F : 65535.0F;
        CHECK(*levels.rbegin() == top);
        const auto on_a_level = [&](float v) { return std::fmod(v, top / 255.0F) == 0.0F; };
        CHECK(std::all_of(levels.begin(), levels.end(), on_a_level));
    }
}

TEST_CASE("stretches keep the order of light and lose its proportions", "[processed]") {
    const std::vector<float> before = star_on_sky();
    for (const Processing processing : {Processing::gamma, Processing::arcsinh, Processing::rational,
                                        Processing::logarithm, Processing::histogram_equal}) {
        INFO(word(processing));
        const ProcessedImage image = made(processing);
        std::vector<std::pair<float, float>> pairs;
        for (std::size_t i = 0; i < before.size(); ++i)
            pairs.emplace_back(before[i], image.adu[i]);
        std::sort(pairs.begin(), pairs.end());
        const auto falls = [](const auto& a, const auto& b) { return b.second < a.second; };
        CHECK(std::adjacent_find(pairs.begin(), pairs.end(), falls) == pairs.end());
        // A pixel of half the star's height above the sky no longer stands at half of it.
        const double sky = numerics::median({image.adu.begin(), image.adu.end()});
        const double half = at(image, side_px / 2, side_px / 2) - sky;
        const double at_sigma = at(image, side_px / 2 + 2, side_px / 2) - sky;
        CHECK(at_sigma / half > 1.1 * std::exp(-0.5 * 4.0 / (sigma_px * sigma_px)));
    }
}

TEST_CASE("a blur keeps a star's light and the filters change its surroundings as told", "[processed]") {
    const auto before = process(star_on_sky(), side_px, side_px, Processing::none, 1.0);
    const double light = sum_about_star(before, 12, sky_adu);
    // A blur only moves light: what is left is noise at the rim, 25 × 25 pixels of 30 ADU.
    CHECK(sum_about_star(made(Processing::smoothed), 12, sky_adu) ==
          Approx(light).margin(3.0 * 25.0 * scatter_adu));
    CHECK(scatter(made(Processing::smoothed).adu) < 0.4 * scatter_adu);
    CHECK(scatter(made(Processing::median_filtered).adu) < 0.6 * scatter_adu);
    for (const double strength : {0.5, 1.0, 2.0}) {
        const ProcessedImage cleaned = made(Processing::denoised, strength);
        CHECK(scatter(cleaned.adu) < 0.7 * scatter_adu);
        CHECK(at(cleaned, side_px / 2, side_px / 2) > 0.9 * peak_adu);
    }
    for (const Processing processing : {Processing::sharpened, Processing::deconvolved}) {
        INFO(word(processing));
        const ProcessedImage sharp = made(processing);
        CHECK(scatter(sharp.adu) > 1.3 * scatter_adu);
        CHECK(at(sharp, side_px / 2, side_px / 2) > 1.2 * (sky_adu + peak_adu));
        // The dark ring, at three times the star's width.
        double ring = 0.0;
        for (const int u : {-1, 1})
            ring += at(sharp, side_px / 2 + 4 * u, side_px / 2) + at(sharp, side_px / 2, side_px / 2 + 4 * u);
        CHECK(ring / 4.0 < sky_adu - 0.01 * peak_adu);
    }
}

TEST_CASE("nothing to process is left as it is", "[processed]") {
    CHECK(process({}, 0, 0, Processing::gamma, 1.0).adu.empty());
    const std::vector<float> three(3, 100.0F);
    CHECK(process(three, 3, 1, Processing::sharpened, 1.0).adu == three);
    CHECK(process(three, 7, 9, Processing::gamma, 1.0).adu == three);
}
