// SPDX-License-Identifier: MIT
#include "real_series.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::test {
namespace {

constexpr double mid_transit_bjd_tdb = 2454420.447187 + 2.15000800 * 1715;

// Trapezoid of a transit on a base that drifts with time and airmass.
// p: mid-transit (days from the ephemeris), depth, duration, ingress, base, slope, airmass slope.
double trapezoid(std::span<const double> p, double days, double airmass) {
    const double inside = std::clamp((0.5 * p[2] - std::abs(days - p[0])) / p[3], 0.0, 1.0);
    return p[4] + p[5] * days + p[6] * (airmass - 1.2) + p[1] * inside;
}

double spread(const std::vector<double>& values) {
    double mean = 0.0, squares = 0.0;
    for (const double v : values)
        mean += v / static_cast<double>(values.size());
    for (const double v : values)
        squares += (v - mean) * (v - mean);
    return std::sqrt(squares / static_cast<double>(values.size() - 1));
}

}  // namespace

void check_transit(const std::vector<night::FrameMeasurement>& frames) {
    std::vector<const night::FrameMeasurement*> used;
    for (const night::FrameMeasurement& f : frames) {
        if (f.used && f.magnitude_mag && f.airmass) used.push_back(&f);
    }
    REQUIRE(used.size() >= 60);
    constexpr double sigma_mag = 0.007;
    const auto residuals = [&](std::span<const double> p, std::span<double> r) {
        if (p[2] < 0.05 || p[2] > 0.25 || p[3] < 0.004 || p[3] > 0.05) return false;
        for (std::size_t i = 0; i < used.size(); ++i) {
            r[i] = (*used[i]->magnitude_mag -
                    trapezoid(p, used[i]->bjd_tdb - mid_transit_bjd_tdb, *used[i]->airmass)) /
                   sigma_mag;
        }
        return true;
    };
    const auto fit = numerics::nonlinear_fit(
        residuals, {0.005, 0.02, 0.13, 0.018, *used.front()->magnitude_mag, 0.0, 0.0}, used.size());
    REQUIRE(fit);
    const auto& p = fit->parameters;
    std::vector<double> rest;
    for (const auto* f : used)
        rest.push_back(*f->magnitude_mag - trapezoid(p, f->bjd_tdb - mid_transit_bjd_tdb, *f->airmass));
    WARN("transit: " << p[0] * 1440.0 << " min after the published ephemeris (T0 = BJD_TDB " << std::fixed
                     << mid_transit_bjd_tdb << "), depth " << p[1] << " mag (published 0.024-0.026), scatter "
                     << spread(rest) << " mag a frame");
    CHECK(std::abs(p[0]) * 1440.0 < 15.0);
    CHECK(p[1] > 0.020);
    CHECK(p[1] < 0.032);
    CHECK(spread(rest) < 0.008);
}

void check_constant_supernova(const std::vector<night::FrameMeasurement>& frames) {
    for (const char* band : {"B", "V"}) {
        std::vector<double> transient, check;
        for (const night::FrameMeasurement& f : frames) {
            if (!f.used || f.band.name() != band || !f.magnitude_mag) continue;
            transient.push_back(*f.magnitude_mag);
            if (f.check.magnitude_mag) check.push_back(*f.check.magnitude_mag);
        }
        REQUIRE(transient.size() >= 6);
        REQUIRE(check.size() >= 6);
        WARN("SN 2022yid, " << band << ": " << transient.size() << " frames, scatter " << spread(transient)
                            << " mag (expected below 0.030), check star " << spread(check) << " mag");
        CHECK(spread(transient) < 0.030);
        CHECK(spread(check) < spread(transient));
    }
}

std::string datasets_or_warn() {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder != nullptr && *folder != '\0') return folder;
    WARN("SKIPPED: EMBERLINE_DATASETS is not set, so the real frames were not measured.");
    return "";
}

}  // namespace emberline::test
