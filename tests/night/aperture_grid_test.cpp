// SPDX-License-Identifier: MIT
#include "night/aperture_grid.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <numbers>
#include <set>

using namespace emberline;
using night::MeasureSettings;

namespace {

std::set<double> angles_of(const std::vector<photometry::FrameAperture>& grid) {
    std::set<double> angles;
    for (const auto& aperture : grid) {
        if (aperture.angle_arcsec) angles.insert(*aperture.angle_arcsec);
    }
    return angles;
}

}  // namespace

TEST_CASE("angles are the same numbers in every frame, whatever its seeing and scale", "[apertures]") {
    const auto sharp = angles_of(night::aperture_grid(2.2, 1.3, {}));  // FWHM 2.86"
    const auto soft = angles_of(night::aperture_grid(5.1, 0.97, {}));  // FWHM 4.95"
    std::vector<double> both;
    std::set_intersection(sharp.begin(), sharp.end(), soft.begin(), soft.end(), std::back_inserter(both));
    // The ranges 2.00"–11.4" and 3.46"–19.8" share 2^(6/3) … 2^(10/3): five angles, equal to the last bit.
    CHECK(both.size() == 5);
    for (const double angle : sharp) {
        INFO(angle);
        CHECK(3.0 * std::log2(angle) == Approx(std::round(3.0 * std::log2(angle))).margin(1e-9));
        CHECK(angle >= 0.7 * 2.2 * 1.3);
        CHECK(angle <= 4.0 * 2.2 * 1.3);
    }
    // From 0.7 to 4 FWHM are 2.51 octaves: seven or eight thirds.
    CHECK(sharp.size() >= 7);
}

TEST_CASE("the grid ascends, and each radius says which kind it is", "[apertures]") {
    for (const double fwhm_px : {1.4, 2.8, 6.5}) {
        const auto grid = night::aperture_grid(fwhm_px, 0.8, {});
        CHECK(std::is_sorted(grid.begin(), grid.end(),
                             [](const auto& a, const auto& b) { return a.radius_px < b.radius_px; }));
        for (const auto& aperture : grid) {
            REQUIRE(aperture.fwhm_multiple.has_value() != aperture.angle_arcsec.has_value());
            const double radius_px =
                aperture.fwhm_multiple ? *aperture.fwhm_multiple * fwhm_px : *aperture.angle_arcsec / 0.8;
            CHECK(aperture.radius_px == Approx(radius_px));
        }
    }
}

TEST_CASE("the radii that the settings ask for are in the grid, once", "[apertures]") {
    MeasureSettings settings;
    settings.aperture_arcsec = 6.0;
    settings.aperture_fwhm = 1.7;
    const auto usual = night::aperture_grid(3.0, 1.2, {});
    const auto asked = night::aperture_grid(3.0, 1.2, settings);
    CHECK(asked.size() == usual.size() + 2);
    REQUIRE(night::find_angle(asked, 6.0));
    CHECK(asked[*night::find_angle(asked, 6.0)].radius_px == Approx(5.0));
    REQUIRE(night::find_multiple(asked, 1.7));
    CHECK(asked[*night::find_multiple(asked, 1.7)].radius_px == Approx(5.1));
    CHECK_FALSE(night::find_angle(usual, 6.0));
    CHECK_FALSE(night::find_multiple(usual, 1.7));
    // 4" and 1.5 FWHM are there anyhow.
    settings.aperture_arcsec = 4.0;
    settings.aperture_fwhm = 1.5;
    CHECK(night::aperture_grid(3.0, 1.2, settings).size() == usual.size());
}

TEST_CASE("the annulus lies beyond the largest aperture and holds 200 pixels", "[apertures]") {
    MeasureSettings settings;
    for (const double asked_arcsec : {3.0, 12.0, 40.0}) {
        for (const double fwhm_px : {1.2, 3.0, 9.0}) {
            settings.aperture_arcsec = asked_arcsec;
            const auto grid = night::aperture_grid(fwhm_px, 1.5, settings);
            const auto annulus = night::annulus_around(grid, fwhm_px, 1.5, settings);
            INFO(asked_arcsec << " arcsec, FWHM " << fwhm_px << " px");
            CHECK(annulus.inner_px >= grid.back().radius_px + 1.0);
            CHECK(annulus.inner_px >= settings.annulus_inner_fwhm * fwhm_px);
            const double area = std::numbers::pi *
                                (annulus.outer_px * annulus.outer_px - annulus.inner_px * annulus.inner_px);
            CHECK(area >= 200.0 * (1.0 - 1e-9));
        }
    }
}

TEST_CASE("an annulus fixed on the sky is taken as it is", "[apertures]") {
    MeasureSettings settings;
    settings.annulus_inner_arcsec = 15.0;
    settings.annulus_outer_arcsec = 24.0;
    const auto annulus = night::annulus_around(night::aperture_grid(3.0, 1.5, settings), 3.0, 1.5, settings);
    CHECK(annulus.inner_px == Approx(10.0));
    CHECK(annulus.outer_px == Approx(16.0));
}

TEST_CASE("a faint star is looked for in the PSF's fit, else within one FWHM", "[aperture]") {
    // Of radii 1.2, 2, 3 px and a FWHM of 2 px: the second. Common practice, no source.
    std::vector<photometry::FrameAperture> grid = {
        {1.2, 0.6, std::nullopt}, {2.0, 1.0, std::nullopt}, {3.0, 1.5, std::nullopt}};
    CHECK(night::find_core(grid, 2.0) == 1U);
    CHECK(night::find_core(grid, 1.0) == 0U);
    CHECK_FALSE(night::find_core({}, 2.0));
    grid.push_back({3.5, std::nullopt, std::nullopt});
    grid.back().psf_photon_factor = 1.0;
    CHECK(night::find_core(grid, 2.0) == 3U);
}
