// SPDX-License-Identifier: MIT
#include "night/choose_aperture.hpp"
#include "night/star_noise.hpp"
#include "photometry/noise.hpp"

#include <catch2/catch.hpp>

#include "night/aperture_grid.hpp"
#include "night/synthetic_fluxes.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

constexpr std::uint64_t seed = 77;

struct Chosen {
    std::vector<photometry::FrameFluxes> frames;
    std::vector<std::optional<std::size_t>> indices;
    [[nodiscard]] const photometry::FrameAperture& at(std::size_t i) const {
        INFO("frame " << i);
        REQUIRE(indices.at(i));
        return frames[i].apertures.at(*indices[i]);
    }
};

Chosen choose(const std::vector<SyntheticFrame>& frames, const night::MeasureSettings& settings) {
    Chosen out;
    const auto stars = synthetic_stars();
    out.frames = synthetic_fluxes(frames, stars, {}, settings, seed);
    std::vector<const photometry::FrameFluxes*> pointers;
    for (const auto& frame : out.frames)
        pointers.push_back(&frame);
    std::set<std::string> comparison;
    for (const SyntheticStar& star : stars) {
        if (star.role == standard::Role::comparison) comparison.insert(star.label);
    }
    out.indices = night::choose_apertures(pointers, comparison, settings);
    return out;
}

// Two nights of different seeing; on each it wavers.
std::vector<SyntheticFrame> two_nights(SyntheticFrame example) {
    auto frames = series_of(example, 6);
    example.night = "2024-02-04";
    example.jd += 1.0;
    example.fwhm_px *= 1.4;
    const auto second = series_of(example, 6);
    frames.insert(frames.end(), second.begin(), second.end());
    for (std::size_t i = 0; i < frames.size(); ++i)
        frames[i].fwhm_px *= 1.0 + 0.04 * static_cast<double>(i % 3);
    return frames;
}

}  // namespace

TEST_CASE("the settings' aperture wins, host or not", "[apertures]") {
    for (const bool host : {false, true}) {
        SyntheticFrame example;
        example.host = host;
        night::MeasureSettings settings;
        settings.aperture_fwhm = 1.35;
        const Chosen multiple = choose(two_nights(example), settings);
        for (std::size_t i = 0; i < multiple.frames.size(); ++i)
            CHECK(multiple.at(i).fwhm_multiple == 1.35);
        settings.aperture_arcsec = 5.5;  // an angle wins over a multiple
        const Chosen angle = choose(two_nights(example), settings);
        for (std::size_t i = 0; i < angle.frames.size(); ++i)
            CHECK(angle.at(i).angle_arcsec == 5.5);
    }
}

TEST_CASE("host light under the transient fixes one angle for the whole campaign", "[apertures]") {
    SyntheticFrame example;
    example.host = true;
    const Chosen chosen = choose(two_nights(example), {});
    REQUIRE(chosen.at(0).angle_arcsec);
    for (std::size_t i = 0; i < chosen.frames.size(); ++i)
        CHECK(chosen.at(i).angle_arcsec == chosen.at(0).angle_arcsec);
}

TEST_CASE("without a host each night has one multiple of its seeing", "[apertures]") {
    const Chosen chosen = choose(two_nights({}), {});
    for (const std::size_t first : {0U, 6U}) {
        REQUIRE(chosen.at(first).fwhm_multiple);
        for (std::size_t i = first; i < first + 6; ++i)
            CHECK(chosen.at(i).fwhm_multiple == chosen.at(first).fwhm_multiple);
    }
}

TEST_CASE("a few frames that show host light do not make it a host", "[apertures]") {
    auto frames = two_nights({});
    frames[3].host = true;  // one of twelve
    CHECK(choose(frames, {}).at(0).fwhm_multiple);
}

TEST_CASE("a faint transient is summed through a smaller aperture than a bright one", "[apertures]") {
    // For a Gaussian image and sky noise alone the best radius is 0.673 FWHM (from d/dr [E(r)/r] = 0);
    // a star that outshines its sky wants all of its light.
    SyntheticFrame faint, bright;
    faint.transient_mag = 17.5;
    bright.transient_mag = 11.5;
    const Chosen small = choose(series_of(faint, 9), {}), large = choose(series_of(bright, 9), {});
    CHECK(*small.at(0).fwhm_multiple <= 1.0);
    CHECK(*large.at(0).fwhm_multiple >= 1.2);
}

TEST_CASE("a frame without the aperture in use has none", "[apertures]") {
    night::MeasureSettings settings;
    settings.aperture_arcsec = 5.5;
    const auto stars = synthetic_stars();
    auto frames = synthetic_fluxes(series_of({}, 2), stars, {}, settings, seed);
    const auto second = synthetic_fluxes(series_of({}, 1), stars, {}, {}, seed);
    frames[1] = second[0];  // measured before 5.5 arcsec was asked for
    const auto chosen = night::choose_apertures({&frames[0], &frames[1]}, {"120", "122"}, settings);
    CHECK(chosen[0]);
    CHECK_FALSE(chosen[1]);
    CHECK(night::choose_apertures({}, {}, settings).empty());
}

TEST_CASE("saturated, bent or cut light does not calibrate; a blended or filled star does", "[apertures]") {
    auto frame = synthetic_fluxes(series_of({}, 1), synthetic_stars(), {}, {}, seed)[0];
    photometry::StarFlux& star = frame.stars[1];
    CHECK_FALSE(night::light_lost(frame, star, 0));
    for (const Caveat c : {Caveat::saturated, Caveat::not_linear}) {
        star.caveats[0] = {c};
        CHECK(night::light_lost(frame, star, 0));
        CHECK_FALSE(night::light_lost(frame, star, 1));
    }
    // The edge may cut the annulus alone: only a missing part of the aperture counts.
    star.caveats[0] = {Caveat::bad_pixels, Caveat::blended, Caveat::edge};
    CHECK_FALSE(night::light_lost(frame, star, 0));
    star.area_px[0] *= 0.99;
    CHECK(night::light_lost(frame, star, 0));
    star.area_px[0] /= 0.99;
    star.flux_e[0] = std::nan("");
    CHECK(night::light_lost(frame, star, 0));
}

TEST_CASE("a sky without any scatter still has the noise of whole numbers", "[apertures]") {
    // An 8-bit picture clipped at black: all pixels of the annulus equal. A rounded number is off by a step
    // over sqrt(12) at least (Sheppard 1898): 1/12 e-² a pixel at 1 e-/ADU.
    auto frame = synthetic_fluxes(series_of({}, 1), synthetic_stars(), {}, {}, seed)[0];
    frame.gain_e_per_adu = 1.0;
    photometry::StarFlux& star = frame.stars[0];
    star.sky_scatter_e = 0.0;
    const double area = star.area_px[2];
    CHECK(night::noise_terms(frame, star, 2).background_e2 ==
          Approx((photometry::square_area_px(area) + area * area / star.sky_pixels) / 12.0));
}
