// SPDX-License-Identifier: MIT
#include <limits>

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

lightcurve::LightCurve three_nights() {
    auto curve = empty_curve();
    curve.points = {measured(0.0, 15.0, 0.02), measured(2.0, 15.2, 0.02), measured(5.0, 15.5, 0.02)};
    return curve;
}

Problem refusal(const lightcurve::LightCurve& curve, const lightcurve::FitOptions& options = {}) {
    const auto result = lightcurve::fit(curve, lightcurve::straight_line(), options);
    REQUIRE_FALSE(result);
    // Whole sentences, with something to do.
    CHECK(result.error().what.ends_with('.'));
    CHECK(result.error().mend.ends_with('.'));
    return result.error();
}

}  // namespace

TEST_CASE("too little to fit a line is refused in words", "[refusals]") {
    auto curve = empty_curve();
    CHECK_THAT(refusal(curve).what, Contains("needs 2 detections, and there are 0"));
    curve.points = {measured(0.0, 15.0, 0.02)};
    CHECK_THAT(refusal(curve).what, Contains("needs 2 detections, and there is 1"));
    curve.points.push_back(limit(3.0, 18.0));
    CHECK_THAT(refusal(curve).what, Contains("there is 1"));
    curve.points = {limit(0.0, 18.0), limit(1.0, 18.2), limit(3.0, 18.0)};
    CHECK_THAT(refusal(curve).what, Contains("None of the 3 points is a detection"));
    curve.points = {measured(1.0, 15.0, 0.02), measured(1.0, 15.1, 0.02), measured(1.0, 15.2, 0.02)};
    CHECK_THAT(refusal(curve).what, Contains("one time"));
    // An interval with nothing inside is no different.
    lightcurve::FitOptions later;
    later.from_bjd_tdb = epoch_bjd + 100.0;
    CHECK_THAT(refusal(three_nights(), later).what, Contains("there are 0"));
}

TEST_CASE("two detections fit a line, and nothing is said to check it", "[refusals]") {
    auto curve = three_nights();
    curve.points.pop_back();
    const auto fit = line_through(curve);
    CHECK(rate_of(fit).value == Approx(0.1).epsilon(1e-6));
    CHECK(rate_of(fit).err == Approx(0.02 * std::sqrt(2.0) / 2.0).epsilon(1e-6));
    CHECK(fit.dof == 0);
    REQUIRE(fit.remarks.size() == 1);
    CHECK_THAT(fit.remarks[0], Contains("nothing checks the errors"));
}

TEST_CASE("a point that is no number is refused by its place", "[refusals]") {
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double bad : {not_a_number, infinity, -infinity}) {
        CAPTURE(bad);
        auto curve = three_nights();
        curve.points[1].magnitude_mag = bad;
        CHECK_THAT(refusal(curve).where, Contains("Light curve in V, point 2"));
        curve = three_nights();
        curve.points[1].bjd_tdb = bad;
        static_cast<void>(refusal(curve));
        curve = three_nights();
        curve.points[2].random_err_mag = bad;
        CHECK_THAT(refusal(curve).where, Contains("point 3"));
        curve = three_nights();
        curve.points[0].flux = Flux{bad, 1.0};
        CHECK_THAT(refusal(curve).what, Contains("flux"));
        curve = three_nights();
        curve.points[0].flux = Flux{100.0, bad};
        CHECK_THAT(refusal(curve).what, Contains("flux"));
        curve = three_nights();
        curve.points.push_back(limit(7.0, bad));
        CHECK_THAT(refusal(curve).what, Contains("limit"));
    }
    // Also when an interval is asked for: a time that is no number cannot be outside.
    auto curve = three_nights();
    curve.points[1].bjd_tdb = not_a_number;
    lightcurve::FitOptions interval;
    interval.from_bjd_tdb = epoch_bjd - 1.0;
    CHECK_THAT(refusal(curve, interval).what, Contains("time"));
}

TEST_CASE("errors that are missing, zero or negative are refused", "[refusals]") {
    for (const double bad : {0.0, -0.02}) {
        auto curve = three_nights();
        curve.points[1].random_err_mag = bad;
        CHECK_THAT(refusal(curve).what, Contains("missing, zero or negative"));
    }
    auto curve = three_nights();
    curve.points[1].random_err_mag.reset();
    CHECK_THAT(refusal(curve).what, Contains("missing"));
    curve = three_nights();
    curve.points[1].magnitude_mag.reset();
    CHECK_THAT(refusal(curve).what, Contains("no magnitude"));
    curve = three_nights();
    curve.points.push_back(limit(7.0, 18.0));
    curve.points.back().limit_sigma = 0.0;
    CHECK_THAT(refusal(curve).what, Contains("how many sigma"));
}

TEST_CASE("common errors must match their names", "[refusals]") {
    auto curve = three_nights();
    curve.common_names = {"zero point", "colour term"};
    curve.points[0].common_err_mag = {0.01, 0.01};
    curve.points[1].common_err_mag = {0.01};
    CHECK_THAT(refusal(curve).what, Contains("1 common errors where the curve names 2"));
    curve.points[1].common_err_mag = {0.01, not_a_number};
    CHECK_THAT(refusal(curve).what, Contains("common error"));
    curve.points[1].common_err_mag = {0.01, 0.0, 0.0};
    CHECK_THAT(refusal(curve).what, Contains("3 common errors"));
    // None at all means that nothing is shared.
    curve.points[1].common_err_mag.clear();
    CHECK(lightcurve::fit(curve, lightcurve::straight_line()));
}

TEST_CASE("dates that cannot be meant are refused", "[refusals]") {
    lightcurve::FitOptions options;
    options.from_bjd_tdb = not_a_number;
    CHECK(refusal(three_nights(), options).kind == ProblemKind::request);
    options.from_bjd_tdb = epoch_bjd + 5.0;
    options.to_bjd_tdb = epoch_bjd;
    CHECK_THAT(refusal(three_nights(), options).what, Contains("ends before it begins"));
    auto curve = three_nights();
    curve.points[2].bjd_tdb -= 2400000.5;
    CHECK_THAT(refusal(curve).what, Contains("two ways of counting days"));
}

TEST_CASE("a model is known by its name or the names are told", "[refusals]") {
    REQUIRE(lightcurve::model_names().size() > 1);
    for (const std::string& name : lightcurve::model_names()) {
        const auto model = lightcurve::make_model(name);
        REQUIRE(model);
        CHECK((*model)->name() == name);
    }
    const auto unknown = lightcurve::make_model("parabola");
    REQUIRE_FALSE(unknown);
    CHECK_THAT(unknown.error().mend, Contains("straight-line"));
}
