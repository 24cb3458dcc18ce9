// SPDX-License-Identifier: MIT
#include "lightcurve/posterior.hpp"

#include <cmath>
#include <numbers>

#include "lightcurve/curves.hpp"
#include "numerics/matrix.hpp"

using namespace emberline;
using namespace emberline::test;
using numerics::Random;

namespace {

lightcurve::LightCurve two_series(Random& random, double offset_mag) {
    auto curve = empty_curve();
    curve.series = {"own", "other"};
    curve.common_names = {"zero point", "offset of other"};
    for (int i = 0; i < 24; ++i) {
        const double t = 1.3 * i;
        auto point = measured(t, 14.8 + 0.05 * t + random.gaussian(0.0, 0.02), 0.02);
        point.series = static_cast<std::size_t>(i % 2);
        if (point.series == 1) *point.magnitude_mag += offset_mag;
        point.common_err_mag = {0.03, point.series == 1 ? 0.2 : 0.0};
        curve.points.push_back(point);
    }
    return curve;
}

lightcurve::Posterior posterior_of(const lightcurve::LightCurve& curve, const lightcurve::CurveFit& fit,
                                   const lightcurve::FitOptions& options) {
    const auto posterior = lightcurve::Posterior::make(curve, lightcurve::straight_line(), fit, options);
    INFO((posterior ? std::string() : one_line(posterior.error())));
    REQUIRE(posterior);
    return *posterior;
}

// A line whose rate is known beforehand.
class KnownRate final : public lightcurve::Model {
  public:
    explicit KnownRate(std::optional<lightcurve::Prior> prior) : prior_(prior) {}
    [[nodiscard]] std::string name() const override { return "known-rate"; }
    [[nodiscard]] std::string source() const override { return "a test"; }
    [[nodiscard]] std::vector<lightcurve::ParameterInfo> parameters(double) const override {
        return {{"level", "mag", "At the reference."}, {"rate", "mag/d", "Of the fade.", prior_}};
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const lightcurve::LightCurve&,
                                                                  double) const override {
        return std::vector<std::vector<double>>{{15.0, 0.0}};
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        return p[0] + p[1] * days;
    }
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return std::isfinite(p[0] + p[1]);
    }

  private:
    std::optional<lightcurve::Prior> prior_;
};

}  // namespace

TEST_CASE("common errors as unknowns are the full covariance of the points", "[posterior]") {
    Random random(21);
    const auto curve = two_series(random, 0.0);
    const auto fit = line_through(curve, plain);
    const auto posterior = posterior_of(curve, fit, plain);
    CHECK(posterior.minus_two_log(fit.parameters) == Approx(fit.minus_two_log_likelihood).epsilon(1e-12));
    // The same by the covariance matrix C = D + V Vᵀ, here and at other parameters.
    for (const double shift : {0.0, 0.02, -0.3}) {
        CAPTURE(shift);
        const std::size_t n = curve.points.size();
        std::vector<double> residuals;
        numerics::Matrix covariance(n, n);
        for (std::size_t i = 0; i < n; ++i) {
            const auto& point = curve.points[i];
            residuals.push_back(*point.magnitude_mag - fit.parameters[0] - shift -
                                fit.parameters[1] * (point.bjd_tdb - fit.reference_bjd_tdb));
            covariance(i, i) = *point.random_err_mag * *point.random_err_mag;
            for (std::size_t j = 0; j < n; ++j) {
                for (std::size_t k = 0; k < 2; ++k)
                    covariance(i, j) += point.common_err_mag[k] * curve.points[j].common_err_mag[k];
            }
        }
        const numerics::Matrix lower = numerics::cholesky_lower(covariance);
        const auto solved = numerics::solve_cholesky(lower, residuals);
        double dense = 0.0;
        for (std::size_t i = 0; i < n; ++i)
            dense +=
                residuals[i] * solved[i] + 2.0 * std::log(lower(i, i)) + std::log(2.0 * std::numbers::pi);
        const std::vector<double> there{fit.parameters[0] + shift, fit.parameters[1]};
        CHECK(posterior.minus_two_log(there) == Approx(dense).epsilon(1e-10));
    }
}

TEST_CASE("an offset between two series is found, with its error", "[posterior]") {
    constexpr std::uint64_t seed = 22;
    CAPTURE(seed);
    Random random(seed);
    std::vector<double> pulls;
    for (int i = 0; i < 400; ++i) {
        const double offset = random.gaussian(0.0, 0.2);
        const auto fit = line_through(two_series(random, offset), plain);
        REQUIRE(fit.commons.size() == 2);
        pulls.push_back((0.2 * fit.commons[1].value - offset) / (0.2 * fit.commons[1].err));
        // Nothing tells the zero point that all share.
        CHECK(fit.commons[0].err == Approx(1.0).epsilon(1e-3));
    }
    CHECK(spread_of(pulls).sigma == Approx(1.0).margin(0.11));
    CHECK(spread_of(pulls).mean == Approx(0.0).margin(0.15));
}

TEST_CASE("the posterior is lowest at the fit and curves as its covariance says", "[posterior]") {
    Random random(23);
    auto curve = two_series(random, 0.1);
    *curve.points[5].magnitude_mag += 1.5;
    const auto fit = line_through(curve);
    REQUIRE(fit.student_nu);
    const auto posterior = posterior_of(curve, fit, {});
    const double bottom = posterior.minus_two_log(fit.parameters);
    CHECK(bottom == Approx(fit.minus_two_log_likelihood).epsilon(1e-9));
    for (const double sigmas : {-2.0, -0.5, 0.5, 2.0}) {
        CAPTURE(sigmas);
        auto there = fit.parameters;
        there[1] += sigmas * std::sqrt(fit.covariance(1, 1));
        // Level and rate hardly correlate; with tails a sigma is a rise of somewhat less than 1.
        CHECK(posterior.minus_two_log(there) - bottom > 0.5 * sigmas * sigmas);
        CHECK(posterior.minus_two_log(there) - bottom < 1.5 * sigmas * sigmas);
    }
}

TEST_CASE("the posterior refuses another curve, and values that mean nothing", "[posterior]") {
    Random random(24);
    const auto curve = two_series(random, 0.0);
    const auto fit = line_through(curve);
    auto shorter = curve;
    shorter.points.pop_back();
    CHECK_FALSE(lightcurve::Posterior::make(shorter, lightcurve::straight_line(), fit, {}));
    CHECK_FALSE(lightcurve::Posterior::make(curve, lightcurve::broken_line(1), fit, {}));
    CHECK(std::isinf(posterior_of(curve, fit, {}).minus_two_log(std::vector<double>{15.0, HUGE_VAL})));
}

TEST_CASE("a prior counts as one more measurement of its parameter", "[posterior]") {
    auto curve = empty_curve();
    Random random(25);
    for (int i = 0; i < 12; ++i)
        curve.points.push_back(measured(2.0 * i, 15.0 + 0.1 * i + random.gaussian(0.0, 0.03), 0.03));
    const auto fit_with = [&](std::optional<lightcurve::Prior> prior) {
        const auto fit = lightcurve::fit(curve, std::make_shared<KnownRate>(prior), plain);
        REQUIRE(fit);
        return *fit;
    };
    const auto free = fit_with({});
    const ValueWithError rate = *free.parameter("rate");
    const lightcurve::Prior prior{.mean = rate.value + 2.0 * rate.err, .sigma = 0.5 * rate.err};
    const auto bound = fit_with(prior);
    // Weights 1 and 4 of the two: the mean moves by four fifths of the distance; variances add inversely.
    CHECK(bound.parameter("rate")->value == Approx(rate.value + 1.6 * rate.err).epsilon(1e-8));
    CHECK(bound.parameter("rate")->err == Approx(rate.err / std::sqrt(5.0)).epsilon(1e-8));
    CHECK(bound.parameter("level")->value == Approx(free.parameter("level")->value).epsilon(1e-9));
    CHECK(bound.dof == free.dof + 1);
    // 1.6² from the points and (0.4/0.5)² from the prior.
    CHECK(bound.chi2 == Approx(free.chi2 + 1.6 * 1.6 + 0.8 * 0.8).epsilon(1e-8));
    CHECK(bound.minus_two_log_likelihood - free.minus_two_log_likelihood ==
          Approx(1.6 * 1.6 + 0.8 * 0.8).epsilon(1e-6));

    // With a prior on the rate one point fixes the rest.
    auto alone = curve;
    alone.points.resize(1);
    const auto one = lightcurve::fit(alone, std::make_shared<KnownRate>(prior), plain);
    REQUIRE(one);
    CHECK(one->parameter("rate")->err == Approx(prior.sigma).epsilon(1e-8));
    CHECK(one->parameter("level")->err == Approx(0.03).epsilon(1e-8));
}
