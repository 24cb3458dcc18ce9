// SPDX-License-Identifier: MIT
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using numerics::Random;

namespace {

constexpr double true_rate = 0.05;

lightcurve::LightCurve fade(Random& random, int nights, double err, double scatter) {
    auto curve = empty_curve();
    for (int i = 0; i < nights; ++i) {
        const double t = 1.5 * i;
        const double noise = random.gaussian(0.0, std::hypot(err, scatter));
        curve.points.push_back(measured(t, 14.8 + true_rate * t + noise, err));
    }
    return curve;
}

bool says(const lightcurve::CurveFit& fit, const std::string& words) {
    for (const std::string& remark : fit.remarks) {
        if (remark.find(words) != std::string::npos) return true;
    }
    return false;
}

}  // namespace

TEST_CASE("one bad night is weighted down wherever it stands", "[outliers]") {
    constexpr std::uint64_t seed = 31;
    CAPTURE(seed);
    Random random(seed);
    const auto clean = fade(random, 10, 0.02, 0.0);
    const auto before = rate_of(line_through(clean));
    for (std::size_t bad = 0; bad < clean.points.size(); ++bad) {
        for (const double off : {-1.0, 0.5, 5.0}) {
            CAPTURE(bad, off);
            auto curve = clean;
            *curve.points[bad].magnitude_mag += off;
            const auto fit = line_through(curve);
            CHECK(fit.points[bad].weight < 0.01);
            CHECK(says(fit, "1 point lies away from the others and counts little"));
            // The night is lost: as good as a fit of the nine others.
            auto others = clean;
            others.points.erase(others.points.begin() + static_cast<std::ptrdiff_t>(bad));
            const auto nine = rate_of(line_through(others));
            CHECK(rate_of(fit).value == Approx(nine.value).margin(0.3 * nine.err));
            CHECK(rate_of(fit).err == Approx(nine.err).epsilon(0.05));
            CHECK(rate_of(fit).value == Approx(true_rate).margin(4.0 * before.err));
        }
    }
}

TEST_CASE("without robust weights a bad night tilts the line", "[outliers]") {
    Random random(31);
    auto curve = fade(random, 10, 0.02, 0.0);
    *curve.points.back().magnitude_mag += 1.0;
    const auto fit = line_through(curve, plain);
    CHECK(rate_of(fit).value > true_rate + 10.0 * rate_of(fit).err);
    for (const auto& point : fit.points)
        CHECK(point.weight == 1.0);
}

TEST_CASE("scatter beyond the errors is found when it is there, and the rate's error holds", "[scatter]") {
    constexpr std::uint64_t seed = 77;
    constexpr int curves = 1000;
    CAPTURE(seed);
    Random random(seed);
    std::vector<double> found, pulls;
    int silent = 0;
    for (int i = 0; i < curves; ++i) {
        const auto fit = line_through(fade(random, 30, 0.02, 0.05));
        if (fit.extra_scatter_mag == 0.0) ++silent;
        CHECK(says(fit, "scatter more than their errors") == (fit.extra_scatter_mag > 0.0));
        found.push_back(fit.extra_scatter_mag);
        const auto rate = rate_of(fit);
        pulls.push_back((rate.value - true_rate) / rate.err);
    }
    CHECK(silent == 0);
    // With 28 degrees of freedom one curve tells 0.05 mag to 15 per cent, 1000 of them to half a per cent.
    // Robust weights cost a little of it.
    CHECK(spread_of(found).mean == Approx(0.05).margin(0.003));
    CHECK(spread_of(found).sigma < 0.010);
    // Errors that are themselves estimated widen pulls as Student's t does: sqrt(28/26) = 1.04, and 1000
    // curves tell it to 0.023.
    CHECK(spread_of(pulls).sigma > 0.95);
    CHECK(spread_of(pulls).sigma < 1.1);
}

TEST_CASE("scatter that is not there is rarely found", "[scatter]") {
    constexpr std::uint64_t seed = 78;
    constexpr int curves = 400;
    CAPTURE(seed);
    for (const int nights : {6, 30}) {
        CAPTURE(nights);
        Random random(seed);
        int found = 0;
        std::vector<double> pulls;
        for (int i = 0; i < curves; ++i) {
            const auto fit = line_through(fade(random, nights, 0.02, 0.0));
            if (fit.extra_scatter_mag > 0.0) ++found;
            const auto rate = rate_of(fit);
            pulls.push_back((rate.value - true_rate) / rate.err);
        }
        // One in twenty is meant: 20 of 400, give or take 4.4.
        CHECK(found < 34);
        CHECK(spread_of(pulls).sigma > 0.9);
        CHECK(spread_of(pulls).sigma < 1.1);
    }
}

TEST_CASE("extra scatter is never invented from three points", "[scatter]") {
    auto curve = empty_curve();
    curve.points = {measured(0.0, 15.0, 0.01), measured(1.0, 15.5, 0.01), measured(2.0, 15.1, 0.01)};
    const auto fit = line_through(curve);
    CHECK(fit.extra_scatter_mag == 0.0);
    CHECK(says(fit, "the errors of this fit are too small"));
}
