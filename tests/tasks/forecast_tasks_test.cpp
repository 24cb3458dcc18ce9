// SPDX-License-Identifier: MIT
#include "tasks/forecast.hpp"

#include <catch2/catch.hpp>
#include <cmath>

using namespace emberline;

TEST_CASE("exposures follow the CCD equation", "[forecast]") {
    tasks::InstrumentPast past;
    past.exposure_s = 60.0;
    past.zero_point_mag = 22.0;
    past.background_e2 = 1e4;
    // At 17 mag through 0.2 mag of air: F = 10^(0.4 · 4.8) = 83.18 e.
    const auto need = tasks::exposure_for(17.0, 0.05, 0.2, past);
    REQUIRE(need.exposures);
    const double flux = std::pow(10.0, 0.4 * 4.8);
    CHECK(*need.exposures == std::ceil(1.0857362 * 1.0857362 * (flux + 1e4) / (flux * flux) / 0.0025));
    CHECK(need.hours() == Approx(*need.exposures / 60.0));
    // Nothing shortens the errors that all frames share.
    past.common_err_mag = 0.05;
    CHECK_FALSE(tasks::exposure_for(17.0, 0.05, 0.2, past).exposures);
    CHECK(*tasks::exposure_for(5.0, 0.06, 0.0, past).exposures == 1.0);
}

TEST_CASE("a forecast without a campaign is refused in words", "[forecast]") {
    const auto none = tasks::forecast({}, "/nowhere/at/all");
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::request);
}
