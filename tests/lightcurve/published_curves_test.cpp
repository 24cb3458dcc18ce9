// SPDX-License-Identifier: MIT
// Published light curves through the whole chain, against what their papers say. Every source stands beside
// its value in published_type_ia.cpp and published_type_ii.cpp, and whether it was read or is from memory.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <set>

#include "exchange/series.hpp"
#include "lightcurve/figures.hpp"
#include "lightcurve/published_claims.hpp"
#include "lightcurve/scatter_errors.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

// Errors of both sides in quadrature, one sigma; a twentieth of honest differences lie beyond two.
constexpr double most_sigma = 2.0;

std::vector<double> differences(const std::vector<Claim>& claims) {
    std::vector<double> all;
    for (const Claim& claim : claims) {
        INFO(claim.supernova << ", " << claim.quantity << ": " << with_error(claim.published) << ", "
                             << claim.source << " (" << words_for(claim.basis) << ")");
        const auto measured = claim.measure();
        INFO((measured ? with_error(*measured) : one_line(measured.error())));
        REQUIRE(measured);
        CHECK(measured->err > 0.0);
        all.push_back(difference_in_sigma(claim, *measured));
        CHECK(std::abs(all.back()) <= most_sigma);
    }
    return all;
}

std::string datasets() {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder != nullptr) return folder;
    WARN("SKIPPED: EMBERLINE_DATASETS is not set, so published light curves were not measured.");
    return {};
}

std::vector<Claim> claims_on(const std::string& folder) {
    std::vector<Claim> claims = claims_on_type_ia(folder);
    for (Claim& claim : claims_on_type_ii(folder))
        claims.push_back(std::move(claim));
    return claims;
}

}  // namespace

TEST_CASE("maxima, Δm15, plateaus, drops and tails of seven supernovae are the published ones",
          "[published]") {
    const std::string folder = datasets();
    if (folder.empty()) return;
    const std::vector<Claim> claims = claims_on(folder);
    std::set<std::string> supernovae;
    for (const Claim& claim : claims)
        supernovae.insert(claim.supernova);
    CHECK(supernovae.size() == 7);

    double squares = 0.0;
    for (const double d : differences(claims))
        squares += d * d;
    // Were the errors much too wide, the differences would all be far below one sigma.
    const double rms = std::sqrt(squares / static_cast<double>(claims.size()));
    CHECK(rms > 0.6);
    CHECK(rms < 1.3);
}

TEST_CASE("a maximum is told of published curves only where the points show one", "[published]") {
    const std::string folder = datasets();
    if (folder.empty()) return;
    // The brightest points may be wrong, but not the three brightest of a window by the same tenth.
    constexpr double most_fainter_mag = 0.1, farthest_d = 5.0;
    int told = 0;
    for (const std::string file :
         {"SN1979C_Barbon1982_deVaucouleurs1981", "SN1987A_Catchpole_Whitelock_SAAO", "SN1990N_Lira1998",
          "SN2011fe_Munari2013", "SN2012aw_Bose2013", "SN2012fr_Contreras2018", "SN2013ej_Huang2015"}) {
        auto series = exchange::read_series(folder + "/lightcurves/" + file + ".csv");
        REQUIRE(series);
        for (lightcurve::LightCurve& curve : series->curves) {
            INFO(file << " in " << curve.band.name());
            for (const std::string& remark : lightcurve::errors_from_scatter(curve))
                UNSCOPED_INFO(remark);
            const auto fit = lightcurve::fit_peak(curve);
            // Its first point is its brightest: all that is there of it fades.
            if (curve.band.name() == "B" && file.starts_with("SN1979C")) CHECK_FALSE(fit);
            const auto peak = fit ? lightcurve::peak_of(*fit) : std::nullopt;
            if (!peak) continue;
            ++told;
            std::vector<double> mags;
            double nearest_d = HUGE_VAL;
            for (const std::size_t i : lightcurve::within(curve, fit->from_bjd_tdb, fit->to_bjd_tdb)) {
                mags.push_back(curve.points[i].magnitude_mag.value());
                nearest_d = std::min(nearest_d, std::abs(curve.points[i].bjd_tdb - peak->bjd_tdb.value));
            }
            std::sort(mags.begin(), mags.end());
            CHECK(peak->mag.value < mags.at(2) + most_fainter_mag);
            CHECK(nearest_d < farthest_d);
        }
    }
    // All bands of the type Ia but U of SN 1990N, whose first point is its brightest.
    CHECK(told >= 14);
}

TEST_CASE("what the table of the literature holds is compared, and marked as the table marks it",
          "[published]") {
    const std::string folder = datasets();
    if (folder.empty()) return;
    const auto table = read_table(folder + "/lightcurves/literature.csv");
    REQUIRE(table);
    const std::vector<Claim> claims = claims_on(folder);
    for (const TableRow& row : table->rows) {
        const auto text = [&](std::string_view column) {
            return row.fields.at(table->column(column).value());
        };
        if (!text("sn").starts_with("SN ")) continue;  // the rate of ⁵⁶Co as such
        const double value = parse_number(text("value")).value();
        const bool recalled = text("provenance").starts_with("recalled");
        INFO(text("sn") << ", " << text("quantity") << ", " << text("reference"));
        bool found = false;
        for (const Claim& claim : claims) {
            found = found || (claim.supernova == text("sn") && claim.published.value == value &&
                              (claim.basis == Basis::from_memory) == recalled);
        }
        CHECK(found);
    }
}

TEST_CASE("two supernovae by one table each: published values, and rates worked elsewhere", "[published]") {
    const std::vector<Claim> claims = claims_on_small_tables();
    CHECK(differences(claims).size() == claims.size());
    for (const Claim& claim : claims) {
        if (claim.basis != Basis::computed) continue;
        INFO(claim.supernova << ", " << claim.quantity);
        const ValueWithError measured = claim.measure().value();
        // To the last digit of the rates, which were printed to 1e-6 mag/d.
        CHECK(measured.value == Approx(claim.published.value).margin(1.01e-4));
        CHECK(measured.err == Approx(claim.published.err).margin(1.01e-4));
    }
}
