// SPDX-License-Identifier: MIT
#include "stars/profile.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "expected_table.hpp"
#include "numerics/robust.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::stars;
using test::SimulatedPlate;
using test::SimulatedSensor;

namespace {
const SimulatedSensor sensor{.gain_e_per_adu = 1.5, .read_noise_e = 6.0, .bias_adu = 300.0};

Result<StarProfile> profile_of(const frame::Cutout& cutout, double fwhm_guess_px) {
    return fit_profile(cutout, {0.0, 0.0}, fwhm_guess_px, sensor.gain_e_per_adu, sensor.read_noise_e);
}
}  // namespace

TEST_CASE("width, shape and light of a bright star come back, undersampled or broad", "[profile]") {
    for (const double fwhm : {1.5, 1.8, 3.0, 8.0}) {
        for (const double beta : {2.5, 3.5, 4.765}) {
            SimulatedPlate plate(static_cast<int>(3.5 * fwhm) + 8, 200.0);
            plate.add({0.31, -0.22, 1e6, fwhm, beta, 1.3, 30.0});
            const auto found = profile_of(plate.expected(sensor), 1.15 * fwhm);
            INFO("FWHM " << fwhm << " px, beta " << beta);
            REQUIRE(found);
            CHECK(found->fwhm_px == Approx(fwhm).epsilon(0.006));
            CHECK(found->elongation == Approx(1.3).epsilon(0.01));
            CHECK(found->direction.degrees() == Approx(30.0).margin(1.0));
            CHECK(found->moffat_beta == Approx(beta).epsilon(0.07));
            CHECK(found->flux_adu * sensor.gain_e_per_adu == Approx(1e6).epsilon(0.01));
            CHECK(found->centre.x == Approx(0.31).margin(0.002));
            CHECK(found->centre.y == Approx(-0.22).margin(0.002));
        }
    }
}

TEST_CASE("the width's error covers its scatter and the pull of the usual shape", "[profile]") {
    numerics::Random random(77);
    INFO("seed 77");
    for (const double beta : {2.5, 3.5}) {
        std::vector<double> pulls;
        for (int k = 0; k < 150; ++k) {
            SimulatedPlate plate(16, 200.0);
            plate.add({random.uniform(-0.5, 0.5), random.uniform(-0.5, 0.5), 2e4, 3.0, beta});
            const auto found = profile_of(plate.expose(sensor, random), 3.4);
            REQUIRE(found);
            pulls.push_back((found->fwhm_px - 3.0) / found->fwhm_err_px);
        }
        double squares = 0.0;
        for (const double pull : pulls)
            squares += pull * pull / static_cast<double>(pulls.size());
        // The error counts two per cent of model error a pixel, which a simulated star has not: below one.
        CHECK(std::sqrt(squares) > 0.5);
        CHECK(std::sqrt(squares) < 1.15);
    }
}

TEST_CASE("the peak of a fitted profile agrees with the closed form of its width and light", "[profile]") {
    // Moffat: peak · FWHM² / flux, from the table; found by the fit to real pixels of a broad star.
    const DelimitedTable table = test::expected_table("photometry/profile_width.csv");
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "profile");
        const auto equals = name.find('=');
        if (equals == std::string::npos) continue;
        const double beta = std::stod(name.substr(equals + 1));
        SimulatedPlate plate(40, 0.0);
        plate.add({0.0, 0.0, 1e6, 10.0, beta});
        INFO(name);
        const double expected = test::number(table, row, "peak_per_unit_flux_times_fwhm2") * 1e6 / 100.0;
        // A pixel averages over 1/12 px² about the peak: 0.4 % of curvature at 10 px.
        CHECK(plate.electrons(0, 0) == Approx(expected).epsilon(0.008));
        const auto found = profile_of(plate.expected(sensor), 9.0);
        REQUIRE(found);
        CHECK(found->fwhm_px == Approx(10.0).epsilon(0.01));
    }
}

TEST_CASE("a frame's profile is a median, and random directions do not add up to elongation", "[profile]") {
    std::vector<StarProfile> stars(9);
    for (std::size_t i = 0; i < stars.size(); ++i) {
        stars[i].fwhm_px = 3.0 + 0.01 * static_cast<double>(i);
        stars[i].moffat_beta = 3.0;
        stars[i].elongation = 1.2;
        stars[i].direction = Angle::degrees(20.0 * static_cast<double>(i));
    }
    stars[8].fwhm_px = 30.0;
    const FrameProfile random = combine(stars);
    CHECK(random.stars == 9);
    CHECK(random.fwhm_px == Approx(3.04).margin(1e-12));
    CHECK(random.fwhm_err_px < 0.03);
    CHECK(random.elongation < 1.05);
    for (StarProfile& star : stars)
        star.direction = Angle::degrees(178.0);
    const FrameProfile trailed = combine(stars);
    CHECK(trailed.elongation == Approx(1.2).epsilon(1e-9));
    CHECK(trailed.direction.degrees() == Approx(178.0).epsilon(1e-9));
    CHECK(combine({}).stars == 0);
}

TEST_CASE("what is no star has no profile", "[profile]") {
    const double nan = std::nan("");
    SimulatedPlate plate(20, 200.0);
    frame::Cutout flat = plate.expected(sensor);
    CHECK_FALSE(profile_of(flat, 3.0));
    plate.add({0.0, 0.0, 1e5, 3.0});
    frame::Cutout star = plate.expected(sensor);
    CHECK(profile_of(star, 3.0));
    for (const double bad : {nan, -1.0, 0.0, 1e9})
        CHECK_FALSE(profile_of(star, bad));
    CHECK_FALSE(fit_profile(star, {nan, 0.0}, 3.0, 1.5, 6.0));
    CHECK_FALSE(fit_profile(star, {1e12, 0.0}, 3.0, 1.5, 6.0));
    CHECK_FALSE(fit_profile(star, {0.0, 0.0}, 3.0, 0.0, 6.0));
    CHECK_FALSE(fit_profile({}, {0.0, 0.0}, 3.0, 1.5, 6.0));
    star.at(1, 0) = std::numeric_limits<float>::quiet_NaN();
    CHECK_FALSE(profile_of(star, 3.0));
    numerics::Random random(2);
    for (float& v : flat.adu)
        v = static_cast<float>(random.uniform(-1e30, 1e30));
    const auto noise = profile_of(flat, 3.0);
    if (noise) CHECK(std::isfinite(noise->fwhm_px));
}
