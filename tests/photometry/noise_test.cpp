// SPDX-License-Identifier: MIT
#include "photometry/noise.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <optional>

#include "expected_table.hpp"

using namespace emberline;
using namespace emberline::photometry;
using test::number;
using test::text;

// The tables are printed to nine digits or more: relative.
static constexpr double printed = 1e-9;

TEST_CASE("signal-to-noise follows the CCD equation", "[noise]") {
    const DelimitedTable table = test::expected_table("photometry/ccd_snr.csv");
    for (const TableRow& row : table.rows) {
        const auto at = [&](const char* column) { return number(table, row, column); };
        std::optional<double> sky_pixels;
        if (text(table, row, "n_sky_pix") != "infinite") sky_pixels = at("n_sky_pix");
        INFO(text(table, row, "case"));
        const double ratio = signal_to_noise({.star_e = at("star_e"),
                                              .area_px = at("n_pix"),
                                              .sky_pixels = sky_pixels,
                                              .sky_e_per_px = at("sky_e_per_pix"),
                                              .dark_e_per_px = at("dark_e_per_pix"),
                                              .read_noise_e = at("read_noise_e"),
                                              .gain_e_per_adu = at("gain_e_per_adu"),
                                              .digitisation_adu = at("sigma_f_adu")});
        CHECK(ratio == Approx(at("snr")).epsilon(printed));
    }
}

TEST_CASE("the limiting flux has the signal-to-noise that it is named for", "[noise]") {
    const DelimitedTable table = test::expected_table("photometry/limiting_flux.csv");
    for (const TableRow& row : table.rows) {
        const double k = number(table, row, "k");
        const double b = number(table, row, "background_variance");
        const double flux_e = flux_at_signal_to_noise(k, b);
        CHECK(flux_e == Approx(number(table, row, "flux_e_at_snr_k")).epsilon(printed));
        const NoiseTerms terms{.background_e2 = b};
        CHECK(flux_e / std::sqrt(terms.variance_e2(flux_e)) == Approx(k).epsilon(1e-12));
    }
}

TEST_CASE("scintillation agrees with both published forms", "[noise]") {
    const DelimitedTable table = test::expected_table("photometry/scintillation.csv");
    for (const TableRow& row : table.rows) {
        const auto at = [&](const char* column) { return number(table, row, column); };
        const double d = at("D_m"), t = at("t_s"), x = at("airmass"), h = at("h_m");
        CHECK(scintillation(d, t, x, h) == Approx(at("osborn_CY1.5_fraction")).epsilon(printed));
        CHECK(scintillation(d, t, x, h, 1.0) == Approx(at("osborn_CY1.0_fraction")).epsilon(printed));
        CHECK(scintillation_young(d, t, x, h) == Approx(at("young_dravins_fraction")).epsilon(printed));
    }
}

TEST_CASE("host light and a sky from few pixels raise the variance, a missing sky makes it boundless",
          "[noise]") {
    // By hand: 30 + 10·2² + (π/2 → 1.5)·10²·2²/50.
    BackgroundNoise b{
        .area_px = 10.0, .sky_scatter_e = 2.0, .sky_pixels = 50.0, .sky_factor = 1.5, .host_e = 30.0};
    CHECK(background_variance_e2(b) == Approx(82.0).epsilon(1e-14));
    b.host_e = -30.0;
    CHECK(background_variance_e2(b) == Approx(52.0).epsilon(1e-14));
    b.sky_pixels = 0.0;
    CHECK(std::isinf(background_variance_e2(b)));
    const NoiseTerms terms{.background_e2 = 50.0, .fractional = 0.01};
    CHECK(terms.variance_e2(-5.0) == 50.0);
    CHECK(terms.variance_e2(1000.0) == Approx(1150.0).epsilon(1e-14));
}
