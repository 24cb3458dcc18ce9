// SPDX-License-Identifier: MIT
#include "rehearsal/calibration_frames.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "rehearsal/detector.hpp"
#include "rehearsal/sensor.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

constexpr int side = 300;

InventedInstrument quiet() {
    InventedInstrument instrument;
    instrument.width_px = instrument.height_px = side;
    instrument.hot_pixels = 0;
    instrument.cosmic_rays_per_minute = 0.0;
    return instrument;
}

struct Statistics {
    double mean = 0.0, variance = 0.0, n = 0.0;
};
template <class Values>
Statistics statistics_of(const Values& values) {
    Statistics s;
    for (const auto value : values)
        s.mean += static_cast<double>(value);
    s.n = static_cast<double>(values.size());
    s.mean /= s.n;
    for (const auto value : values)
        s.variance += (static_cast<double>(value) - s.mean) * (static_cast<double>(value) - s.mean) / s.n;
    return s;
}

std::vector<double> differences(const std::vector<std::uint16_t>& one,
                                const std::vector<std::uint16_t>& two) {
    std::vector<double> result;
    for (std::size_t i = 0; i < one.size(); ++i)
        result.push_back(static_cast<double>(one[i]) - two[i]);
    return result;
}

}  // namespace

TEST_CASE("a bias is the offset with read noise; a dark has what time brings besides", "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.dark_e_per_s = 0.8;
    const double gain = instrument.gain_e_per_adu;
    for (const double exposure_s : {0.0, 60.0, 600.0}) {
        INFO(exposure_s << " s, seed 5");
        const auto s = statistics_of(exposure_s == 0.0 ? expose_bias(instrument, 5)
                                                       : expose_dark(instrument, exposure_s, 5));
        const double dark_e = 0.8 * exposure_s;
        // Photon transfer: (dark + read noise²) / gain²; rounding, a twelfth (Sheppard 1898).
        const double variance = (dark_e + 36.0) / (gain * gain) + 1.0 / 12.0;
        CHECK(s.mean == Approx(300.0 + dark_e / gain).margin(4.0 * std::sqrt(variance / s.n)));
        CHECK(s.variance == Approx(variance).epsilon(4.0 * std::sqrt(2.0 / s.n)));
    }
    CHECK(expose_dark(instrument, 60.0, 5) == expose_dark(instrument, 60.0, 5));
    CHECK(expose_dark(instrument, 60.0, 5) != expose_dark(instrument, 60.0, 6));
}

TEST_CASE("a pair of flats and a pair of biases give back gain and read noise", "[calibration]") {
    // Photon transfer (Janesick 2001, Scientific Charge-Coupled Devices, chapter 2): a pixel's own response
    // cancels in the difference of two flats.
    InventedInstrument instrument = quiet();
    instrument.flat_err = 0.02;
    instrument.vignetting = 0.3;
    instrument.dust_rings = 4;
    const auto bias1 = expose_bias(instrument, 1), bias2 = expose_bias(instrument, 2);
    const auto flat1 = expose_flat(instrument, 20000.0, 0.0, 3);
    const auto flat2 = expose_flat(instrument, 20000.0, 0.0, 4);
    const double signal = statistics_of(flat1).mean - statistics_of(bias1).mean;
    const double noise2 = 0.5 * statistics_of(differences(flat1, flat2)).variance;
    const double read2 = 0.5 * statistics_of(differences(bias1, bias2)).variance;
    // A variance of n values is known to √(2/n), 0.5 % here; three of those.
    CHECK(signal / (noise2 - read2) == Approx(instrument.gain_e_per_adu).epsilon(0.015));
    CHECK(std::sqrt(read2 - 1.0 / 12.0) * instrument.gain_e_per_adu == Approx(6.0).epsilon(0.01));
}

TEST_CASE("vignetting takes its share in the farthest corner and none on the axis", "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.vignetting = 0.4;
    LightMap light(side, side, 1.0);
    dim(light, instrument);
    const double corners[] = {light.e[light.index(0, 0)], light.e[light.index(side - 1, 0)],
                              light.e[light.index(0, side - 1)], light.e[light.index(side - 1, side - 1)]};
    CHECK(*std::min_element(std::begin(corners), std::end(corners)) == Approx(0.6).margin(1e-9));
    CHECK(*std::max_element(std::begin(corners), std::end(corners)) < 0.8);
    const auto brightest = std::max_element(light.e.begin(), light.e.end());
    CHECK(*brightest == Approx(1.0).margin(1e-4));
    // Off the middle of the frame, as optics are: but by no more than a sixteenth of it.
    const auto at = static_cast<int>(brightest - light.e.begin());
    CHECK(std::abs(at % side - 0.5 * (side - 1)) < 0.0625 * side);
    CHECK(std::abs(at / side - 0.5 * (side - 1)) < 0.0625 * side);
    CHECK(light.e[light.index(side / 2, side / 2)] > 0.98);
}

TEST_CASE("dust casts rings, a few per cent deep with a bright middle, where it always did",
          "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.dust_rings = 1;
    LightMap light(side, side, 1.0);
    dim(light, instrument);
    std::size_t shadowed = 0;
    double deepest = 1.0;
    for (const double e : light.e) {
        CHECK(e > 0.92);
        CHECK(e <= 1.0);
        shadowed += e < 1.0 ? 1 : 0;
        deepest = std::min(deepest, e);
    }
    CHECK(deepest < 0.985);
    // An annulus from 0.35 … 0.5 of 10 … 28 pixels outwards, some of it perhaps off the frame.
    CHECK(shadowed > 50);
    CHECK(shadowed < 3200);
    LightMap again(side, side, 1.0);
    dim(again, instrument);
    CHECK(again.e == light.e);
}

TEST_CASE("a flat of a mosaic is strongest in green; dead pixels see a tenth", "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.pattern = "GRBG";
    instrument.dead_pixels = 30;
    const auto flat = expose_flat(instrument, 18000.0, 1.0, 9);
    double level[4] = {};
    for (int y = 0; y < side; ++y) {
        for (int x = 0; x < side; ++x)
            level[(x & 1) + 2 * (y & 1)] +=
                (flat[static_cast<std::size_t>(y * side + x)] - 300.0) * 0.9 / (side * side / 4);
    }
    // Photon noise of a mean of 22500 pixels is 0.9 electrons; the dead take 30/90000 of 0.9 of the light.
    CHECK(level[0] == Approx(18000.0).margin(10.0));
    CHECK(level[3] == Approx(18000.0).margin(10.0));
    CHECK(level[1] < 0.9 * level[0]);
    CHECK(level[2] < 0.9 * level[0]);
    CHECK(level[1] != Approx(level[2]).epsilon(0.05));

    const auto dead = dead_pixels_of(instrument);
    CHECK(dead.size() > 25);
    for (const std::size_t i : dead) {
        const double phase = level[(i % side & 1) + 2 * (i / side & 1)];
        CHECK((flat[i] - 300.0) * 0.9 == Approx(0.1 * phase).margin(5.0 * std::sqrt(0.1 * phase + 36.0)));
    }
}

TEST_CASE("amplifier glow is brightest at the middle of the right edge and grows with time",
          "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.dark_e_per_s = 0.0;
    instrument.amp_glow_e_per_s = 4.0;
    for (const double exposure_s : {30.0, 300.0}) {
        LightMap light(side, side, 0.0);
        add_dark(light, instrument, exposure_s);
        // 149 and 150 are half a pixel from the middle.
        CHECK(light.e[light.index(side - 1, 150)] == Approx(4.0 * exposure_s).epsilon(0.02));
        // To 1/e at 0.12 of the width.
        CHECK(light.e[light.index(side - 1 - 36, 150)] ==
              Approx(4.0 * exposure_s * std::exp(-1.0)).epsilon(0.001));
        CHECK(light.e[light.index(0, 150)] < 1e-3 * exposure_s);
    }
}

TEST_CASE("columns differ by the same in every frame", "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.column_err_adu = 5.0;
    const auto column_means = [&](std::uint64_t seed) {
        const auto bias = expose_bias(instrument, seed);
        std::vector<double> means(side, 0.0);
        for (std::size_t i = 0; i < bias.size(); ++i)
            means[i % side] += bias[i] / static_cast<double>(side);
        return means;
    };
    const auto one = column_means(1), two = column_means(2);
    // 300 columns: their scatter to 4 %; a column's mean of 300 rows to 6.7/√300 = 0.39 ADU.
    CHECK(std::sqrt(statistics_of(one).variance) == Approx(5.0).epsilon(0.16));
    for (std::size_t x = 0; x < one.size(); ++x)
        CHECK(one[x] == Approx(two[x]).margin(5.0 * 0.39 * std::sqrt(2.0)));
}

TEST_CASE("unstable pixels are hot in about half of the frames, the others in all", "[calibration]") {
    InventedInstrument instrument = quiet();
    instrument.hot_pixels = 60;
    instrument.unstable_share = 0.5;
    const auto pixels = hot_pixels_of(instrument);
    REQUIRE(pixels.size() == 60);
    constexpr int frames = 24;
    std::vector<int> hot(pixels.size(), 0);
    std::set<std::size_t> places;
    for (const HotPixel& pixel : pixels)
        places.insert(pixel.index);
    REQUIRE(places.size() == pixels.size());
    for (int i = 0; i < frames; ++i) {
        const auto dark = expose_dark(instrument, 600.0, 100 + static_cast<std::uint64_t>(i));
        for (std::size_t k = 0; k < pixels.size(); ++k)
            hot[k] += dark[pixels[k].index] > 360 ? 1 : 0;
    }
    int unstable = 0, glaring = 0;
    for (std::size_t k = 0; k < pixels.size(); ++k) {
        // 0.4 e/s are 240 electrons in ten minutes: far above read noise.
        if (pixels[k].dark_e_per_s < 0.4) continue;
        ++glaring;
        unstable += pixels[k].unstable ? 1 : 0;
        INFO("pixel " << k << ", hot in " << hot[k] << " of " << frames << ", seeds from 100");
        if (pixels[k].unstable) {
            CHECK(hot[k] > 2);  // 24 throws of a coin: 3 to 21 but for four in ten thousand
            CHECK(hot[k] < 22);
        } else {
            CHECK(hot[k] == frames);
        }
    }
    CHECK(glaring > 50);
    CHECK(unstable > 15);
    CHECK(unstable < 45);
}
