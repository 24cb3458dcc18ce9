// SPDX-License-Identifier: MIT
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using numerics::Random;

namespace {

// A wave whose period has many local best values, one for each count of periods within the points.
class Wave final : public lightcurve::Model {
  public:
    explicit Wave(std::vector<double> periods) : periods_(std::move(periods)) {}
    [[nodiscard]] std::string name() const override { return "wave"; }
    [[nodiscard]] std::string source() const override { return "a test"; }
    [[nodiscard]] std::vector<lightcurve::ParameterInfo> parameters(double) const override {
        return {{"level", "mag", "In the middle."},
                {"amplitude", "mag", "Not below zero."},
                {"period", "d", "Above zero."}};
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const lightcurve::LightCurve&,
                                                                  double) const override {
        std::vector<std::vector<double>> all;
        for (const double period : periods_)
            all.push_back({15.0, 0.2, period});
        return all;
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        return p[0] + p[1] * std::sin(2.0 * 3.14159265358979323846 * days / p[2]);
    }
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return std::isfinite(p[0]) && p[1] >= 0.0 && p[2] > 0.0 && std::isfinite(p[1]) && std::isfinite(p[2]);
    }

  private:
    std::vector<double> periods_;
};

constexpr double true_period_d = 7.0;

lightcurve::LightCurve wave_curve(double amplitude_mag) {
    Random random(61);
    auto curve = empty_curve();
    for (int i = -30; i <= 30; ++i) {
        const double t = 1.1 * i;
        const double wave = amplitude_mag * std::sin(2.0 * 3.14159265358979323846 * t / true_period_d);
        curve.points.push_back(measured(t, 15.0 + wave + random.gaussian(0.0, 0.02), 0.02));
    }
    return curve;
}

lightcurve::CurveFit wave_fit(const lightcurve::LightCurve& curve, std::vector<double> periods) {
    const auto fit = lightcurve::fit(curve, std::make_shared<Wave>(std::move(periods)));
    INFO((fit ? std::string() : one_line(fit.error())));
    REQUIRE(fit);
    return *fit;
}

bool says(const lightcurve::CurveFit& fit, const std::string& words) {
    for (const std::string& remark : fit.remarks) {
        if (remark.find(words) != std::string::npos) return true;
    }
    return false;
}

}  // namespace

TEST_CASE("the likeliest place wins wherever its start stands", "[starts]") {
    const auto curve = wave_curve(0.3);
    for (const auto& periods : {std::vector<double>{6.95, 4.0, 12.0}, {4.0, 6.95, 12.0}, {12.0, 4.0, 6.95}}) {
        const auto fit = wave_fit(curve, periods);
        CHECK(fit.parameter("period")->value ==
              Approx(true_period_d).margin(4.0 * fit.parameter("period")->err));
        CHECK(fit.parameter("amplitude")->value == Approx(0.3).margin(0.02));
        CHECK(fit.starts == 3);
        CHECK(fit.starts_agreeing == 1);
        CHECK(says(fit, "Only one of 3 starts led to this place"));
    }
    // Without that start another place is found, and it is worse by far.
    const auto astray = wave_fit(curve, {4.0, 12.0});
    CHECK(astray.minus_two_log_likelihood > wave_fit(curve, {6.95}).minus_two_log_likelihood + 50.0);
}

TEST_CASE("starts that come to one place agree, and nothing is said", "[starts]") {
    const auto fit = wave_fit(wave_curve(0.3), {6.9, 7.0, 7.1});
    CHECK(fit.starts == 3);
    CHECK(fit.starts_agreeing == 3);
    CHECK_FALSE(says(fit, "starts led"));
    // One start is no search that could fail.
    CHECK_FALSE(says(wave_fit(wave_curve(0.3), {7.0}), "starts led"));
}

TEST_CASE("starts that the model does not allow are left out, and none at all is refused", "[starts]") {
    const auto curve = wave_curve(0.3);
    CHECK(wave_fit(curve, {-1.0, 7.0}).starts == 1);
    const auto none = lightcurve::fit(curve, std::make_shared<Wave>(std::vector<double>{-1.0, 0.0}));
    REQUIRE_FALSE(none);
    CHECK_THAT(none.error().what, Contains("no sensible start"));
}

TEST_CASE("a parameter that its bound holds stands there, and that is said", "[starts]") {
    // The wave upside down: the best amplitude that is not below zero is zero, with any period, so that the
    // period is known beforehand.
    auto curve = wave_curve(-0.05);
    class Known final : public lightcurve::Model {
      public:
        [[nodiscard]] std::string name() const override { return "known-wave"; }
        [[nodiscard]] std::string source() const override { return "a test"; }
        [[nodiscard]] std::vector<lightcurve::ParameterInfo> parameters(double) const override {
            return {{"level", "mag", "In the middle."}, {"amplitude", "mag", "Not below zero."}};
        }
        [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const lightcurve::LightCurve&,
                                                                      double) const override {
            return std::vector<std::vector<double>>{{14.0, 0.2}};
        }
        [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
            return p[0] + p[1] * std::sin(2.0 * 3.14159265358979323846 * days / true_period_d);
        }
        [[nodiscard]] bool allowed(std::span<const double> p) const override {
            return std::isfinite(p[0]) && p[1] >= 0.0;
        }
    };
    const auto fit = lightcurve::fit(curve, std::make_shared<Known>());
    INFO((fit ? std::string() : one_line(fit.error())));
    REQUIRE(fit);
    CHECK(fit->parameter("amplitude")->value == Approx(0.0).margin(1e-9));
    CHECK(fit->parameter("level")->value == Approx(15.0).margin(0.03));
    CHECK(says(*fit, "amplitude stands at the edge of what the model known-wave allows"));
}

TEST_CASE("a hundred thousand points are fitted, bad ones and offsets among them", "[starts]") {
    constexpr std::size_t count = 100000;
    Random random(62);
    auto curve = empty_curve();
    curve.common_names = {"offset of every second"};
    for (std::size_t i = 0; i < count; ++i) {
        const double t = 1e-3 * static_cast<double>(i);
        const double noise = i % 50 == 0 ? random.gaussian(0.0, 1.0) : random.gaussian(0.0, 0.02);
        auto point = measured(t, 15.0 + 0.02 * t + (i % 2 == 0 ? 0.0 : 0.07) + noise, 0.02);
        point.common_err_mag = {i % 2 == 0 ? 0.0 : 0.1};
        curve.points.push_back(point);
    }
    const auto fit = line_through(curve);
    CHECK(rate_of(fit).value == Approx(0.02).margin(4.0 * rate_of(fit).err));
    // σ √(12/n) / length for a Gaussian; a fiftieth of the points is lost, and the t costs some.
    const double ideal = 0.02 * std::sqrt(12.0 / count) / 100.0;
    CHECK(rate_of(fit).err > ideal);
    CHECK(rate_of(fit).err < 1.2 * ideal);
    CHECK(0.1 * fit.commons[0].value == Approx(0.07).margin(5.0 * 0.1 * fit.commons[0].err));
    CHECK(0.1 * fit.commons[0].err < 2e-4);
}
