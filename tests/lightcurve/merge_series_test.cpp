// SPDX-License-Identifier: MIT
#include "lightcurve/merge_series.hpp"

#include <algorithm>
#include <cmath>

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::lightcurve;

namespace {

LightCurve named(const std::string& series, std::vector<Point> points) {
    LightCurve curve = test::empty_curve();
    curve.series = {series};
    curve.points = std::move(points);
    return curve;
}

// `n` nights of a fade of 0.02 mag/d, every `step` days, this much fainter and with that noise.
LightCurve fade(const std::string& series, std::size_t n, double first_day, double step, double offset_mag,
                double err_mag, numerics::Random& random) {
    LightCurve curve = named(series, {});
    for (std::size_t i = 0; i < n; ++i) {
        const double days = first_day + step * static_cast<double>(i);
        curve.points.push_back(
            test::measured(days, 15.0 + 0.02 * days + offset_mag + random.gaussian(0.0, err_mag), err_mag));
    }
    return curve;
}

}  // namespace

TEST_CASE("Copies of a measurement are those that agree in every number", "[merge]") {
    const Point seen = test::measured(1.0, 15.0, 0.1);
    Point without_err = seen, with_flux = seen, limit = seen;
    without_err.random_err_mag = std::nan("");
    with_flux.flux = Flux{1.0e4, std::nan("")};
    limit.is_limit = true;
    limit.limit_mag = 18.0;
    Point surer = limit, shared = seen;
    surer.limit_sigma = 5.0;
    shared.common_err_mag = {0.02};
    // A point whose error was no number passed for a copy of the good one of its time, or the good one for a
    // copy of it; limits of 3 and of 5 sigma did for each other.
    LightCurve curve =
        named("own", {without_err, seen, with_flux, seen, limit, surer, shared, limit, without_err});
    CHECK(drop_copies(curve) == 2);
    REQUIRE(curve.points.size() == 7);
    CHECK(curve.points[1].random_err_mag == 0.1);
    CHECK_FALSE(check_point(curve, 0));
    CHECK_FALSE(check_point(curve, 2));
}

TEST_CASE("Merged series keep whose each point is, and an offset is a common error of its own", "[merge]") {
    LightCurve own = named("own", {test::measured(0, 15.0, 0.01), test::measured(2, 15.1, 0.01)});
    own.common_names = {"zero point"};
    own.points[0].common_err_mag = {0.02};  // the second has none
    LightCurve other = named("ABC", {test::measured(1, 15.2, 0.03)});
    other.common_names = {"zero point"};
    other.points[0].common_err_mag = {0.04};
    const LightCurve merged = merge_series({own, other, named("own", {test::limit(3, 18.0)})}, 0.15);
    CHECK(merged.series == std::vector<std::string>{"own", "ABC", "own (2)"});
    CHECK(merged.common_names ==
          std::vector<std::string>{"zero point", "ABC: zero point", "offset of ABC", "offset of own (2)"});
    REQUIRE(merged.points.size() == 4);
    CHECK(merged.points[0].common_err_mag == std::vector<double>{0.02, 0, 0, 0});
    CHECK(merged.points[1].common_err_mag == std::vector<double>{0, 0.04, 0.15, 0});
    CHECK(merged.points[1].series == 1);
    CHECK(merged.points[2].common_err_mag == std::vector<double>{0, 0, 0, 0});
    CHECK(merged.points[3].common_err_mag == std::vector<double>{0, 0, 0, 0.15});
    CHECK(merged.points[3].series == 2);
    for (std::size_t i = 0; i < 4; ++i)
        CHECK(check_point(merged, i));
}

TEST_CASE("One curve stays as it is; a merged one moves as one; none is an empty curve", "[merge]") {
    const LightCurve one = named("a", {test::measured(0, 15.0, 0.01)});
    CHECK(merge_series({one}).common_names.empty());
    CHECK(merge_series({one, named("b", one.points)}, 0.0).common_names.empty());
    CHECK(merge_series({}).points.empty());
    const LightCurve two = merge_series({named("b", one.points), named("c", one.points)});
    const LightCurve three = merge_series({one, two});
    CHECK(three.series == std::vector<std::string>{"a", "b", "c"});
    CHECK(three.common_names == std::vector<std::string>{"b: offset of c", "offset of b"});
    CHECK(three.points[2].series == 2);
    CHECK(three.points[2].common_err_mag == std::vector<double>{usual_offset_mag, usual_offset_mag});
}

TEST_CASE("Two series with an offset, fitted together: offset and rate with honest errors", "[merge]") {
    // Offsets are drawn from their prior, as its sigma claims.
    constexpr int trials = 4000;
    numerics::Random random(61);
    std::vector<double> rate_pulls, offset_pulls, rate_errs;
    double alone_err = 0.0;
    for (int i = 0; i < trials; ++i) {
        const double offset_mag = random.gaussian(0.0, usual_offset_mag);
        LightCurve own = fade("own", 12, 0.0, 2.0, 0.0, 0.02, random);
        LightCurve other = fade("ABC", 8, 15.0, 3.0, offset_mag, 0.03, random);
        alone_err = test::rate_of(test::line_through(own, test::plain)).err;
        const LightCurve curve = merge_series({std::move(own), std::move(other)});
        const CurveFit fit = test::line_through(curve, test::plain);
        const auto rate = test::rate_of(fit);
        const auto offsets = offsets_of(curve, fit);
        REQUIRE(offsets.size() == 1);
        CHECK(offsets[0].series == "ABC");
        rate_pulls.push_back((rate.value - 0.02) / rate.err);
        offset_pulls.push_back((offsets[0].mag.value - offset_mag) / offsets[0].mag.err);
        rate_errs.push_back(rate.err);
    }
    // 4000 pulls: their mean is known to 0.016, their spread to 0.011.
    const auto rates = test::spread_of(rate_pulls), offsets = test::spread_of(offset_pulls);
    INFO("rate pulls " << rates.mean << " ± " << rates.sigma << ", offset pulls " << offsets.mean << " ± "
                       << offsets.sigma);
    CHECK(std::abs(rates.mean) < 0.05);
    CHECK(std::abs(offsets.mean) < 0.05);
    CHECK(rates.sigma > 0.95);
    CHECK(rates.sigma < 1.05);
    CHECK(offsets.sigma > 0.95);
    CHECK(offsets.sigma < 1.05);
    // What the second telescope is for.
    CHECK(rate_errs.back() < 0.9 * alone_err);
}

TEST_CASE("An offset far beyond its prior is pulled only as far as the points allow", "[merge]") {
    numerics::Random random(7);
    LightCurve own = fade("own", 20, 0.0, 2.0, 0.0, 0.01, random);
    LightCurve other = fade("ABC", 20, 1.0, 2.0, 0.5, 0.01, random);
    const LightCurve curve = merge_series({std::move(own), std::move(other)}, 0.1);
    const CurveFit fit = test::line_through(curve, test::plain);
    // 20 and 20 points of 0.01 mag: the offset is known to 0.0032 mag, the prior of 0.1 pulls it by
    // 0.5 × (0.0032/0.1)² = 0.0005.
    const auto offset = offsets_of(curve, fit).at(0).mag;
    CHECK(offset.value == Approx(0.5).margin(4.0 * 0.0032));
    CHECK(offset.err == Approx(0.01 * std::sqrt(2.0 / 20.0)).epsilon(0.05));
}
