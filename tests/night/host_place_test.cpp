// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "night/relative_scale.hpp"
#include "night/transient_place.hpp"
#include "numerics/random.hpp"
#include "photometry/psf.hpp"
#include "synthetic_fluxes.hpp"

using namespace emberline;

namespace {

constexpr double scale_arcsec = 1.2, fwhm_px = 2.6;

// A difference that holds a star of that light beside the catalogue position, seen under any angle.
photometry::FrameFluxes difference_frame(double east, double north, double light_adu, double turned_rad,
                                         bool mirrored, std::uint64_t seed) {
    const auto psf = photometry::Psf::make({fwhm_px, 3.5, 1.1, 0.4}).value();
    photometry::FrameFluxes frame;
    frame.fwhm_px = fwhm_px;
    frame.scale_arcsec_per_px = scale_arcsec;
    frame.apertures = {{.radius_px = 0.85 * fwhm_px, .psf_photon_factor = 1.4},
                       {.radius_px = 1.5 * fwhm_px, .fwhm_multiple = 1.5}};
    photometry::Surroundings around;
    around.cutout = {{80, 60, 41, 41}, std::vector<float>(41 * 41, 100.0F)};
    around.transient = {100.3, 80.2};
    const double c = std::cos(turned_rad) / scale_arcsec, s = std::sin(turned_rad) / scale_arcsec;
    around.px_per_arcsec = {mirrored ? c : -c, s, mirrored ? -s : s, c};
    around.sky_scatter_adu = 5.0;
    around.difference_psf = psf.numbers();
    const auto star = psf.stamp(around.pixel(east, north), around.cutout.box);
    numerics::Random random(seed);
    for (const double share : star) {
        const double light = light_adu * share;
        around.difference_adu.push_back(
            static_cast<float>(light + random.gaussian(0.0, std::sqrt(25.0 + std::max(light, 0.0)))));
    }
    frame.surroundings = std::move(around);
    return frame;
}

std::vector<const photometry::FrameFluxes*> pointers(const std::vector<photometry::FrameFluxes>& frames) {
    std::vector<const photometry::FrameFluxes*> out;
    for (const auto& frame : frames)
        out.push_back(&frame);
    return out;
}

}  // namespace

TEST_CASE("one place on the sky is found from frames on both sides of a meridian flip", "[night][host]") {
    std::vector<photometry::FrameFluxes> frames;
    for (int i = 0; i < 8; ++i) {
        frames.push_back(difference_frame(0.42, -0.31, 6000.0, i < 4 ? 0.3 : 0.3 + std::numbers::pi,
                                          i % 3 == 0, 100 + static_cast<std::uint64_t>(i)));
    }
    const auto place = night::place_on_differences(pointers(frames));
    REQUIRE(place);
    // Position errors of a star of S/N 100 are about FWHM/(2.35 S/N): 0.015″ a frame; four sigma of the mean.
    CHECK(place->east_arcsec == Approx(0.42).margin(0.03));
    CHECK(place->north_arcsec == Approx(-0.31).margin(0.03));
    CHECK(place->err_arcsec > 0.002);
    CHECK(place->err_arcsec < 0.03);
}

TEST_CASE("a faint transient, or frames that disagree, keep the catalogue's place", "[night][host]") {
    std::vector<photometry::FrameFluxes> faint, astray;
    for (int i = 0; i < 6; ++i) {
        faint.push_back(difference_frame(0.4, 0.3, 150.0, 0.0, false, 200 + static_cast<std::uint64_t>(i)));
        astray.push_back(difference_frame(i % 2 == 0 ? 1.6 : -1.6, i % 3 == 0 ? 1.2 : -1.2, 9000.0, 0.0,
                                          false, 300 + static_cast<std::uint64_t>(i)));
    }
    CHECK_FALSE(night::place_on_differences(pointers(faint)));
    CHECK_FALSE(night::place_on_differences(pointers(astray)));
    CHECK_FALSE(night::place_on_differences({}));
}

TEST_CASE("moving to the right place wins back the light that was missed", "[night][host]") {
    const auto frame = difference_frame(1.2, 0.0, 40000.0, 0.0, false, 5);
    const auto moved = night::moved_light(frame, {1.2, 0.0, 0.05});
    REQUIRE(moved);
    // One pixel off, a fit of a Gaussian as wide misses 1 − exp(−d²/4σ²) of the light: 18 % of it at σ = 1.1
    // px; a Moffat core somewhat less. The wide aperture misses little.
    CHECK(moved->change_e[0] > 0.10 * 40000.0);
    CHECK(moved->change_e[0] < 0.25 * 40000.0);
    CHECK(std::abs(moved->change_e[1]) < 0.05 * 40000.0);
    CHECK(moved->err_e[0] >= 0.0);
    CHECK(moved->err_e[0] < 0.01 * 40000.0);
    CHECK_FALSE(night::moved_light(photometry::FrameFluxes{}, {}));
}

TEST_CASE("stars alone put frames under cloud on one scale", "[night][host]") {
    const auto stars = test::synthetic_stars();
    std::vector<test::SyntheticFrame> plan = test::series_of({}, 5);
    const double cloud_mag[] = {0.0, 0.3, 0.0, 1.0, 0.0};
    for (std::size_t i = 0; i < plan.size(); ++i)
        plan[i].cloud_mag = cloud_mag[i];
    plan[2].missing = {"121", "122"};
    const auto frames = test::synthetic_fluxes(plan, stars, {}, {}, std::uint64_t{77});
    std::set<std::string> labels;
    for (const auto& star : stars)
        labels.insert(star.label);
    const std::vector<std::size_t> aperture(frames.size(), 4);
    const auto scales = night::relative_scales(pointers(frames), aperture, labels);
    for (std::size_t i = 0; i < frames.size(); ++i) {
        CAPTURE(i);
        CHECK(scales[i].scale == Approx(std::pow(10.0, -0.4 * cloud_mag[i])).epsilon(0.01));
        CHECK(scales[i].err > 0.0);
        CHECK(scales[i].err < 0.01);
    }
    const auto none = night::relative_scales(pointers(frames), aperture, {});
    CHECK(std::isinf(none.front().err));
}
