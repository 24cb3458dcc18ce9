// SPDX-License-Identifier: MIT
#include "lightcurve/censored.hpp"
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using numerics::Random;

TEST_CASE("the probability of a limit is that of the Gaussian, far into its tail", "[limits]") {
    struct Row {
        double z, minus_two_log, pull;
    };
    // −2 ln Φ(z) and φ(z)/Φ(z), worked elsewhere with 40 digits.
    constexpr Row rows[] = {{-40.0, 1609.2168840275075763, 40.024968847207263723},
                            {-12.0, 150.82134600313759188, 12.08221417525428433},
                            {-10.5, 116.80837412214648683, 10.593583926132378255},
                            {-9.5, 96.612038597930460564, 9.6030500903842820923},
                            {-3.0, 13.215452443020699087, 3.2830986549304365069},
                            {0.0, 1.3862943611198906188, 0.79788456080286535588},
                            {3.0, 0.0027016199294963875977, 0.0044378390421256637933}};
    for (const Row& row : rows) {
        CAPTURE(row.z);
        const auto term = lightcurve::censored_term(row.z, 0.0);
        // The asymptotic series stops at a relative 1e-6 of the probability.
        CHECK(term.minus_two_log == Approx(row.minus_two_log).margin(3e-6));
        CHECK(term.pull == Approx(row.pull).epsilon(3e-6));
        CHECK(term.curvature == Approx(row.pull * (row.pull + row.z)).margin(1e-3));
        CHECK(term.trust == 1.0);
    }
}

TEST_CASE("a limit that may be a mistake pulls only while it is likely", "[limits]") {
    struct Row {
        double z, minus_two_log, pull, trust;
    };
    // Of ε + (1 − ε) Φ(z) with ε = 0.001, worked elsewhere with 40 digits.
    constexpr Row rows[] = {{-5.0, 13.8149379101128749, 0.00148480759840997304, 0.0002862829389163266},
                            {-1.0, 3.67146536378082495, 1.51557309559533454, 0.993730273822190866}};
    for (const Row& row : rows) {
        CAPTURE(row.z);
        const auto term = lightcurve::censored_term(row.z, 1e-3);
        CHECK(term.minus_two_log == Approx(row.minus_two_log).epsilon(1e-10));
        CHECK(term.pull == Approx(row.pull).epsilon(1e-9));
        CHECK(term.trust == Approx(row.trust).epsilon(1e-9));
        CHECK(term.curvature >= 0.0);
    }
    const auto hopeless = lightcurve::censored_term(-300.0, 1e-3);
    CHECK(hopeless.minus_two_log == Approx(-2.0 * std::log(1e-3)));
    CHECK(hopeless.pull == 0.0);
}

TEST_CASE("fluxes too faint for a magnitude are used as what they are", "[limits]") {
    // A fade from 16.5 to 20.7 under a sky where 3 sigma is near magnitude 19.7: the last nights are limits,
    // some with a negative flux.
    constexpr double nights[] = {0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 36.0, 42.0};
    constexpr double true_rate = 0.1;
    constexpr std::uint64_t seed = 860;
    CAPTURE(seed);
    const double sky_err = flux_of(19.7) / 3.0;
    Random random(seed);
    std::vector<double> pulls;
    std::size_t limits = 0, gains = 0;
    constexpr int curves = 500;
    for (int i = 0; i < curves; ++i) {
        auto curve = empty_curve();
        for (const double t : nights) {
            const double flux = flux_of(16.5 + true_rate * t);
            const double err = std::hypot(sky_err, 0.02 * flux);
            curve.points.push_back(from_flux(t, flux + random.gaussian(0.0, err), err));
        }
        const auto fit = line_through(curve, plain);
        const auto rate = rate_of(fit);
        pulls.push_back((rate.value - true_rate) / rate.err);
        limits += fit.n_limits;
        CHECK(fit.dof == 6);  // a limit with its flux is a measurement
        auto detections = curve;
        std::erase_if(detections.points, [](const auto& point) { return point.is_limit; });
        if (rate.err < rate_of(line_through(detections, plain)).err) ++gains;
    }
    REQUIRE(limits > curves);
    CHECK(gains > curves * 9 / 10);
    // 3.2 per cent is one sigma of the spread of 500 pulls, 0.045 of their mean.
    const auto spread = spread_of(pulls);
    CHECK(spread.sigma > 0.9);
    CHECK(spread.sigma < 1.1);
    CHECK(spread.mean == Approx(0.0).margin(0.15));
}

TEST_CASE("limits without flux keep a fade from looking slower than it is", "[limits]") {
    // What stays above the limit late in a fade is what noise brightened; dropping the rest biases the rate.
    constexpr double true_rate = 0.1;
    constexpr std::uint64_t seed = 1913;
    CAPTURE(seed);
    const double sky_err = flux_of(19.5) / 3.0;
    Random random(seed);
    std::vector<double> with, without;
    for (int i = 0; i < 400; ++i) {
        auto curve = empty_curve();
        for (double t = 0.0; t < 40.0; t += 4.0) {
            auto point = from_flux(t, flux_of(17.5 + true_rate * t) + random.gaussian(0.0, sky_err), sky_err);
            point.flux.reset();
            curve.points.push_back(point);
        }
        auto detections = curve;
        std::erase_if(detections.points, [](const auto& point) { return point.is_limit; });
        if (detections.points.size() < 3 || detections.points.size() == curve.points.size()) continue;
        with.push_back(rate_of(line_through(curve, plain)).value - true_rate);
        without.push_back(rate_of(line_through(detections, plain)).value - true_rate);
    }
    REQUIRE(with.size() > 350);
    const double error_of_mean = spread_of(without).sigma / std::sqrt(static_cast<double>(without.size()));
    CHECK(spread_of(without).mean < -5.0 * error_of_mean);
    CHECK(std::abs(spread_of(with).mean) < 0.5 * std::abs(spread_of(without).mean));
}

TEST_CASE("a limit brighter than the fade says nothing, a deeper one pulls", "[limits]") {
    auto curve = empty_curve();
    for (double t = 0.0; t < 12.0; t += 2.0)
        curve.points.push_back(measured(t, 16.0 + 0.1 * t, 0.05));
    const auto alone = rate_of(line_through(curve));

    auto shallow = curve;
    shallow.points.push_back(limit(14.0, 15.0));
    const auto with_shallow = line_through(shallow);
    CHECK(with_shallow.n_limits == 1);
    CHECK(with_shallow.n == 7);
    CHECK(with_shallow.dof == 4);
    CHECK(rate_of(with_shallow).value == Approx(alone.value).margin(0.1 * alone.err));

    // Eighteen days in the line stands at 17.8, three sigma at 18.5: fainter than the fade by 2.7 sigma,
    // which only a steeper one explains.
    auto deep = curve;
    deep.points.push_back(limit(18.0, 18.5));
    const auto with_deep = rate_of(line_through(deep));
    CHECK(with_deep.value > alone.value + 0.1 * alone.err);

    // One that contradicts the points is taken for a mistake, and shown as such.
    auto wrong = curve;
    wrong.points.push_back(limit(6.0, 21.0));
    const auto fit = line_through(wrong);
    CHECK(rate_of(fit).value == Approx(alone.value).margin(0.1 * alone.err));
    CHECK(fit.points.back().weight < 0.01);
}
