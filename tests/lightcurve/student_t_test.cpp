// SPDX-License-Identifier: MIT
#include "lightcurve/student_t.hpp"

#include <algorithm>

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using numerics::Random;

namespace {

constexpr double true_rate = 0.05;

lightcurve::LightCurve fade(Random& random, int nights, double err, auto noise) {
    auto curve = empty_curve();
    for (int i = 0; i < nights; ++i) {
        const double t = 1.5 * i;
        curve.points.push_back(measured(t, 14.8 + true_rate * t + noise(random), err));
    }
    return curve;
}

struct Trial {
    Spread pulls, errs;
    int with_tails = 0;
};

Trial many(std::uint64_t seed, int curves, int nights, double err, auto noise) {
    Random random(seed);
    std::vector<double> pulls, errs;
    Trial trial;
    for (int i = 0; i < curves; ++i) {
        const auto fit = line_through(fade(random, nights, err, noise));
        if (fit.student_nu) ++trial.with_tails;
        const auto rate = rate_of(fit);
        pulls.push_back((rate.value - true_rate) / rate.err);
        errs.push_back(rate.err);
    }
    trial.pulls = spread_of(pulls);
    trial.errs = spread_of(errs);
    return trial;
}

}  // namespace

TEST_CASE("the density of Student's t is that of its closed forms", "[student_t]") {
    // ν = 2: t(z) = (2 + z²)^(−3/2). ν = 3: t(z) = 6 √3 / (π (3 + z²)²). Both follow from the general form.
    for (const double z : {0.0, 0.5, 2.0, 25.0}) {
        CAPTURE(z);
        const double z2 = z * z;
        CHECK(lightcurve::minus_two_log_tail(z2, 2.0) == Approx(3.0 * std::log(2.0 + z2)));
        CHECK(lightcurve::minus_two_log_tail(z2, 3.0) ==
              Approx(-2.0 * std::log(6.0 * std::sqrt(3.0) / 3.14159265358979323846) +
                     4.0 * std::log(3.0 + z2)));
        CHECK(lightcurve::minus_two_log_tail(z2, {}) == Approx(z2 + std::log(2.0 * 3.14159265358979323846)));
        // Many degrees of freedom are a Gaussian, within 1/ν for such z.
        CHECK(lightcurve::minus_two_log_tail(0.25 * z2, 1e7) ==
              Approx(lightcurve::minus_two_log_tail(0.25 * z2, {})).margin(1e-2));
        // The weight is what the derivative of −2 ln t has more or less than that of z².
        const double step = 1e-6 * std::max(z2, 1.0);
        const double slope =
            (lightcurve::tail_depth(z2 + step, 3.0) - lightcurve::tail_depth(z2, 3.0)) / step;
        CHECK(lightcurve::tail_weight(z2, 3.0) == Approx(slope).epsilon(1e-5));
    }
}

TEST_CASE("Gaussian points are not taken for points with tails", "[student_t]") {
    constexpr std::uint64_t seed = 5;
    CAPTURE(seed);
    constexpr int curves = 300;
    const auto gaussian = [](Random& random) { return random.gaussian(0.0, 0.02); };
    for (const int nights : {8, 30}) {
        CAPTURE(nights);
        const Trial trial = many(seed, curves, nights, 0.02, gaussian);
        CHECK(trial.with_tails < curves / 20);
        CHECK(trial.pulls.sigma > 0.9);
        CHECK(trial.pulls.sigma < 1.1);
    }
}

TEST_CASE("with one point in ten far off the errors hold and stay small", "[student_t]") {
    constexpr std::uint64_t seed = 6;
    CAPTURE(seed);
    constexpr int curves = 400;
    const auto clean = [](Random& random) { return random.gaussian(0.0, 0.02); };
    const auto spoilt = [](Random& random) {
        return random.uniform() < 0.1 ? random.uniform(-1.0, 1.0) : random.gaussian(0.0, 0.02);
    };
    for (const int nights : {20, 60}) {
        CAPTURE(nights);
        const Trial without = many(seed, curves, nights, 0.02, clean);
        const Trial with = many(seed, curves, nights, 0.02, spoilt);
        // 400 pulls tell their spread to 3.5 per cent.
        CHECK(with.pulls.sigma > 0.9);
        CHECK(with.pulls.sigma < 1.1);
        CHECK(std::abs(with.pulls.mean) < 0.2);
        CHECK(with.with_tails > curves * 8 / 10);
        // A tenth of the points lost is 5 per cent; the t costs some more.
        CHECK(with.errs.mean < 1.3 * without.errs.mean);
    }
}

TEST_CASE("points that are drawn from a t are fitted with errors that hold", "[student_t]") {
    // t with 3 degrees of freedom: a Gaussian over the root of a mean of three squared ones.
    const auto heavy = [](Random& random) {
        double squares = 0.0;
        for (int k = 0; k < 3; ++k) {
            const double g = random.gaussian();
            squares += g * g;
        }
        return 0.02 * random.gaussian() / std::sqrt(squares / 3.0);
    };
    const Trial trial = many(7, 300, 60, 0.02, heavy);
    // In the others 60 points are told as well by extra scatter.
    CHECK(trial.with_tails > 150);
    CHECK(trial.pulls.sigma > 0.9);
    CHECK(trial.pulls.sigma < 1.12);
}

TEST_CASE("a point 5 mag off among eight neither moves the line nor spoils its error", "[student_t]") {
    Random random(8);
    const auto clean = fade(random, 8, 0.02, [](Random& r) { return r.gaussian(0.0, 0.02); });
    const auto eight = rate_of(line_through(clean));
    for (std::size_t bad = 0; bad < clean.points.size(); ++bad) {
        for (const double off : {-5.0, 5.0}) {
            CAPTURE(bad, off);
            auto curve = clean;
            *curve.points[bad].magnitude_mag += off;
            auto others = clean;
            others.points.erase(others.points.begin() + static_cast<std::ptrdiff_t>(bad));
            const auto seven = rate_of(line_through(others));
            const auto fit = line_through(curve);
            REQUIRE(fit.student_nu);
            CHECK(rate_of(fit).value == Approx(seven.value).margin(0.7 * seven.err));
            CHECK(rate_of(fit).value == Approx(eight.value).margin(1.5 * seven.err));
            CHECK(rate_of(fit).err > 0.95 * seven.err);
            CHECK(rate_of(fit).err < 1.5 * seven.err);
        }
    }
}

TEST_CASE("the criteria count the tails, and a Gaussian fit has none", "[student_t]") {
    Random random(9);
    auto curve = fade(random, 20, 0.02, [](Random& r) { return r.gaussian(0.0, 0.02); });
    CHECK_FALSE(line_through(curve).student_nu);
    *curve.points[7].magnitude_mag += 1.0;
    const auto fit = line_through(curve);
    REQUIRE(fit.student_nu);
    CHECK(fit.extra_scatter_mag == 0.0);
    // Two of the line and ν.
    CHECK(fit.bic - fit.minus_two_log_likelihood == Approx(3.0 * std::log(20.0)));
    CHECK(fit.aicc - fit.minus_two_log_likelihood == Approx(6.0 + 2.0 * 3.0 * 4.0 / 16.0));
    // The likelihood is that of a t, normalised: once more, point by point.
    double sum = 0.0;
    for (const auto& point : fit.points) {
        const double z = *point.residual_mag / 0.02;
        sum += lightcurve::minus_two_log_tail(z * z, fit.student_nu) + 2.0 * std::log(0.02);
    }
    CHECK(fit.minus_two_log_likelihood == Approx(sum).epsilon(1e-9));
    CHECK(fit.points[7].weight < 0.5);
}
