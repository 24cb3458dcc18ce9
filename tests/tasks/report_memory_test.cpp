// SPDX-License-Identifier: MIT
#include "tasks/report_memory.hpp"

#include <catch2/catch.hpp>

using namespace emberline;
using namespace emberline::tasks;

namespace {

night::NightMeasurement measured(double mag, double random, double common) {
    night::NightMeasurement m;
    m.night = "2024-03-18";
    m.band = *parse_band("V");
    m.jd_utc = 2460388.43215;
    m.magnitude_mag = mag;
    m.random_err_mag = random;
    m.common_err_mag = common;
    m.limit_mag = 18.4;
    return m;
}

const ReportedValue usual = *reported_value(measured(13.728, 0.003, 0.004));

}  // namespace

TEST_CASE("a reported value has the total error, and comes back from its text", "[tasks][report]") {
    CHECK(usual.err_mag.value() == Approx(0.005));
    CHECK(text_of(usual) == "2460388.43215 13.728 0.005 value untransformed V");
    CHECK(parse_reported_value(text_of(usual)) == usual);
    auto limit = measured(13.7, 0.003, 0.004);
    limit.is_limit = true;
    limit.transformed = true;
    const auto value = *reported_value(limit);
    CHECK(text_of(value) == "2460388.43215 18.400 - limit transformed V");
    CHECK(parse_reported_value(text_of(value)) == value);
    CHECK_FALSE(parse_reported_value("2460388.4 13.7 0.005 value"));
    CHECK_FALSE(parse_reported_value("today 13.7 0.005 value untransformed V"));
    CHECK_FALSE(parse_reported_value("2460388.4 13.7 0.005 value untransformed V more"));
    limit.limit_mag.reset();
    CHECK_FALSE(reported_value(limit));
}

TEST_CASE("a value that moves by less than a fifth of its error is no revision", "[tasks][report]") {
    CHECK(change_of(usual, usual) == Change::same);
    const auto changed = [](auto change) {
        ReportedValue now = usual;
        change(now);
        return change_of(usual, now);
    };
    CHECK(changed([](ReportedValue& v) { v.mag += 0.0009; }) == Change::slight);
    CHECK(changed([](ReportedValue& v) { v.mag -= 0.0011; }) == Change::revised);
    CHECK(changed([](ReportedValue& v) { v.mag += 0.0001; }) == Change::same);  // not in three decimals
    CHECK(changed([](ReportedValue& v) { *v.err_mag *= 1.1; }) == Change::slight);
    CHECK(changed([](ReportedValue& v) { *v.err_mag *= 1.4; }) == Change::revised);
    CHECK(changed([](ReportedValue& v) { v.jd_utc += 0.0002; }) == Change::slight);
    CHECK(changed([](ReportedValue& v) { v.jd_utc += 0.001; }) == Change::revised);
    CHECK(changed([](ReportedValue& v) { v.transformed = true; }) == Change::revised);
    CHECK(changed([](ReportedValue& v) { v.is_limit = true; }) == Change::revised);
    CHECK(changed([](ReportedValue& v) { v.band = "TG"; }) == Change::revised);
    ReportedValue limit = usual, deeper;
    limit.is_limit = true;
    limit.err_mag.reset();
    deeper = limit;
    deeper.mag += 0.04;
    CHECK(change_of(limit, deeper) == Change::slight);
    deeper.mag += 0.02;
    CHECK(change_of(limit, deeper) == Change::revised);
}
