// SPDX-License-Identifier: MIT
#include "lightcurve/profile.hpp"

#include "expected_table.hpp"
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using numerics::Random;

namespace {

lightcurve::ProfileError profile(const lightcurve::LightCurve& curve,
                                 std::shared_ptr<const lightcurve::Model> model,
                                 const lightcurve::CurveFit& fit, std::string_view parameter,
                                 const lightcurve::FitOptions& options) {
    const auto error = lightcurve::profile_error(curve, std::move(model), fit, options, parameter);
    INFO((error ? std::string() : one_line(error.error())));
    REQUIRE(error);
    return *error;
}

// A step down at a time that no point pins: between two nights nothing changes. Smooth, so that it has
// slopes.
class Step final : public lightcurve::Model {
  public:
    [[nodiscard]] std::string name() const override { return "step"; }
    [[nodiscard]] std::string source() const override { return "a test"; }
    [[nodiscard]] std::vector<lightcurve::ParameterInfo> parameters(double) const override {
        return {{"level", "mag", "Before it."},
                {"amount", "mag", "Of the step, from above zero."},
                {"scale", "d", "Of its decay."}};
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const lightcurve::LightCurve&,
                                                                  double) const override {
        return std::vector<std::vector<double>>{{15.0, 1.0, 5.0}, {15.0, 0.5, 20.0}};
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        return p[0] + p[1] * (1.0 - std::exp(-(days + 20.0) / p[2]));
    }
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return std::isfinite(p[0]) && p[1] >= 0.0 && p[2] > 0.0 && std::isfinite(p[1]) && std::isfinite(p[2]);
    }
};

}  // namespace

TEST_CASE("the profile of a straight line's rate is the parabola of its covariance", "[profile]") {
    Random random(41);
    auto curve = empty_curve();
    curve.common_names = {"drift"};
    for (int i = 0; i < 15; ++i) {
        auto point = measured(2.0 * i, 15.0 + 0.1 * i + random.gaussian(0.0, 0.02), 0.02);
        point.common_err_mag = {0.002 * i};
        curve.points.push_back(point);
    }
    const auto fit = line_through(curve, plain);
    const auto rate = profile(curve, lightcurve::straight_line(), fit, "decline_rate", plain);
    CHECK(rate.value == rate_of(fit).value);
    CHECK(rate.minus == Approx(rate_of(fit).err).epsilon(1e-3));
    CHECK(rate.plus == Approx(rate_of(fit).err).epsilon(1e-3));
    CHECK(rate.parabolic);
    // An outlier gives the likelihood tails; a sigma stays a sigma.
    *curve.points[4].magnitude_mag += 2.0;
    const auto tailed = line_through(curve);
    REQUIRE(tailed.student_nu);
    const auto with_tails = profile(curve, lightcurve::straight_line(), tailed, "decline_rate", {});
    CHECK(with_tails.minus == Approx(rate_of(tailed).err).epsilon(0.25));
    CHECK(with_tails.plus == Approx(rate_of(tailed).err).epsilon(0.25));
}

TEST_CASE("the date of a break is uncertain by what chi2 says on either side", "[profile]") {
    // stats_checks.csv: where chi² with all else refitted rises by 1, worked with 50 digits on
    // fit_lightcurve.csv.
    const auto table = expected_table("fit_lightcurve.csv");
    auto curve = empty_curve();
    for (const auto& row : table.rows) {
        curve.points.push_back(
            measured(number(table, row, "t_days"), number(table, row, "mag"), number(table, row, "sigma")));
    }
    const std::shared_ptr<const lightcurve::Model> model = lightcurve::broken_line(1);
    const auto fit = lightcurve::fit(curve, model, plain);
    REQUIRE(fit);
    const auto checks = expected_table("lightcurve/best_knot.csv");
    const auto answer = [&](const std::string& name) {
        for (const auto& row : checks.rows) {
            if (text(checks, row, "name") == name) return number(checks, row, "value");
        }
        FAIL(name);
        return 0.0;
    };
    std::string name;
    for (const auto& info : fit->parameter_info) {
        if (info.is_epoch) name = info.name;
    }
    const auto knot = profile(curve, model, *fit, name, plain);
    CHECK(knot.value - epoch_bjd == Approx(answer("best knot")).margin(1e-5));
    CHECK(knot.value - knot.minus - epoch_bjd == Approx(answer("knot interval low")).margin(2e-4));
    CHECK(knot.value + knot.plus - epoch_bjd == Approx(answer("knot interval high")).margin(2e-4));
    CHECK(fit->chi2 == Approx(answer("chi2")).epsilon(1e-6));
    CHECK(fit->dof == 14);
    double log_norm = 0.0;
    for (const auto& point : curve.points)
        log_norm += std::log(2.0 * 3.14159265358979323846 * *point.random_err_mag * *point.random_err_mag);
    CHECK(fit->bic - log_norm == Approx(answer("BIC")).epsilon(1e-6));
    const auto at_zero = fit->prediction->magnitude(epoch_bjd);
    CHECK(at_zero.value == Approx(answer("m0")).epsilon(1e-7));
    const auto later = [&](double days) { return fit->prediction->magnitude(epoch_bjd + days).value; };
    CHECK((later(10.0) - later(0.0)) / 10.0 == Approx(answer("early slope")).epsilon(1e-6));
    CHECK((later(40.0) - later(30.0)) / 10.0 == Approx(answer("late slope")).epsilon(1e-5));
}

TEST_CASE("a likelihood that is no parabola has unlike errors, one of them perhaps without end",
          "[profile]") {
    // Points over a fifth of the scale tell a lower bound of it, and no upper one.
    auto curve = empty_curve();
    for (int i = 0; i < 12; ++i) {
        const double t = 1.0 * i;
        curve.points.push_back(measured(t, 15.0 + 0.02 * t + (i % 2 == 0 ? 0.004 : -0.004), 0.01));
    }
    const auto model = std::make_shared<Step>();
    const auto fit = lightcurve::fit(curve, model, plain);
    INFO((fit ? std::string() : one_line(fit.error())));
    REQUIRE(fit);
    const auto scale = profile(curve, model, *fit, "scale", plain);
    CHECK_FALSE(scale.parabolic);
    CHECK(std::isinf(scale.plus));
    CHECK(scale.minus < fit->parameter("scale")->value);
    CHECK(scale.minus > 0.0);
}

TEST_CASE("a profile is asked for by a name that the model has", "[profile]") {
    Random random(42);
    auto curve = empty_curve();
    for (int i = 0; i < 6; ++i)
        curve.points.push_back(measured(2.0 * i, 15.0 + 0.1 * i + random.gaussian(0.0, 0.02), 0.02));
    const auto fit = line_through(curve);
    const auto unknown = lightcurve::profile_error(curve, lightcurve::straight_line(), fit, {}, "slope");
    REQUIRE_FALSE(unknown);
    CHECK_THAT(unknown.error().mend, Contains("decline_rate"));
    curve.points.pop_back();
    CHECK_FALSE(lightcurve::profile_error(curve, lightcurve::straight_line(), fit, {}, "decline_rate"));
}
