// SPDX-License-Identifier: MIT
#include "lightcurve/curves.hpp"
#include "lightcurve/figures.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

constexpr double scale_d = 12.0;

// A maximum at day 3, magnitude 13.5, and the shape of a type Ia in blue light.
double asymmetric_peak(double days) {
    const double u = (days - 3.0) / scale_d;
    return 13.5 + u * u * (0.9 + u * (-0.4 + 0.1 * u));
}

lightcurve::LightCurve nightly(double from, double to, double err, numerics::Random* random) {
    auto curve = empty_curve();
    for (double t = from; t <= to; t += 1.0) {
        curve.points.push_back(
            measured(t, asymmetric_peak(t) + (random != nullptr ? err * random->gaussian() : 0.0), err));
    }
    return curve;
}

lightcurve::CurveFit polynomial_through(const lightcurve::LightCurve& curve, int order,
                                        const lightcurve::FitOptions& options = {}) {
    auto result = lightcurve::fit(curve, lightcurve::peak_polynomial(order, scale_d), options);
    INFO((result ? std::string() : one_line(result.error())));
    REQUIRE(result);
    return *result;
}

}  // namespace

TEST_CASE("slopes of the peak's polynomial are its differences", "[peak-polynomial]") {
    const std::vector<double> all{1.5, 13.5, 0.9, -0.4, 0.2, -0.1, 0.03, -0.01};
    for (int order = 2; order <= 7; ++order) {
        const auto model = lightcurve::peak_polynomial(order, scale_d);
        const std::vector<double> p(all.begin(), all.begin() + order + 1);
        REQUIRE(model->parameters(epoch_bjd).size() == p.size());
        std::vector<double> exact(p.size()), differences(p.size());
        for (const double days : {-9.0, 0.0, 1.5, 4.0, 21.0}) {
            model->gradient(days, p, exact);
            model->lightcurve::Model::gradient(days, p, differences);
            for (std::size_t j = 0; j < p.size(); ++j) {
                INFO("order " << order << ", " << days << " d, parameter " << j);
                CHECK(exact[j] == Approx(differences[j]).margin(1e-6));
            }
        }
        CHECK(model->magnitude(1.5, p) == 13.5);
    }
}

TEST_CASE("time and magnitude of a polynomial's own maximum come back", "[peak-polynomial]") {
    // Errors this small leave the priors nothing to say.
    const auto curve = nightly(-10.0, 25.0, 1e-4, nullptr);
    for (const int order : {4, 5, 6, 7}) {
        const auto fit = polynomial_through(curve, order, plain);
        INFO("order " << order);
        CHECK(fit.parameter("t_max")->value - epoch_bjd == Approx(3.0).margin(1e-4).epsilon(0));
        CHECK(fit.parameter("m_max")->value == Approx(13.5).margin(1e-6));
        CHECK(fit.parameter("shape_2")->value == Approx(0.9).margin(1e-4));
        CHECK(fit.parameter("shape_3")->value == Approx(-0.4).margin(1e-4));
    }
}

TEST_CASE("the covariance itself holds the errors of the maximum", "[peak-polynomial]") {
    std::vector<double> time_pulls, magnitude_pulls;
    numerics::Random random(12);
    for (int i = 0; i < 200; ++i) {
        const auto fit = polynomial_through(nightly(-10.0, 25.0, 0.03, &random), 5, plain);
        const auto t = *fit.parameter("t_max"), m = *fit.parameter("m_max");
        time_pulls.push_back((t.value - epoch_bjd - 3.0) / t.err);
        magnitude_pulls.push_back((m.value - 13.5) / m.err);
    }
    for (const auto& spread : {spread_of(time_pulls), spread_of(magnitude_pulls)}) {
        // 200 campaigns tell a spread to 5 %. Priors take their part of it.
        CHECK(spread.sigma > 0.85);
        CHECK(spread.sigma < 1.15);
        CHECK(std::abs(spread.mean) < 0.25);
    }
}

TEST_CASE("a wild point does not pass for the maximum", "[peak-polynomial]") {
    numerics::Random random(4);
    auto curve = nightly(-10.0, 25.0, 0.02, &random);
    const auto clean = polynomial_through(curve, 7);
    for (const std::size_t bad : {std::size_t{2}, std::size_t{13}, std::size_t{30}}) {
        auto spoilt = curve;
        *spoilt.points[bad].magnitude_mag -= 5.0;
        const auto fit = polynomial_through(spoilt, 7);
        INFO("point " << bad);
        const auto t_max = *fit.parameter("t_max");
        CHECK(std::abs(t_max.value - epoch_bjd - 3.0) < 2.5 * t_max.err);
        CHECK(t_max.err < 1.5 * clean.parameter("t_max")->err);
    }
}

TEST_CASE("few nights are enough where priors stand for the rest", "[peak-polynomial]") {
    auto curve = empty_curve();
    for (const double t : {-6.0, -2.0, 2.0, 7.0, 13.0, 19.0})
        curve.points.push_back(measured(t, asymmetric_peak(t), 0.02));
    const auto fit = polynomial_through(curve, 7);
    CHECK(std::abs(fit.parameter("t_max")->value - epoch_bjd - 3.0) < 2.0 * fit.parameter("t_max")->err);
    CHECK(fit.parameter("t_max")->err < 2.0);
}

TEST_CASE("a fade or a rise alone has no maximum", "[peak-polynomial]") {
    for (const double rate : {0.05, -0.05}) {
        auto curve = empty_curve();
        for (int i = 0; i < 20; ++i)
            curve.points.push_back(measured(i, 14.0 + rate * i, 0.02));
        const auto refused = lightcurve::fit(curve, lightcurve::peak_polynomial(5, scale_d));
        REQUIRE_FALSE(refused);
        CHECK_THAT(refused.error().what, Contains("no maximum of light"));
    }
    auto short_curve = empty_curve();
    for (int i = 0; i < 3; ++i)
        short_curve.points.push_back(measured(i, 14.0, 0.02));
    const auto refused = lightcurve::peak_polynomial(5, scale_d)->starts(short_curve, epoch_bjd);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().what, Contains("4 detections, and there are 3"));
}
