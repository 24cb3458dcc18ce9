// SPDX-License-Identifier: MIT
#include <algorithm>
#include <map>

#include "expected_table.hpp"
#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

// Of data/fit_lightcurve.csv, the first `count` points.
lightcurve::LightCurve table_curve(std::size_t count) {
    const auto table = expected_table("fit_lightcurve.csv");
    auto curve = empty_curve();
    for (const auto& row : table.rows) {
        if (curve.points.size() == count) break;
        curve.points.push_back(
            measured(number(table, row, "t_days"), number(table, row, "mag"), number(table, row, "sigma")));
    }
    REQUIRE(curve.points.size() == count);
    return curve;
}

std::map<std::string, double> answers() {
    const auto table = expected_table("line_checks.csv");
    std::map<std::string, double> values;
    for (const auto& row : table.rows)
        values[text(table, row, "name")] = number(table, row, "value");
    return values;
}

// What −2 ln L has beside chi²: Σ ln(2π σ²).
double log_norm(const lightcurve::LightCurve& curve) {
    double sum = 0.0;
    for (const auto& point : curve.points)
        sum += std::log(2.0 * 3.14159265358979323846 * *point.random_err_mag * *point.random_err_mag);
    return sum;
}

}  // namespace

// A Julian date in a double is good to 5e-10 d, so rates near 0.1 mag/d agree to a few 1e-10 of themselves.
TEST_CASE("a straight line is the weighted least squares worked to 50 digits elsewhere", "[line]") {
    const auto expected = answers();
    const auto curve = table_curve(9);
    const auto fit = line_through(curve, plain);
    const auto rate = rate_of(fit);
    CHECK(rate.value == Approx(expected.at("line slope mag/day")).epsilon(1e-8));
    CHECK(rate.err == Approx(expected.at("line sigma slope")).epsilon(1e-8));
    CHECK(fit.chi2 == Approx(expected.at("line chi2")).epsilon(1e-7));
    CHECK(fit.dof == 7);
    CHECK(fit.n == 9);
    CHECK(fit.n_limits == 0);

    const auto at_zero = fit.prediction->magnitude(epoch_bjd);
    CHECK(at_zero.value == Approx(expected.at("line m0")).epsilon(1e-9));
    CHECK(at_zero.err == Approx(expected.at("line sigma m0")).epsilon(1e-7));
    const auto at_ten = fit.prediction->magnitude(epoch_bjd + 10.0);
    CHECK(at_ten.value == Approx(expected.at("line mag at t=10")).epsilon(1e-9));
    CHECK(at_ten.err == Approx(expected.at("line sigma of mag at t=10")).epsilon(1e-7));

    // The epoch of reference is where level and rate do not correlate; from there the covariance at t = 0.
    const double pivot = fit.reference_bjd_tdb - epoch_bjd;
    CHECK(pivot == Approx(expected.at("line pivot time (uncorrelated) = sum wt/sum w")).margin(1e-8));
    CHECK(fit.covariance(0, 1) / std::sqrt(fit.covariance(0, 0) * fit.covariance(1, 1)) ==
          Approx(0.0).margin(1e-6));
    const double covariance = fit.covariance(0, 1) - pivot * fit.covariance(1, 1);
    CHECK(covariance == Approx(expected.at("line cov")).epsilon(1e-6));
    CHECK(covariance / (at_zero.err * rate.err) == Approx(expected.at("line corr")).epsilon(1e-6));

    CHECK(fit.bic - log_norm(curve) == Approx(expected.at("line BIC (chi2+k ln n)")).margin(1e-6));
    CHECK(fit.aicc - log_norm(curve) == Approx(expected.at("line AICc")).margin(1e-6));
    CHECK(fit.minus_two_log_likelihood - log_norm(curve) == Approx(fit.chi2).margin(1e-9));
}

TEST_CASE("one line through a broken light curve fits as badly as it should, and says so", "[line]") {
    const auto expected = answers();
    const auto curve = table_curve(18);
    const auto fit = line_through(curve, plain);
    CHECK(rate_of(fit).value == Approx(expected.at("one line slope")).epsilon(1e-8));
    CHECK(fit.chi2 == Approx(expected.at("one line chi2")).epsilon(1e-8));
    CHECK(fit.bic - log_norm(curve) == Approx(expected.at("one line BIC")).epsilon(1e-8));
    REQUIRE(fit.remarks.size() == 1);
    CHECK_THAT(fit.remarks[0], Catch::Contains("scatter more than their errors"));
}

TEST_CASE("an interval of dates uses the points inside and no others", "[line]") {
    const auto curve = table_curve(18);
    auto options = plain;
    options.to_bjd_tdb = epoch_bjd + 16.2;
    const auto fit = line_through(curve, options);
    CHECK(fit.n == 9);
    CHECK(rate_of(fit).value == Approx(answers().at("line slope mag/day")).epsilon(1e-8));
    REQUIRE(fit.points.size() == 18);
    CHECK(fit.points[8].weight == 1.0);
    CHECK(fit.points[9].weight == 0.0);
    CHECK(fit.from_bjd_tdb == epoch_bjd);
    CHECK(fit.to_bjd_tdb == epoch_bjd + 16.2);
}

TEST_CASE("neither the order of the points nor magnitudes kept as fluxes change the line", "[line]") {
    const auto curve = table_curve(9);
    const auto rate = rate_of(line_through(curve));
    auto shuffled = curve;
    std::reverse(shuffled.points.begin(), shuffled.points.end());
    std::swap(shuffled.points[1], shuffled.points[6]);
    CHECK(rate_of(line_through(shuffled)).value == Approx(rate.value).epsilon(1e-9));
    CHECK(rate_of(line_through(shuffled)).err == Approx(rate.err).epsilon(1e-9));

    auto fluxes = curve;
    for (auto& point : fluxes.points) {
        const double flux = flux_of(*point.magnitude_mag);
        point.flux = Flux{flux, flux * *point.random_err_mag / mag_per_relative_flux};
    }
    // The two differ in second order: by less than a tenth of the error at 1 to 2 per cent noise.
    CHECK(rate_of(line_through(fluxes)).value == Approx(rate.value).margin(0.1 * rate.err));
    CHECK(rate_of(line_through(fluxes)).err == Approx(rate.err).epsilon(0.05));
}

TEST_CASE("the cobalt constant is that of its half-life", "[line]") {
    // Half-life of 56Co 77.236 d (NUBASE); 2.5 log10(2) / T worked elsewhere with 12 digits.
    CHECK(lightcurve::cobalt56_half_life_d == 77.236);
    CHECK(lightcurve::cobalt56_decline_mag_per_day == Approx(0.00974383693045).epsilon(1e-12));
    CHECK(lightcurve::cobalt56_decline_mag_per_day ==
          Approx(2.5 * std::log10(2.0) / lightcurve::cobalt56_half_life_d).epsilon(1e-15));
}

TEST_CASE("SN 1987A faded in V nearly at the rate of cobalt 56 between days 150 and 400", "[line]") {
    // Photometry of the South African Astronomical Observatory (sources in the table). No errors were
    // published a night: 0.01 mag is the last digit given.
    const auto table = expected_table("sn1987a_v_tail.csv");
    auto curve = empty_curve();
    for (const auto& row : table.rows) {
        auto point = measured(0.0, number(table, row, "mag_v"), 0.01);
        point.bjd_tdb = point.jd_utc = number(table, row, "mjd") + 2400000.5;
        curve.points.push_back(point);
    }
    const auto fit = line_through(curve);
    const auto rate = rate_of(fit);
    // Ordinary least squares of the same table worked elsewhere: 0.9553 mag per 100 days, sigma 0.0009.
    CHECK(100.0 * rate.value == Approx(0.9553).margin(0.0009));
    // V is one band of the light that the decay feeds: in this table it fades 2 per cent more slowly.
    CHECK(rate.value == Approx(lightcurve::cobalt56_decline_mag_per_day).epsilon(0.03));
    CHECK(rate.err < 2e-5);
    CHECK(fit.extra_scatter_mag < 0.01);
}
