// SPDX-License-Identifier: MIT
#include "photometry/local_sky.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::photometry;
using test::SimulatedPlate;
using test::SimulatedSensor;

namespace {

const Annulus annulus{12.0, 22.0};
const frame::PixelPosition centre{0.2, 0.3};
const SimulatedSensor sensor{.gain_e_per_adu = 1.5, .read_noise_e = 6.0, .bias_adu = 300.0};

struct Trials {
    std::vector<double> pulls, scatters, unevennesses;
    int gradients = 0;
};
Trials try_often(const SimulatedPlate& plate, const SimulatedSensor& of, double level_adu, std::uint64_t seed,
                 const frame::PixelPosition& at = centre) {
    numerics::Random random(seed);
    Trials trials;
    for (int k = 0; k < 300; ++k) {
        const auto sky = estimate_sky(plate.expose(of, random), at, annulus);
        REQUIRE(sky);
        trials.pulls.push_back((sky->level_adu - level_adu) / sky->level_err_adu);
        trials.scatters.push_back(sky->scatter_adu);
        trials.unevennesses.push_back(sky->unevenness);
        trials.gradients += sky->caveats.has(Caveat::sky_gradient) ? 1 : 0;
    }
    return trials;
}

}  // namespace

TEST_CASE("the sky of whole ADU is unbiased and its error is what it scatters by", "[local-sky]") {
    struct Case {
        double sky_e, read_noise_e, gain;
    };
    // From a dark sky in counts of few electrons, over a scatter of half an ADU, to a bright one.
    for (const Case& c :
         {Case{20.0, 2.0, 1.5}, Case{20.0, 2.0, 9.8}, Case{200.0, 6.0, 1.5}, Case{5000.0, 6.0, 0.4}}) {
        const SimulatedSensor of{c.gain, c.read_noise_e, 300.0, true};
        const Trials trials = try_often(SimulatedPlate(24, c.sky_e), of, 300.0 + c.sky_e / c.gain, 20262);
        INFO("sky " << c.sky_e << " e, gain " << c.gain << ", seed 20262");
        // The error of the median of 300 pulls is 0.07, of their spread 0.05.
        CHECK(std::abs(numerics::median(trials.pulls)) < 0.4);
        CHECK(numerics::robust_spread(trials.pulls) == Approx(1.0).margin(0.15));
        const double rounding = 1.0 / 12.0;
        const double expected =
            std::sqrt((c.sky_e + c.read_noise_e * c.read_noise_e) / (c.gain * c.gain) + rounding);
        CHECK(numerics::median(trials.scatters) ==
              Approx(expected).epsilon(0.025));  // whole ADU, clipped at 2
        CHECK(numerics::median(trials.unevennesses) == Approx(1.0).margin(0.1));
        CHECK(numerics::robust_spread(trials.unevennesses) < 0.5);  // sqrt(2/15) = 0.37
        CHECK(trials.gradients == 0);
    }
}

TEST_CASE("a plane is followed where it is significant, with the level of the star's own place",
          "[local-sky]") {
    const frame::PixelPosition off{2.2, -1.3};
    for (const double slope_e : {0.5, 3.0}) {
        SimulatedPlate plate(24, 400.0);
        plate.tilt(slope_e, -0.5 * slope_e);
        const double level = 300.0 + (400.0 + slope_e * off.x - 0.5 * slope_e * off.y) / 1.5;
        const Trials trials = try_often(plate, sensor, level, 91, off);
        INFO("slope " << slope_e << " electrons a pixel, seed 91");
        CHECK(trials.gradients >= 297);
        CHECK(std::abs(numerics::median(trials.pulls)) < 0.3);
        CHECK(numerics::robust_spread(trials.pulls) == Approx(1.0).margin(0.15));
        CHECK(numerics::median(trials.unevennesses) == Approx(1.0).margin(0.15));
    }
    SimulatedPlate plate(24, 400.0);
    plate.tilt(3.0, -1.5);
    const auto sky = estimate_sky(plate.expected(sensor), off, annulus);
    REQUIRE(sky);
    CHECK(sky->slope_x_adu == Approx(2.0).epsilon(1e-4));
    CHECK(sky->slope_y_adu == Approx(-1.0).epsilon(1e-4));
}

TEST_CASE("stars and cosmic rays in the annulus lift the sky by little", "[local-sky]") {
    SimulatedPlate plate(24, 200.0);
    plate.add({15.0, 6.0, 5e5, 3.0, 4.0});
    plate.add({-4.0, 17.0, 2e4, 3.0, 4.0});
    numerics::Random random(17);
    frame::Cutout cutout = plate.expose(sensor, random);
    for (int x = -9; x < 9; ++x)
        cutout.at(x, -16) = 20000.0F;
    const auto sky = estimate_sky(cutout, centre, annulus);
    REQUIRE(sky);
    // Half of a sky pixel's scatter of 10 ADU: the wings of the bright star that hide in the noise.
    CHECK(sky->level_adu - (300.0 + 200.0 / 1.5) < 5.0);
    CHECK(sky->level_adu - (300.0 + 200.0 / 1.5) > -1.0);
}

TEST_CASE("with a third of the annulus under faint stars the error is still that of repeated frames",
          "[local-sky]") {
    // The same stars in every frame: their offset repeats, and what scatters is noise.
    numerics::Random places(3);
    SimulatedPlate plate(24, 200.0);
    const int stars = 26;  // each bright over some twelve pixels of 1068
    for (int i = 0; i < stars; ++i) {
        const double r = std::sqrt(places.uniform(144.0, 484.0)),
                     turn = places.uniform(0.0, 6.283185307179586);
        plate.add(
            {r * std::cos(turn), r * std::sin(turn), 46.0 * std::pow(20.0, places.uniform()), 3.0, 4.0});
    }
    const Trials trials = try_often(plate, sensor, 300.0 + 200.0 / 1.5, 18);
    CHECK(numerics::robust_spread(trials.pulls) == Approx(1.0).margin(0.15));
    // Half of a sky pixel's scatter (10 ADU, 16 times the level's error): such stars cannot be told from
    // noise.
    CHECK(numerics::median(trials.pulls) < 16.0);
}

TEST_CASE("a galaxy beside the star shows as an uneven annulus", "[local-sky]") {
    SimulatedPlate plate(24, 200.0);
    plate.add({6.0, 3.0, 1e5, 16.0, 2.0});
    numerics::Random random(55);
    const auto sky = estimate_sky(plate.expose(sensor, random), centre, annulus);
    REQUIRE(sky);
    CHECK(sky->unevenness > 5.0);
}

TEST_CASE("undefined pixels are passed over, a cut annulus says so, a missing one is refused",
          "[local-sky]") {
    numerics::Random random(9);
    const SimulatedPlate plate(24, 200.0);
    const frame::Cutout whole = plate.expose(sensor, random);
    const auto full = estimate_sky(whole, centre, annulus);
    REQUIRE(full);
    CHECK_FALSE(full->caveats.has(Caveat::edge));
    frame::Cutout holes = whole;
    for (std::size_t i = 0; i < holes.adu.size(); i += 3)
        holes.adu[i] = std::numeric_limits<float>::quiet_NaN();
    const auto rest = estimate_sky(holes, centre, annulus);
    REQUIRE(rest);
    CHECK(rest->pixels == Approx(full->pixels * 2.0 / 3.0).epsilon(0.03));
    CHECK(std::abs(rest->level_adu - full->level_adu) < 4.0 * rest->level_err_adu);
    CHECK_FALSE(rest->caveats.has(Caveat::edge));
    const auto cut = estimate_sky(whole, {10.0, 0.0}, annulus);
    REQUIRE(cut);
    CHECK(cut->caveats.has(Caveat::edge));
    CHECK_FALSE(estimate_sky(whole, {60.0, 0.0}, annulus));
    CHECK_FALSE(estimate_sky({}, centre, annulus));
    const double nan = std::nan(""), inf = std::numeric_limits<double>::infinity();
    CHECK_FALSE(estimate_sky(whole, {nan, 0.0}, annulus));
    CHECK_FALSE(estimate_sky(whole, {inf, 0.0}, annulus));
    CHECK_FALSE(estimate_sky(whole, {1e300, 0.0}, annulus));
    CHECK_FALSE(estimate_sky(whole, centre, {22.0, 12.0}));
    CHECK_FALSE(estimate_sky(whole, centre, {12.0, inf}));
    CHECK_FALSE(estimate_sky(whole, centre, {nan, 12.0}));
}

TEST_CASE("an annulus of one value has that level and no scatter", "[local-sky]") {
    SimulatedPlate plate(24, 150.0);
    const auto sky = estimate_sky(plate.expected(sensor), centre, annulus);
    REQUIRE(sky);
    CHECK(sky->level_adu == Approx(400.0).epsilon(1e-9));
    CHECK(sky->scatter_adu == Approx(0.0).margin(1e-9));
    CHECK(std::isfinite(sky->unevenness));
}
