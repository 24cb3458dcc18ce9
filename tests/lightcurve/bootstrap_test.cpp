// SPDX-License-Identifier: MIT
#include <optional>

#include "lightcurve/curves.hpp"
#include "lightcurve/merge_series.hpp"
#include "lightcurve/sample_fit.hpp"

using namespace emberline;
using namespace emberline::lightcurve;

namespace {

struct Fade {
    std::size_t nights = 30, points_a_night = 1;
    double scatter_mag = 0.03, night_mag = 0.0, quoted_mag = 0.03;
};

// Of 0.02 mag/d from magnitude 15, a night every two days.
LightCurve faded(const Fade& fade, numerics::Random& random) {
    LightCurve curve = test::empty_curve();
    for (std::size_t i = 0; i < fade.nights; ++i) {
        const double of_night = random.gaussian(0.0, fade.night_mag);
        for (std::size_t k = 0; k < fade.points_a_night; ++k) {
            const double days = 2.0 * static_cast<double>(i) + 0.01 * static_cast<double>(k);
            curve.points.push_back(
                test::measured(days, 15.0 + 0.02 * days + of_night + random.gaussian(0.0, fade.scatter_mag),
                               fade.quoted_mag));
        }
    }
    return curve;
}

Bootstrap booted(const LightCurve& curve, const CurveFit& fit, std::size_t trials = 300,
                 std::uint64_t seed = 1, int threads = 1) {
    const auto result = bootstrap(curve, straight_line(), fit, test::plain, trials, seed, threads);
    INFO((result ? std::string() : one_line(result.error())));
    REQUIRE(result);
    return *result;
}

struct Pulls {
    test::Spread quoted, bootstrap;
};
Pulls rate_pulls(const Fade& fade, int curves, std::uint64_t seed) {
    numerics::Random random(seed);
    std::vector<double> quoted, by_bootstrap;
    for (int i = 0; i < curves; ++i) {
        const LightCurve curve = faded(fade, random);
        const CurveFit fit = test::line_through(curve, test::plain);
        const auto rate = test::rate_of(fit);
        quoted.push_back((rate.value - 0.02) / rate.err);
        const Bootstrap boot = booted(curve, fit, 150, static_cast<std::uint64_t>(i));
        by_bootstrap.push_back((rate.value - 0.02) / boot.errors[1].err);
    }
    return {test::spread_of(quoted), test::spread_of(by_bootstrap)};
}

}  // namespace

TEST_CASE("Where the quoted errors hold, the bootstrap of a line agrees with its covariance", "[bootstrap]") {
    numerics::Random random(4);
    double ratio[2] = {0.0, 0.0};
    constexpr int curves = 200;
    for (int i = 0; i < curves; ++i) {
        const LightCurve curve = faded({}, random);
        const CurveFit fit = test::line_through(curve, test::plain);
        const Bootstrap boot = booted(curve, fit);
        CHECK(boot.asked == 300);
        CHECK(boot.parameters.rows() == 300);
        for (std::size_t j = 0; j < 2; ++j) {
            CHECK(boot.errors[j].value ==
                  Approx(fit.parameters[j]).margin(0.5 * std::sqrt(fit.covariance(j, j))));
            ratio[j] += boot.errors[j].err / std::sqrt(fit.covariance(j, j)) / curves;
        }
    }
    // 30 residuals tell their scatter to 13 %; 200 curves to 1 %.
    INFO("bootstrap over covariance: level " << ratio[0] << ", rate " << ratio[1]);
    CHECK(ratio[0] == Approx(1.0).margin(0.05));
    CHECK(ratio[1] == Approx(1.0).margin(0.05));
}

TEST_CASE("Where the quoted errors are a third of the scatter, the bootstrap is honest", "[bootstrap]") {
    const Pulls pulls = rate_pulls({.nights = 40, .scatter_mag = 0.03, .quoted_mag = 0.01}, 1200, 21);
    INFO("pulls by covariance " << pulls.quoted.sigma << ", by bootstrap " << pulls.bootstrap.sigma);
    // 1200 pulls: their spread is known to 0.02.
    CHECK(pulls.quoted.sigma > 2.7);
    CHECK(pulls.bootstrap.sigma > 0.9);
    CHECK(pulls.bootstrap.sigma < 1.1);
}

TEST_CASE("What a night shares is seen, for whole nights are drawn", "[bootstrap]") {
    const Pulls pulls = rate_pulls(
        {.nights = 40, .points_a_night = 3, .scatter_mag = 0.01, .night_mag = 0.04, .quoted_mag = 0.01}, 400,
        22);
    INFO("pulls by covariance " << pulls.quoted.sigma << ", by bootstrap " << pulls.bootstrap.sigma);
    CHECK(pulls.quoted.sigma > 5.0);
    CHECK(pulls.bootstrap.sigma > 0.9);
    CHECK(pulls.bootstrap.sigma < 1.1);
}

TEST_CASE("Few nights: the spread is widened for the parameters that they had to pay for", "[bootstrap]") {
    const Pulls pulls = rate_pulls({.nights = 8, .scatter_mag = 0.03, .quoted_mag = 0.01}, 600, 23);
    INFO("pulls by bootstrap " << pulls.bootstrap.sigma);
    // Six degrees of freedom: pulls of a perfect estimate follow Student's t, with a spread of √(6/4) = 1.22.
    CHECK(pulls.bootstrap.sigma > 1.0);
    CHECK(pulls.bootstrap.sigma < 1.5);
}

TEST_CASE("What all points share is in the bootstrap's level, and an offset costs what it does",
          "[bootstrap]") {
    numerics::Random random(6);
    LightCurve curve = faded({}, random);
    curve.common_names = {"zero point"};
    for (Point& point : curve.points)
        point.common_err_mag = {0.05};
    const CurveFit fit = test::line_through(curve, test::plain);
    const Bootstrap boot = booted(curve, fit, 800);
    CHECK(boot.errors[0].err == Approx(std::sqrt(fit.covariance(0, 0))).epsilon(0.15));
    CHECK(boot.errors[0].err > 0.04);
    CHECK(boot.errors[1].err == Approx(std::sqrt(fit.covariance(1, 1))).epsilon(0.35));

    LightCurve early = faded({.nights = 15}, random), late = faded({.nights = 15}, random);
    for (Point& point : late.points) {
        point.bjd_tdb += 30.0;
        *point.magnitude_mag += 0.6 + 0.1;
    }
    early.series = {"a"};
    late.series = {"b"};
    const LightCurve both = merge_series({early, late});
    const CurveFit of_both = test::line_through(both, test::plain);
    const Bootstrap apart = booted(both, of_both, 800);
    CHECK(apart.errors[1].err == Approx(test::rate_of(of_both).err).epsilon(0.35));
}

TEST_CASE("Limits and fluxes are drawn too; threads change nothing", "[bootstrap]") {
    numerics::Random random(7);
    LightCurve curve = test::empty_curve();
    for (int i = 0; i < 30; ++i)
        curve.points.push_back(test::from_flux(
            3.0 * i, test::flux_of(16.0 + 0.05 * 3.0 * i) + random.gaussian(0.0, 60.0), 60.0));
    REQUIRE(curve.points.back().is_limit);
    const CurveFit fit = test::line_through(curve, test::plain);
    const Bootstrap one = booted(curve, fit, 100), two = booted(curve, fit, 100, 1, 2);
    CHECK(one.parameters == two.parameters);
    CHECK(one.errors[1].value == Approx(0.05).margin(5.0 * one.errors[1].err));
    CHECK(one.errors[1].err == Approx(test::rate_of(fit).err).epsilon(0.5));
}

TEST_CASE("No more nights than parameters, and a fit of another curve, are refused", "[bootstrap]") {
    LightCurve curve = test::empty_curve();
    curve.points = {test::measured(0, 15.0, 0.01), test::measured(0.1, 15.0, 0.01),
                    test::measured(5, 15.2, 0.01)};
    const CurveFit fit = test::line_through(curve, test::plain);
    const auto refused = bootstrap(curve, straight_line(), fit, test::plain);
    REQUIRE_FALSE(refused);
    CHECK_THAT(one_line(refused.error()), Catch::Contains("2 nights"));
    curve.points.pop_back();
    CHECK_FALSE(bootstrap(curve, straight_line(), fit, test::plain));
}
