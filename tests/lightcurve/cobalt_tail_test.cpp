// SPDX-License-Identifier: MIT
#include "lightcurve/choose_model.hpp"
#include "lightcurve/curves.hpp"
#include "lightcurve/profile.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;

namespace {

// The explosion is day 0.
const lightcurve::ModelContext known_explosion{.explosion_bjd_tdb = ValueWithError{epoch_bjd, 0.5}};

double leaked_mag(double age_d, double escape_d) {
    const double depth = (escape_d / age_d) * (escape_d / age_d);
    return 15.0 + lightcurve::cobalt56_decline_mag_per_day * age_d +
           magnitude_difference(-std::expm1(-depth), 1.0);
}

lightcurve::LightCurve tail(double from, double to, double escape_d, numerics::Random& random) {
    auto curve = empty_curve();
    for (double t = from; t < to; t += 7.0) {
        const double days = t + random.uniform(-2.0, 2.0), err = 0.03 * random.uniform(0.8, 1.3);
        curve.points.push_back(measured(days, leaked_mag(days, escape_d) + err * random.gaussian(), err));
    }
    return curve;
}

lightcurve::CurveFit tail_through(const lightcurve::LightCurve& curve,
                                  std::unique_ptr<lightcurve::Model> model) {
    auto result = lightcurve::fit(curve, std::move(model));
    INFO((result ? std::string() : one_line(result.error())));
    REQUIRE(result);
    return *result;
}

}  // namespace

TEST_CASE("a tail that keeps every gamma ray fades by a half in one half-life of cobalt-56", "[cobalt]") {
    const auto model = lightcurve::cobalt_tail();
    const std::vector<double> p{16.0};
    CHECK(model->magnitude(0.0, p) == Approx(16.0).epsilon(1e-14));
    CHECK(model->magnitude(77.236, p) == Approx(16.0 + 0.75257498916));  // 2.5 log10(2)
    // Clocks run slower by 1 + z there.
    const auto far = lightcurve::cobalt_tail({.explosion_bjd_tdb = {}, .redshift = 0.1});
    CHECK(far->magnitude(77.236 * 1.1, p) == Approx(16.0 + 0.75257498916));
}

TEST_CASE("the decline of a leaking tail is that of the formula at day 120", "[cobalt]") {
    // Derivatives of L = exp(−λt) (1 − exp(−(t0/t)²)) at t = 120 d, worked out elsewhere, half-life 77.236 d.
    struct Row {
        double escape_d, mag_per_day;
    };
    const auto model = lightcurve::leaking_tail(known_explosion);
    for (const Row& row : {Row{30, 0.0272798428489}, Row{36, 0.0270373510732}, Row{50, 0.026314069977},
                           Row{100, 0.0222776876632}, Row{500, 0.00974384599436}}) {
        const std::vector<double> p{16.0, std::log10(row.escape_d), -120.0};
        constexpr double step_d = 1e-3;
        INFO(row.escape_d << " d");
        CHECK(model->magnitude(0.0, p) == Approx(16.0).epsilon(1e-14));
        CHECK((model->magnitude(step_d, p) - model->magnitude(-step_d, p)) / (2.0 * step_d) ==
              Approx(row.mag_per_day).epsilon(1e-8));
    }
}

TEST_CASE("slopes of a leaking tail are its differences", "[cobalt]") {
    for (const double redshift : {0.0, 0.05}) {
        const auto model = lightcurve::leaking_tail(
            {.explosion_bjd_tdb = ValueWithError{epoch_bjd, 1.0}, .redshift = redshift});
        for (const double log_escape : {1.3, 2.0, 2.8, 4.0}) {
            const std::vector<double> p{16.0, log_escape, -130.0};
            std::vector<double> exact(3), differences(3);
            for (const double days : {-60.0, -10.0, 0.0, 40.0, 200.0}) {
                model->gradient(days, p, exact);
                model->lightcurve::Model::gradient(days, p, differences);
                for (std::size_t j = 0; j < 3; ++j) {
                    INFO(log_escape << ", " << days << " d, parameter " << j);
                    CHECK(exact[j] == Approx(differences[j]).margin(1e-6));
                }
            }
        }
    }
}

TEST_CASE("what is known of the explosion is the prior of its date", "[cobalt]") {
    const auto with = lightcurve::leaking_tail(known_explosion)->parameters(epoch_bjd + 100.0);
    REQUIRE(with[2].prior);
    CHECK(with[2].is_epoch);
    CHECK(with[2].prior->mean == Approx(-100.0));
    CHECK(with[2].prior->sigma == 0.5);
    const auto without = lightcurve::leaking_tail()->parameters(epoch_bjd + 100.0);
    REQUIRE(without[2].prior);
    CHECK(without[2].prior->sigma > 50.0);
    const auto model = lightcurve::leaking_tail(known_explosion);
    CHECK(model->allowed(std::vector<double>{16.0, 2.0, -100.0}));
    CHECK_FALSE(model->allowed(std::vector<double>{16.0, 2.0, 10.0}));
    CHECK_FALSE(model->allowed(std::vector<double>{16.0, -1.0, -100.0}));
}

TEST_CASE("one sigma of the escape time is one sigma where the leak shows", "[cobalt]") {
    for (const double escape_d : {35.0, 100.0, 200.0}) {
        numerics::Random random(5);
        std::vector<double> pulls;
        for (int i = 0; i < 80; ++i) {
            const auto fit =
                tail_through(tail(60.0, 200.0, escape_d, random), lightcurve::leaking_tail(known_explosion));
            const auto found = *fit.parameter("log_gamma_escape_time");
            pulls.push_back((found.value - std::log10(escape_d)) / found.err);
        }
        const auto spread = spread_of(pulls);
        INFO(escape_d << " d: " << spread.mean << " ± " << spread.sigma);
        CHECK(spread.sigma > 0.75);
        CHECK(spread.sigma < 1.25);
        // At 35 d the light is almost as thin as it can be: the prior's own part is 0.2, the curvature's
        // more.
        CHECK(std::abs(spread.mean) < (escape_d < 50.0 ? 0.6 : 0.35));
    }
}

TEST_CASE("a tail that leaks is told from one that does not", "[cobalt]") {
    numerics::Random random(9);
    int right_leak = 0, right_none = 0;
    for (int i = 0; i < 40; ++i) {
        for (const double escape_d : {150.0, 1e6}) {
            const auto curve = tail(60.0, 220.0, escape_d, random);
            const auto kept = tail_through(curve, lightcurve::cobalt_tail());
            const auto leaks = tail_through(curve, lightcurve::leaking_tail(known_explosion));
            if (escape_d < 1e3) right_leak += leaks.bic < kept.bic - lightcurve::strong_evidence;
            if (escape_d > 1e3) right_none += kept.bic < leaks.bic;
        }
    }
    CHECK(right_leak == 40);
    CHECK(right_none >= 36);
}

TEST_CASE("where nothing leaks, the escape time is known from below only", "[cobalt]") {
    int open = 0, close = 0;
    numerics::Random random(31);
    for (int i = 0; i < 12; ++i) {
        const auto curve = tail(60.0, 220.0, 1e6, random);
        const std::shared_ptr<const lightcurve::Model> model = lightcurve::leaking_tail(known_explosion);
        const auto fit = lightcurve::fit(curve, model);
        REQUIRE(fit);
        const auto error = lightcurve::profile_error(curve, model, *fit, {}, "log_gamma_escape_time");
        INFO((error ? std::string() : one_line(error.error())));
        REQUIRE(error);
        open += error->value + error->plus > 3.0;  // a thousand days and more are well possible
        close += error->value - 2.0 * error->minus > std::log10(200.0);  // that would have shown
        CHECK_FALSE(error->parabolic);
    }
    CHECK(open >= 8);
    CHECK(close >= 8);
}

TEST_CASE("a tail of limits alone is refused", "[cobalt]") {
    auto curve = empty_curve();
    for (int i = 0; i < 5; ++i)
        curve.points.push_back(limit(100.0 + i, 18.0));
    for (auto model : {lightcurve::cobalt_tail, lightcurve::leaking_tail}) {
        CHECK_FALSE(lightcurve::fit(curve, model({})));
        const auto starts = model({})->starts(curve, epoch_bjd);
        REQUIRE_FALSE(starts);
        CHECK_THAT(starts.error().what, Contains("detection"));
    }
}
