// SPDX-License-Identifier: MIT
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using numerics::Random;

namespace {

constexpr double nights[] = {0.0, 1.1, 2.9, 4.0, 7.2, 9.8};
constexpr double true_rate = 0.093;

// Six nights of one fade. Two errors are shared: the zero point of the catalogue, equal in all, and a colour
// term that works as the airmass and the filter of each night let it.
lightcurve::LightCurve six_nights(Random& random) {
    constexpr double zero_point_err = 0.03;
    constexpr double colour_err[] = {0.01, -0.02, 0.015, 0.03, -0.01, 0.025};
    auto curve = empty_curve();
    curve.common_names = {"catalogue zero point", "colour term"};
    const double zero_point = random.gaussian(), colour = random.gaussian();
    for (std::size_t i = 0; i < std::size(nights); ++i) {
        const double err = random.uniform(0.015, 0.05);
        const double truth = 15.2 + true_rate * nights[i];
        auto point = measured(
            nights[i],
            truth + zero_point * zero_point_err + colour * colour_err[i] + random.gaussian(0.0, err), err);
        point.common_err_mag = {zero_point_err, colour_err[i]};
        curve.points.push_back(point);
    }
    return curve;
}

Spread pulls(std::uint64_t seed, const lightcurve::FitOptions& options, int curves) {
    Random random(seed);
    std::vector<double> all;
    for (int i = 0; i < curves; ++i) {
        const auto rate = rate_of(line_through(six_nights(random), options));
        all.push_back((rate.value - true_rate) / rate.err);
    }
    return spread_of(all);
}

lightcurve::LightCurve quiet_fade() {
    auto curve = empty_curve();
    Random random(11);
    for (const double t : nights)
        curve.points.push_back(measured(t, 15.2 + true_rate * t + random.gaussian(0.0, 0.02), 0.02));
    return curve;
}

}  // namespace

TEST_CASE("the rate's error is as large as the rate is wrong, with shared errors", "[decline_rate]") {
    constexpr std::uint64_t seed = 20240211;
    constexpr int curves = 1000;
    CAPTURE(seed);
    // The spread of 1000 pulls is known to 2.2 per cent, their mean to 0.032: both bounds lie beyond 3 sigma.
    const auto exact = pulls(seed, plain, curves);
    CHECK(exact.sigma == Approx(1.0).margin(0.08));
    CHECK(exact.mean == Approx(0.0).margin(0.11));
    // As the program fits: weights for outliers and extra scatter may cost something, but not ten per cent.
    const auto usual = pulls(seed, {}, curves);
    CHECK(usual.sigma > 0.9);
    CHECK(usual.sigma < 1.1);
    CHECK(usual.mean == Approx(0.0).margin(0.11));
}

TEST_CASE("shared errors that are left out make the rate's error too small", "[decline_rate]") {
    constexpr std::uint64_t seed = 4711;
    CAPTURE(seed);
    Random random(seed);
    std::vector<double> honest, careless;
    for (int i = 0; i < 400; ++i) {
        auto curve = six_nights(random);
        const auto rate = rate_of(line_through(curve, plain));
        for (auto& point : curve.points)
            point.common_err_mag.clear();
        const auto alone = rate_of(line_through(curve, plain));
        honest.push_back((rate.value - true_rate) / rate.err);
        careless.push_back((alone.value - true_rate) / alone.err);
    }
    CHECK(spread_of(careless).sigma > spread_of(honest).sigma + 0.05);
}

TEST_CASE("an offset common to all points leaves the rate and its error alone", "[decline_rate]") {
    const auto curve = quiet_fade();
    const auto alone = line_through(curve, plain);
    auto shared = curve;
    shared.common_names = {"catalogue zero point"};
    for (auto& point : shared.points)
        point.common_err_mag = {0.2};
    const auto with = line_through(shared, plain);
    CHECK(rate_of(with).value == Approx(rate_of(alone).value).epsilon(1e-6));
    CHECK(rate_of(with).err == Approx(rate_of(alone).err).epsilon(1e-6));
    // The level does carry it: variances add.
    CHECK(with.covariance(0, 0) == Approx(alone.covariance(0, 0) + 0.2 * 0.2).epsilon(1e-6));
}

TEST_CASE("a common error that grows with time adds its own rate in quadrature", "[decline_rate]") {
    // V = s (t − t0) lies in the space of the model, so that C = D + V Vᵀ adds exactly s² to the variance.
    const auto curve = quiet_fade();
    const auto alone = rate_of(line_through(curve, plain));
    constexpr double drift_mag_per_day = 0.004;
    auto drifting = curve;
    drifting.common_names = {"sensor ageing"};
    for (auto& point : drifting.points)
        point.common_err_mag = {drift_mag_per_day * (point.bjd_tdb - epoch_bjd - 3.0)};
    const auto with = rate_of(line_through(drifting, plain));
    CHECK(with.value == Approx(alone.value).epsilon(1e-6));
    CHECK(with.err == Approx(std::hypot(alone.err, drift_mag_per_day)).epsilon(1e-6));
    CHECK(with.err > 1.2 * alone.err);
}

TEST_CASE("the sign of a common error tells which points err together", "[decline_rate]") {
    // First and last night wrong by the same amount tilt nothing; wrong by opposite amounts they tilt most.
    auto curve = quiet_fade();
    curve.common_names = {"colour term"};
    const auto with_ends = [&](double first, double last) {
        for (auto& point : curve.points)
            point.common_err_mag = {0.0};
        curve.points.front().common_err_mag = {first};
        curve.points.back().common_err_mag = {last};
        return rate_of(line_through(curve, plain)).err;
    };
    CHECK(with_ends(0.05, -0.05) > 1.15 * with_ends(0.05, 0.05));
    CHECK(with_ends(0.05, -0.05) == Approx(with_ends(-0.05, 0.05)).epsilon(1e-9));
}
