// SPDX-License-Identifier: MIT
// The flux of simulated stars, from pixels to electrons: unbiased, and as uncertain as the noise terms say.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "numerics/robust.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/noise.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::photometry;
using test::SimulatedPlate;
using test::SimulatedSensor;

TEST_CASE("a star's flux scatters as the noise terms say, from no star at all to a bright one",
          "[aperture-noise]") {
    struct Case {
        double flux_e, sky_e, read_noise_e, gain;
    };
    const std::vector<double> radii{3.0, 6.0};
    const frame::PixelPosition at{0.3, -0.2};
    for (const Case& c :
         {Case{0.0, 150.0, 8.0, 1.3}, Case{1000.0, 150.0, 8.0, 1.3}, Case{5e4, 150.0, 8.0, 1.3},
          Case{0.0, 10.0, 3.0, 0.8}, Case{2e6, 3000.0, 8.0, 20.0}, Case{3000.0, 5.0, 12.0, 2.5}}) {
        const SimulatedSensor sensor{c.gain, c.read_noise_e, 200.0, true};
        SimulatedPlate plate(22, c.sky_e);
        plate.add({at.x, at.y, c.flux_e, 3.0, 4.765});
        // What the same circles hold without noise, above the sky that was put in.
        const auto truth =
            sum_apertures(plate.expected(sensor), at, radii, {.level_adu = 200.0 + c.sky_e / c.gain}, {});
        REQUIRE(truth);
        numerics::Random random(20263);
        std::vector<std::vector<double>> pulls(radii.size());
        constexpr int trials = 1500;
        for (int k = 0; k < trials; ++k) {
            const auto cutout = plate.expose(sensor, random);
            const auto sky = estimate_sky(cutout, at, {11.0, 20.0});
            REQUIRE(sky);
            const auto sums = sum_apertures(cutout, at, radii, *sky, {});
            REQUIRE(sums);
            for (std::size_t r = 0; r < radii.size(); ++r) {
                const double expected_e = truth->flux_adu[r] * c.gain;
                const NoiseTerms noise{.background_e2 =
                                           background_variance_e2({.area_px = sums->area_px[r],
                                                                   .sky_scatter_e = sky->scatter_adu * c.gain,
                                                                   .sky_pixels = sky->pixels,
                                                                   .sky_factor = sky->factor})};
                pulls[r].push_back((sums->flux_adu[r] * c.gain - expected_e) /
                                   std::sqrt(noise.variance_e2(expected_e)));
            }
        }
        for (std::size_t r = 0; r < radii.size(); ++r) {
            double mean = 0.0;
            for (const double pull : pulls[r])
                mean += pull / trials;
            INFO(c.flux_e << " e over " << c.sky_e << " e of sky, radius " << radii[r] << " px, seed 20263");
            // The goals are 0.1 sigma and 0.9 to 1.1; of 1500 trials the mean has an error of 0.026, a spread
            // of 0.028. each.
            CHECK(std::abs(mean) < 0.13);
            CHECK(numerics::robust_spread(pulls[r]) > 0.9);
            CHECK(numerics::robust_spread(pulls[r]) < 1.1);
        }
    }
}
