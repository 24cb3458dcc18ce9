// SPDX-License-Identifier: MIT
// One band's curve through everything that is asked of it. The shapes are invented, their truth is known.
#include "lightcurve/analysis.hpp"

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;
using lightcurve::Analysis;
using lightcurve::LightCurve;
using numerics::Random;

namespace {

template <class Shape>
LightCurve observed(const Shape& shape, std::span<const double> days, double err, std::uint64_t seed) {
    Random random(seed);
    LightCurve curve = empty_curve();
    for (const double t : days)
        curve.points.push_back(measured(t, shape(t) + random.gaussian(0.0, err), err));
    return curve;
}

std::vector<double> every(double step, double from, double to) {
    std::vector<double> days;
    for (double t = from; t <= to; t += step)
        days.push_back(t);
    return days;
}

// A plateau of 90 days, a drop of 2 mag within some days, and ⁵⁶Co's slope after it.
double plateau_shape(double t) {
    const double cobalt = lightcurve::cobalt56_decline_mag_per_day;
    return 15.0 + cobalt * t + 2.0 / (1.0 + std::exp(-(t - 90.0) / 4.0));
}

Analysis analysed(LightCurve curve, const lightcurve::AnalysisOptions& options = {}) {
    return lightcurve::analyse(curve, options);
}

const lightcurve::Rate* rate_named(const Analysis& analysis, std::string_view name) {
    for (const lightcurve::Rate& rate : analysis.rates) {
        if (rate.name == name) return &rate;
    }
    return nullptr;
}

bool chose(const Analysis& analysis, std::string_view name) {
    INFO(analysis.choice.why);
    return analysis.chosen() != nullptr && analysis.chosen()->model == name;
}

}  // namespace

TEST_CASE("a straight fade is a straight line, with the rate over all of it", "[analysis]") {
    const auto days = every(2.5, 0.0, 40.0);
    const auto a = analysed(observed([](double t) { return 15.0 + 0.05 * t; }, days, 0.02, 11));
    CHECK(chose(a, "straight-line"));
    REQUIRE(a.decline);
    CHECK(std::abs(a.decline->mag_per_day.value - 0.05) < 4.0 * a.decline->mag_per_day.err);
    CHECK(a.decline->from_bjd_tdb == epoch_bjd);
    CHECK(a.decline->to_bjd_tdb == epoch_bjd + 40.0);
    CHECK_FALSE(a.peak);
    CHECK_FALSE(a.delta_m15);
    CHECK_FALSE(a.plateau);
    CHECK_FALSE(a.tail_over_cobalt);
}

TEST_CASE("after a break the decline is that of the last piece", "[analysis]") {
    const auto shape = [](double t) {
        return 15.0 + 0.1 * std::min(t, 20.0) + 0.02 * std::max(t - 20.0, 0.0);
    };
    const auto a = analysed(observed(shape, every(2.0, 0.0, 60.0), 0.02, 12));
    CHECK(chose(a, "broken-line-1"));
    REQUIRE(a.decline);
    CHECK(std::abs(a.decline->mag_per_day.value - 0.02) < 4.0 * a.decline->mag_per_day.err);
    CHECK(a.decline->from_bjd_tdb == Approx(epoch_bjd + 20.0).epsilon(0).margin(2.0));
}

TEST_CASE("one point five magnitudes off makes no spike of breaks", "[analysis]") {
    auto curve = observed([](double t) { return 15.0 + 0.05 * t; }, every(2.0, 0.0, 40.0), 0.02, 13);
    curve.points[8].magnitude_mag = *curve.points[8].magnitude_mag + 5.0;
    const auto a = analysed(curve);
    CHECK(chose(a, "straight-line"));
    REQUIRE(a.decline);
    CHECK(std::abs(a.decline->mag_per_day.value - 0.05) < 4.0 * a.decline->mag_per_day.err);
    CHECK(a.decline->mag_per_day.err < 0.002);
}

TEST_CASE("a plateau is told with its drop, and the tail begins after it", "[analysis]") {
    const lightcurve::AnalysisOptions options{
        .context = {.explosion_bjd_tdb = ValueWithError{epoch_bjd - 10.0, 0.5}}};
    const auto a = analysed(observed(plateau_shape, every(3.0, 0.0, 200.0), 0.02, 14), options);
    REQUIRE(a.plateau);
    CHECK(std::abs(a.plateau->end_bjd_tdb.value - (epoch_bjd + 90.0)) < 4.0 * a.plateau->end_bjd_tdb.err);
    CHECK(a.plateau->end_bjd_tdb.err < 1.0);
    CHECK(std::abs(a.plateau->drop_mag.value - 2.0) < 4.0 * a.plateau->drop_mag.err);
    REQUIRE(a.plateau->length_d);
    CHECK(a.plateau->length_d->value == Approx(100.0).epsilon(0).margin(2.0));
    CHECK(a.plateau->length_d->err >= 0.5);
    const auto* tail = rate_named(a, "tail");
    REQUIRE(tail != nullptr);
    CHECK(tail->interval.from_bjd_tdb > epoch_bjd + 90.0 + 8.0);
    REQUIRE(a.tail_over_cobalt);
    CHECK(std::abs(a.tail_over_cobalt->value - 1.0) < 4.0 * a.tail_over_cobalt->err);
    CHECK(a.tail_over_cobalt->err < 0.1);
}

TEST_CASE("a peak is found with its fade in 15 days, on the transient's own clock", "[analysis]") {
    // A Gaussian in magnitudes below a line: near its top 15 + t²/(2 · 12²).
    const auto shape = [](double t) {
        return 17.0 - 2.0 * std::exp(-t * t / 288.0) + 0.015 * std::max(t, 0.0);
    };
    const auto curve = observed(shape, every(1.5, -14.0, 45.0), 0.015, 15);
    const auto a = analysed(curve);
    REQUIRE(a.peak);
    CHECK(std::abs(a.peak->bjd_tdb.value - epoch_bjd) < 4.0 * a.peak->bjd_tdb.err + 0.5);
    CHECK(a.peak->mag.value == Approx(15.0).epsilon(0).margin(0.03));
    REQUIRE(a.delta_m15);
    CHECK(std::abs(a.delta_m15->value - (shape(15.0) - 15.0)) < 4.0 * a.delta_m15->err);
    REQUIRE(rate_named(a, "early") != nullptr);
    const auto far = analysed(curve, {.context = {.redshift = 0.2}});
    REQUIRE(far.delta_m15);
    CHECK(std::abs(far.delta_m15->value - (shape(18.0) - 15.0)) < 4.0 * far.delta_m15->err);
}

TEST_CASE("two observers with an offset are fitted as one, and the offset is told", "[analysis]") {
    const auto shape = [](double t) { return 15.0 + 0.05 * t; };
    auto own = observed(shape, every(3.0, 0.0, 40.0), 0.02, 16);
    auto other = observed([&](double t) { return shape(t) + 0.15; }, every(3.0, 1.5, 40.0), 0.02, 17);
    other.series = {"friend"};
    auto merged = lightcurve::merge_series({own, other});
    const auto a = lightcurve::analyse(merged, {});
    CHECK(chose(a, "straight-line"));
    REQUIRE(a.offsets.size() == 1);
    CHECK(a.offsets[0].series == "friend");
    CHECK(std::abs(a.offsets[0].mag.value - 0.15) < 4.0 * a.offsets[0].mag.err);
    CHECK(a.offsets[0].mag.err < 0.03);
    CHECK(std::abs(a.decline->mag_per_day.value - 0.05) < 4.0 * a.decline->mag_per_day.err);
}

TEST_CASE("what cannot be fitted is refused in words, model by model", "[analysis]") {
    auto one = empty_curve();
    one.points.push_back(measured(0.0, 15.0, 0.02));
    auto limits = empty_curve();
    for (int i = 0; i < 5; ++i)
        limits.points.push_back(limit(i, 17.0));
    auto one_time = empty_curve();
    for (int i = 0; i < 5; ++i)
        one_time.points.push_back(measured(3.0, 15.0 + 0.01 * i, 0.02));
    for (const LightCurve& curve : {one, limits, one_time, empty_curve()}) {
        const auto a = analysed(curve);
        CHECK(a.fits.empty());
        CHECK(a.chosen() == nullptr);
        CHECK_FALSE(a.choice.why.empty());
        CHECK_FALSE(a.refused.empty());
        for (const lightcurve::Refusal& refusal : a.refused) {
            CHECK_FALSE(refusal.problem.what.empty());
            CHECK_FALSE(refusal.problem.mend.empty());
        }
    }
}

TEST_CASE("two points carry a line and nothing else", "[analysis]") {
    auto two = empty_curve();
    two.points = {measured(0.0, 15.0, 0.02), measured(10.0, 15.5, 0.02)};
    const auto a = analysed(two);
    REQUIRE(a.fits.size() == 1);
    CHECK(chose(a, "straight-line"));
    // √2 · 0.02 mag over 10 days: arithmetic.
    CHECK(a.decline->mag_per_day.value == Approx(0.05));
    CHECK(a.decline->mag_per_day.err == Approx(std::sqrt(2.0) * 0.002));
}

TEST_CASE("points that were copied count once, and it is said", "[analysis]") {
    auto curve = observed([](double t) { return 15.0 + 0.05 * t; }, every(3.0, 0.0, 30.0), 0.02, 18);
    const std::size_t n = curve.points.size();
    const auto copies = curve.points;
    curve.points.insert(curve.points.end(), copies.begin(), copies.end());
    const auto a = lightcurve::analyse(curve, {});
    CHECK(curve.points.size() == n);
    REQUIRE_FALSE(a.remarks.empty());
    CHECK_THAT(a.remarks[0], Catch::Contains("11 points are there twice and count once"));
}

TEST_CASE("rates are told of the intervals asked for, or why not", "[analysis]") {
    const auto curve = observed([](double t) { return 15.0 + 0.05 * t; }, every(2.0, 0.0, 40.0), 0.02, 19);
    const auto a = analysed(
        curve, {.rates = {{epoch_bjd + 10.0, epoch_bjd + 20.0}, {epoch_bjd + 80.0, epoch_bjd + 90.0}}});
    const auto* asked = rate_named(a, "asked");
    REQUIRE(asked != nullptr);
    CHECK(asked->n == 6);
    CHECK(std::abs(asked->mag_per_day.value - 0.05) < 4.0 * asked->mag_per_day.err);
    REQUIRE(a.remarks.size() == 1);
    CHECK_THAT(a.remarks[0], Catch::Contains("it needs two detections there"));
}

TEST_CASE("a name of no model is refused with the list of those there are", "[analysis]") {
    CHECK(lightcurve::check_model_name("straight-line"));
    CHECK(lightcurve::check_model_name("gaussian-process"));
    const auto refused = lightcurve::check_model_name("cubic");
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().mend, Catch::Contains("broken-line-1") && Catch::Contains("gaussian-process"));
    CHECK(refused.error().kind == ProblemKind::request);
}

TEST_CASE("limits at the end, brighter than the fade is then, leave its rate alone", "[analysis]") {
    const auto shape = [](double t) { return 15.0 + 0.05 * t; };
    const auto bare = observed(shape, every(2.0, 0.0, 40.0), 0.02, 20);
    // Limits half a magnitude brighter than the star: they allow the fade.
    auto curve = bare;
    for (double t = 42.0; t <= 60.0; t += 3.0)
        curve.points.push_back(limit(t, shape(t) - 0.5));
    const auto without = analysed(bare), with = analysed(curve);
    CHECK(chose(with, "straight-line"));
    REQUIRE(without.decline);
    REQUIRE(with.decline);
    CHECK(std::abs(with.decline->mag_per_day.value - without.decline->mag_per_day.value) <
          0.5 * without.decline->mag_per_day.err);
}

TEST_CASE("points in any order give the same analysis", "[analysis]") {
    auto curve = observed(plateau_shape, every(4.0, 0.0, 200.0), 0.02, 21);
    const auto sorted = analysed(curve);
    Random random(22);
    for (std::size_t i = curve.points.size() - 1; i > 0; --i)
        std::swap(curve.points[i],
                  curve.points[static_cast<std::size_t>(random.uniform(0.0, static_cast<double>(i + 1)))]);
    const auto turned = lightcurve::analyse(curve, {});
    CHECK(std::is_sorted(curve.points.begin(), curve.points.end(),
                         [](const auto& a, const auto& b) { return a.bjd_tdb < b.bjd_tdb; }));
    REQUIRE(sorted.chosen() != nullptr);
    REQUIRE(turned.chosen() != nullptr);
    CHECK(turned.chosen()->model == sorted.chosen()->model);
    CHECK(turned.decline->mag_per_day.value ==
          Approx(sorted.decline->mag_per_day.value).epsilon(0).margin(1e-9));
}

TEST_CASE("a maximum that lies between the points, above all of them, is none", "[analysis]") {
    auto curve = empty_curve();
    for (int i = 0; i < 8; ++i)
        curve.points.push_back(measured(1000.0 * i, 15.0 + 0.02 * (i % 3), 0.02));
    CHECK_FALSE(analysed(curve).peak);
}

TEST_CASE("a drop in a gap of the nights has the gap for its error", "[analysis]") {
    std::vector<double> days = every(3.0, 0.0, 70.0);
    const auto later = every(3.0, 130.0, 200.0);
    days.insert(days.end(), later.begin(), later.end());
    const auto a = analysed(observed(plateau_shape, days, 0.02, 21));
    REQUIRE(a.plateau);
    // A day like any other of those from 69 to 130: 61 / √12 = 17.6, arithmetic.
    CHECK(a.plateau->end_bjd_tdb.err >= 17.6);
    CHECK(std::abs(a.plateau->end_bjd_tdb.value - (epoch_bjd + 90.0)) < 2.0 * a.plateau->end_bjd_tdb.err);
    REQUIRE_FALSE(a.remarks.empty());
    CHECK_THAT(a.remarks.back(), Catch::Contains("lies in a gap of 61 days"));
}

TEST_CASE("a maximum that points contradict is none", "[analysis]") {
    // A fade with a hump: what is brightest comes first.
    const auto shape = [](double t) {
        return 12.0 + 0.06 * t - 0.8 * std::exp(-(t - 25.0) * (t - 25.0) / 50.0);
    };
    const auto a = analysed(observed(shape, every(1.5, 0.0, 60.0), 0.02, 22));
    CHECK_FALSE(a.peak);
}
