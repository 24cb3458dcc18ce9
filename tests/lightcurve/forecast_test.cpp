// SPDX-License-Identifier: MIT
#include "lightcurve/forecast.hpp"

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

// 0.05 mag a day from 14, every second night for 20 days.
lightcurve::LightCurve fading(numerics::Random& random) {
    lightcurve::LightCurve curve = empty_curve();
    for (int k = 0; k <= 10; ++k)
        curve.points.push_back(measured(2.0 * k, 14.0 + 0.1 * k + random.gaussian(0.0, 0.02), 0.02));
    return curve;
}

}  // namespace

TEST_CASE("without wandering a straight fade goes on, and one sigma holds the truth", "[forecast]") {
    numerics::Random random(3);
    int inside = 0;
    constexpr int trials = 200;
    for (int k = 0; k < trials; ++k) {
        const lightcurve::CurveFit fit = line_through(fading(random), plain);
        const auto ahead = lightcurve::Forecast::make({fit}, std::vector{1.0}, {.draws = 400, .wander = 0.0});
        REQUIRE(ahead);
        const auto point = ahead->at(std::vector{epoch_bjd + 30.0}).front();
        inside += point.low_mag < 15.5 && point.high_mag > 15.5;
    }
    // Binomial: 0.683 ± 0.033.
    CHECK(static_cast<double>(inside) / trials == Approx(0.683).margin(0.1));
}

TEST_CASE("the band grows as the integral of a walk", "[forecast]") {
    numerics::Random random(3);
    const lightcurve::CurveFit fit = line_through(fading(random), plain);
    const double q = 0.01;
    const auto with = lightcurve::Forecast::make({fit}, std::vector{1.0}, {.draws = 8000, .wander = q});
    const auto alone = lightcurve::Forecast::make({fit}, std::vector{1.0}, {.draws = 8000, .wander = 0.0});
    REQUIRE(with);
    REQUIRE(alone);
    const std::vector times{epoch_bjd + 50.0, epoch_bjd + 25.0, epoch_bjd + 10.0};  // in any order
    const auto wide = with->at(times), narrow = alone->at(times);
    for (std::size_t i = 0; i < times.size(); ++i) {
        const double days = std::max(times[i] - with->last_bjd_tdb(), 0.0);
        const double sigma = 0.5 * (wide[i].high_mag - wide[i].low_mag),
                     bare = 0.5 * (narrow[i].high_mag - narrow[i].low_mag);
        CHECK(sigma * sigma - bare * bare ==
              Approx(q * q * days * days * days / 3.0).epsilon(0.08).margin(1e-5));
        CHECK(wide[i].bjd_tdb == times[i]);
        CHECK(wide[i].low95_mag < wide[i].low_mag);
    }
}

TEST_CASE("fits count by their weights, and it fades past a magnitude once", "[forecast]") {
    numerics::Random random(5);
    const lightcurve::CurveFit fit = line_through(fading(random), plain);
    const auto ahead = lightcurve::Forecast::make({fit, fit}, std::vector{0.3, 0.7}, {.wander = 0.0});
    REQUIRE(ahead);
    const auto passing = ahead->passes(16.0, epoch_bjd + 100.0);
    REQUIRE(passing);
    CHECK(passing->bjd_tdb == Approx(epoch_bjd + 40.0).margin(2.0));
    CHECK(passing->low_bjd_tdb < passing->bjd_tdb);
    CHECK(passing->high_bjd_tdb > passing->bjd_tdb);
    CHECK_FALSE(ahead->passes(19.5, epoch_bjd + 100.0));
    CHECK(ahead->passes(14.0, epoch_bjd + 100.0)->bjd_tdb == ahead->last_bjd_tdb());
    CHECK_FALSE(ahead->passes(16.0, epoch_bjd));
    CHECK_FALSE(lightcurve::Forecast::make({}, {}));
    CHECK_FALSE(lightcurve::Forecast::make({fit}, std::vector{0.0}));
    CHECK_FALSE(lightcurve::Forecast::make({fit}, std::vector{0.5, 0.5}));
}

TEST_CASE("how much the past wandered does not depend on what the weights add up to", "[forecast]") {
    // The mean curve was a sum: with weights of 5 in all, a curve five times as bent.
    class Bent final : public lightcurve::Prediction {
      public:
        ValueWithError magnitude(double bjd_tdb) const override {
            const double days = bjd_tdb - epoch_bjd;
            return {15.0 + 0.001 * days * days, 0.01};
        }
        numerics::Matrix draws(std::span<const double> bjd_tdb, std::size_t count,
                               numerics::Random&) const override {
            return {count, bjd_tdb.size()};
        }
    };
    lightcurve::CurveFit fit;
    fit.from_bjd_tdb = epoch_bjd;
    fit.to_bjd_tdb = epoch_bjd + 60.0;
    fit.prediction = std::make_shared<Bent>();
    const double alone = lightcurve::wander_of({fit}, std::vector{1.0});
    CHECK(alone > lightcurve::usual_wander);
    CHECK(lightcurve::wander_of({fit}, std::vector{5.0}) == Approx(alone));
    CHECK(lightcurve::wander_of({fit, fit}, std::vector{2.0, 3.0}) == Approx(alone));
}

TEST_CASE("a straight past leaves little wandering", "[forecast]") {
    numerics::Random random(5);
    const lightcurve::CurveFit fit = line_through(fading(random), plain);
    CHECK(lightcurve::wander_of({fit}, std::vector{1.0}) > 0.0);
    CHECK(lightcurve::wander_of({fit}, std::vector{1.0}) <= lightcurve::usual_wander);
}
