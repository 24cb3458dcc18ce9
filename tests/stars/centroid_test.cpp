// SPDX-License-Identifier: MIT
#include "stars/centroid.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::stars;
using test::SimulatedPlate;
using test::SimulatedSensor;

namespace {

const SimulatedSensor sensor{.gain_e_per_adu = 1.5, .read_noise_e = 6.0, .bias_adu = 300.0};
constexpr double fwhm_guess_px = 3.5, shift_px = 5.0;
const float undefined = std::numeric_limits<float>::quiet_NaN();

Result<Centroid> centroid_of(const frame::Cutout& cutout, const frame::PixelPosition& start,
                             double reach_px = shift_px) {
    return measure_centroid(cutout, start, fwhm_guess_px, reach_px, sensor.gain_e_per_adu);
}

double distance(const Result<Centroid>& found, double x, double y) {
    REQUIRE(found);
    return std::hypot(found->position.x - x, found->position.y - y);
}

}  // namespace

TEST_CASE("a centroid does not follow the pixel grid, from 1.8 px to 8 px of FWHM", "[centroid]") {
    for (const double fwhm : {1.8, 2.2, 3.0, 5.0, 8.0}) {
        for (const double beta : {2.5, 4.765}) {
            for (const double x : {-0.5, -0.21, 0.0, 0.13, 0.4}) {
                const double y = 0.3 - x;
                SimulatedPlate plate(26, 200.0);
                plate.add({.x = x, .y = y, .flux_e = 1e5, .fwhm_px = fwhm, .beta = beta});
                INFO("FWHM " << fwhm << " px, beta " << beta << ", at " << x << ", " << y);
                // px: ten times less than the photon noise of a star of signal-to-noise 50 where the window
                // is well sampled, a fifth of it at 1.8 px, whose light between pixels nobody sees.
                CHECK(distance(centroid_of(plate.expected(sensor), {x + 1.0, y - 1.0}), x, y) <
                      (fwhm < 2.5 ? 0.003 : 0.0005));
            }
        }
    }
}

TEST_CASE("a centroid is found from ten pixels away, and an elongated star is centred too", "[centroid]") {
    SimulatedPlate plate(30, 200.0);
    plate.add({.x = 7.3, .y = -6.6, .flux_e = 2e4, .fwhm_px = 3.0, .elongation = 1.5, .direction_deg = 30.0});
    CHECK(distance(centroid_of(plate.expected(sensor), {0.0, 0.0}, 12.0), 7.3, -6.6) < 0.001);
    CHECK_FALSE(centroid_of(plate.expected(sensor), {0.0, 0.0}, 6.0));
}

TEST_CASE("a centroid's error is what it scatters by, faint or bright, sharp or broad", "[centroid]") {
    numerics::Random random(20261);
    INFO("seed 20261");
    for (const double fwhm : {1.8, 3.0, 8.0}) {
        for (const double flux_e : {1500.0, 10000.0, 300000.0}) {
            SimulatedPlate plate(26, 200.0);
            plate.add({.x = 0.27, .y = -0.41, .flux_e = flux_e * fwhm / 3.0, .fwhm_px = fwhm});
            std::vector<double> pulls;
            for (int k = 0; k < 250; ++k) {
                const auto found = centroid_of(plate.expose(sensor, random), {1.2, 0.8});
                if (!found) continue;
                pulls.push_back((found->position.x - 0.27) / found->x_err_px);
                pulls.push_back((found->position.y + 0.41) / found->y_err_px);
            }
            INFO("FWHM " << fwhm << " px, " << flux_e << " electrons");
            REQUIRE(pulls.size() > 450);
            // 0.9 to 1.1 is the goal; the spread of 500 numbers has an error of 0.04 by itself.
            CHECK(numerics::robust_spread(pulls) > 0.86);
            CHECK(numerics::robust_spread(pulls) < 1.14);
            CHECK(std::abs(numerics::median(pulls)) < 0.3);
        }
    }
}

TEST_CASE("a centroid's error is near that of a photon-limited Gaussian", "[centroid]") {
    // σ = FWHM / (2.3548 S/N): 3 px at S/N 50 give 0.02548 px (photometry_constants, arithmetic). 2500
    // electrons without sky; a Moffat profile of beta 4.765 has wings, and the window loses some: within 60 %
    // above.
    SimulatedPlate plate(20, 0.0);
    plate.add({.x = 0.1, .y = 0.2, .flux_e = 2500.0, .fwhm_px = 3.0, .beta = 4.765});
    const SimulatedSensor quiet{.gain_e_per_adu = 1.0, .read_noise_e = 0.1, .bias_adu = 100.0};
    numerics::Random random(4);
    const auto found = measure_centroid(plate.expose(quiet, random), {0.0, 0.0}, 3.0, 3.0, 1.0);
    REQUIRE(found);
    CHECK(found->x_err_px > 0.02548);
    CHECK(found->x_err_px < 1.6 * 0.02548);
}

TEST_CASE("empty sky is hardly ever taken for a star, however wide the search", "[centroid]") {
    numerics::Random random(33);
    INFO("seed 33");
    const SimulatedPlate plate(30, 200.0);
    for (const double reach : {3.0, 15.0}) {
        int found = 0;
        for (int k = 0; k < 300; ++k)
            found += centroid_of(plate.expose(sensor, random), {0.0, 0.0}, reach) ? 1 : 0;
        CHECK(found <= 12);  // 4 %: one in a hundred expected
    }
}

TEST_CASE("hot pixels and short tracks beside a faint star do not catch its centroid", "[centroid]") {
    SimulatedPlate plate(26, 200.0);
    plate.add({.x = 0.2, .y = -0.3, .flux_e = 5000.0, .fwhm_px = 3.0});
    numerics::Random random(8);
    const frame::Cutout clean = plate.expose(sensor, random);
    const double undisturbed = distance(centroid_of(clean, {0.0, 0.0}), 0.2, -0.3);
    frame::Cutout hot = clean;
    hot.at(4, 1) = 60000.0F;
    frame::Cutout track = clean;
    track.at(-3, 3) = 9000.0F;
    track.at(-4, 4) = 12000.0F;
    track.at(-5, 4) = 5000.0F;
    // px: a third of the error of this star's centroid.
    CHECK(distance(centroid_of(hot, {0.0, 0.0}), 0.2, -0.3) == Approx(undisturbed).margin(0.02));
    CHECK(distance(centroid_of(track, {0.0, 0.0}), 0.2, -0.3) == Approx(undisturbed).margin(0.02));
}

TEST_CASE("a bright neighbour beyond the search does not draw the centroid away", "[centroid]") {
    SimulatedPlate plate(30, 200.0);
    plate.add({.x = 0.4, .y = 0.1, .flux_e = 2e4, .fwhm_px = 3.0, .beta = 4.0});
    plate.add({.x = 13.0, .y = 0.0, .flux_e = 2e6, .fwhm_px = 3.0, .beta = 4.0});
    CHECK(distance(centroid_of(plate.expected(sensor), {-0.5, 0.5}, 6.0), 0.4, 0.1) < 0.3);
}

TEST_CASE("undefined pixels under a star hardly move its centroid, many refuse it", "[centroid]") {
    SimulatedPlate plate(26, 200.0);
    plate.add({.x = 0.2, .y = -0.3, .flux_e = 5e4, .fwhm_px = 4.0});
    frame::Cutout cutout = plate.expected(sensor);
    cutout.at(2, 0) = undefined;
    cutout.at(3, 0) = undefined;
    CHECK(distance(centroid_of(cutout, {0.0, 0.0}), 0.2, -0.3) < 0.03);
    for (int y = -26; y <= 26; ++y)
        cutout.at(1, y) = cutout.at(0, y) = undefined;
    CHECK_FALSE(centroid_of(cutout, {0.0, 0.0}));
}

TEST_CASE("nonsense is refused, not followed", "[centroid]") {
    SimulatedPlate plate(10, 200.0);
    plate.add({.flux_e = 1e5});
    const frame::Cutout cutout = plate.expected(sensor);
    const double nan = std::nan(""), inf = std::numeric_limits<double>::infinity();
    CHECK_FALSE(measure_centroid({}, {0.0, 0.0}, 3.0, 5.0, 1.0));
    for (const double bad : {nan, inf, -inf, 1e300, -1e9})
        CHECK_FALSE(measure_centroid(cutout, {bad, 0.0}, 3.0, 5.0, 1.0));
    for (const double bad : {nan, inf, 0.0, -3.0}) {
        CHECK_FALSE(measure_centroid(cutout, {0.0, 0.0}, bad, 5.0, 1.0));
        CHECK_FALSE(measure_centroid(cutout, {0.0, 0.0}, 3.0, 5.0, bad == inf ? nan : bad));
    }
    CHECK_FALSE(measure_centroid(cutout, {0.0, 0.0}, 3.0, inf, 1.0));
    frame::Cutout empty = cutout;
    for (float& v : empty.adu)
        v = undefined;
    CHECK_FALSE(measure_centroid(empty, {0.0, 0.0}, 3.0, 5.0, 1.0));
    for (float& v : empty.adu)
        v = 100.0F;
    CHECK_FALSE(measure_centroid(empty, {0.0, 0.0}, 3.0, 5.0, 1.0));
}
