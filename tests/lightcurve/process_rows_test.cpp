// SPDX-License-Identifier: MIT
// A Gaussian that touches a likelihood has its value, and its slope, where it touches: checked against the
// likelihoods themselves, with slopes by central differences.
#include "lightcurve/process_rows.hpp"

#include <numbers>

#include "lightcurve/censored.hpp"
#include "lightcurve/curves.hpp"
#include "lightcurve/process_clock.hpp"
#include "lightcurve/student_t.hpp"

using namespace emberline;
using namespace emberline::test;
using lightcurve::ProcessRow;
using lightcurve::RowNoise;
using lightcurve::Touch;
using lightcurve::touch;

namespace {

double gaussian(double z2, double variance) {
    return z2 / variance + std::log(2.0 * std::numbers::pi * variance);
}

// What the touching Gaussian says of another magnitude.
double touched(const Touch& t, double mag, double extra_scatter_mag = 0.0) {
    const double off = t.value - mag;
    return gaussian(off * off, t.total_variance(extra_scatter_mag)) + t.correction;
}

template <class F>
double slope_of(F&& f, double mag) {
    constexpr double step = 1e-4;
    return (f(mag + step) - f(mag - step)) / (2.0 * step);
}

ProcessRow flux_row(double flux, double err) {
    return {.kind = ProcessRow::Kind::flux, .value = flux, .err = err};
}

double flux_depth(const ProcessRow& row, double mag) {
    const double off = row.value - flux_of(mag);
    return gaussian(off * off, row.err * row.err);
}

}  // namespace

TEST_CASE("a magnitude is its own Gaussian", "[process]") {
    const ProcessRow row{.value = 15.2, .err = 0.03};
    const Touch t = touch(row, 14.0, 0.5, {});
    CHECK(t.value == 15.2);
    CHECK(t.total_variance(0.0) == Approx(9e-4));
    CHECK(t.total_variance(0.04) == Approx(25e-4));
    CHECK(t.correction == 0.0);
    CHECK(t.weight == 1.0);
    CHECK(t.z2 == Approx(1.44 / 9e-4));
}

TEST_CASE("the Gaussian of a flux touches its likelihood, whatever the sign of the flux", "[process]") {
    const double err = flux_of(20.0);
    for (const double flux : {50.0 * err, 3.0 * err, 0.5 * err, 0.0, -2.0 * err}) {
        for (const double mag : {15.7, 18.5, 20.0, 22.5}) {
            CAPTURE(flux / err, mag);
            const auto row = flux_row(flux, err);
            const Touch t = touch(row, mag, 0.1, {});
            CHECK(touched(t, mag) == Approx(flux_depth(row, mag)).epsilon(1e-9));
            CHECK(slope_of([&](double m) { return touched(t, m); }, mag) ==
                  Approx(slope_of([&](double m) { return flux_depth(row, m); }, mag)).epsilon(1e-4));
            CHECK(t.total_variance(0.0) > 0.0);
        }
    }
    // A bright flux is a magnitude.
    const auto bright = touch(flux_row(100.0 * err, err), 15.0, 0.0, {});
    CHECK(bright.value == Approx(15.0).margin(1e-9));
    CHECK(bright.total_variance(0.0) == Approx(std::pow(mag_per_relative_flux / 100.0, 2)));
}

TEST_CASE("the Gaussian of a limit touches its probability, and one against the curve lets go", "[process]") {
    const double limit_flux = flux_of(19.0);
    const ProcessRow row{.kind = ProcessRow::Kind::limit, .value = limit_flux, .err = limit_flux / 3.0};
    for (const double mistaken : {0.0, 1e-3}) {
        const auto depth = [&](double mag) {
            return lightcurve::censored_term((row.value - flux_of(mag)) / row.err, mistaken).minus_two_log;
        };
        for (const double mag : {18.3, 19.0, 19.6}) {
            CAPTURE(mag, mistaken);
            const Touch t = touch(row, mag, 0.1, {.mistaken_limit_probability = mistaken});
            CHECK(touched(t, mag) == Approx(depth(mag)).epsilon(1e-9));
            CHECK(slope_of([&](double m) { return touched(t, m); }, mag) ==
                  Approx(slope_of(depth, mag)).epsilon(1e-4));
        }
    }
    // Neither one far below the light, if it may be a mistake, nor one far above it says anything.
    CHECK(touch(row, 14.0, 0.1, {.mistaken_limit_probability = 1e-3}).total_variance(0.0) == 1e4);
    CHECK(touch(row, 24.0, 0.1, {}).total_variance(0.0) > 100.0);
    // It stands apart from the extra scatter.
    const Touch t = touch(row, 19.0, 0.1, {});
    CHECK(t.total_variance(0.3) == t.total_variance(0.0));
}

TEST_CASE("the Gaussian of a Student-t lies nowhere above it and touches it", "[process]") {
    const ProcessRow row{.value = 15.0, .err = 0.1};
    for (const double nu : {2.0, 3.0, 10.0}) {
        const RowNoise noise{.extra_scatter_mag = 0.05, .student_nu = nu};
        const double scale2 = 0.01 + 0.0025;
        const auto depth = [&](double mag) {
            const double z2 = (row.value - mag) * (row.value - mag) / scale2;
            return lightcurve::tail_constant(nu) + lightcurve::tail_depth(z2, nu) + std::log(scale2);
        };
        for (const double mag : {15.0, 15.2, 16.5}) {
            CAPTURE(nu, mag);
            const Touch t = touch(row, mag, 0.0, noise);
            CHECK(touched(t, mag, 0.05) == Approx(depth(mag)).epsilon(1e-9));
            for (double other = 13.0; other < 17.0; other += 0.1)
                CHECK(touched(t, other, 0.05) >= depth(other) - 1e-9);
        }
        // A curve that is itself unsure does not make a point outlying, nor surer than it is.
        CHECK(touch(row, 15.0, scale2, noise).weight == Approx(1.0));
        CHECK(touch(row, 20.0, 0.0, noise).weight < 0.01);
    }
}

TEST_CASE("running medians are moved by a slope nowhere, and by a bad point hardly", "[process]") {
    auto curve = empty_curve();
    std::vector<std::size_t> used;
    for (int i = 0; i < 12; ++i) {
        curve.points.push_back(measured(2.0 * i, 14.0 + 0.3 * i, 0.02));
        used.push_back(used.size());
    }
    curve.points.push_back(limit(7.0, 18.0));
    used.push_back(used.size());
    auto rows = lightcurve::process_rows(curve, used, epoch_bjd);
    REQUIRE(rows.size() == 13);
    CHECK(rows[4].kind == ProcessRow::Kind::limit);
    for (std::size_t i = 0; i < rows.size(); ++i)
        CHECK(lightcurve::running_medians(rows)[i] == Approx(14.0 + 0.15 * rows[i].days));
    for (const std::size_t bad : {0, 6, 11}) {
        CAPTURE(bad);
        auto spoilt = curve;
        spoilt.points[bad].magnitude_mag = 9.0;
        const auto spoilt_rows = lightcurve::process_rows(spoilt, used, epoch_bjd);
        const auto medians = lightcurve::running_medians(spoilt_rows);
        for (std::size_t i = 0; i < rows.size(); ++i)
            CHECK(std::abs(medians[i] - (14.0 + 0.15 * rows[i].days)) < 0.61);
    }
}

TEST_CASE("the clock of a transient goes on without jumps, fast before its maximum and slowly after it",
          "[process]") {
    const lightcurve::ProcessClock clock{.brightest_days = 10.0, .slowing_d = 20.0};
    const auto rate = [&](double days) { return (clock.at(days + 1e-5) - clock.at(days - 1e-5)) / 2e-5; };
    CHECK(rate(10.0) == Approx(1.0).epsilon(1e-5));
    CHECK(rate(30.0) == Approx(0.5).epsilon(1e-5));
    CHECK(rate(-10.0) == Approx(2.0).epsilon(1e-5));
    CHECK(rate(-500.0) == Approx(3.0).epsilon(1e-5));
    for (double days = -100.0; days < 200.0; days += 0.5) {
        CHECK(clock.at(days + 0.5) - clock.at(days) > 0.0);
        CHECK(std::abs(rate(days + 0.5) - rate(days)) < 0.03);
    }
    CHECK(lightcurve::ProcessClock{}.at(12.5) == 12.5);
    CHECK(lightcurve::ProcessClock{}.is_plain());
}
