// SPDX-License-Identifier: MIT
// Pixels without a value, coarse lattices and flats: what they do to a star's light, and whether its error
// says so.
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "night/sampled_light.hpp"
#include "night/star_noise.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/sampling.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

constexpr double gain = 1.0, read_noise_e = 8.0, sky_e = 200.0, bias_adu = 100.0;
const std::vector<double> radii_px{2.0, 3.0, 4.5, 6.5};

stars::FrameProfile profile_of(const SimulatedStar& star) {
    stars::FrameProfile profile;
    profile.fwhm_px = star.fwhm_px;
    profile.elongation = star.elongation;
    profile.direction = Angle::degrees(star.direction_deg);
    profile.moffat_beta = star.beta;
    profile.stars = 6;
    return profile;
}

struct Measured {
    photometry::FrameFluxes frame;  // with one star
    [[nodiscard]] double flux(std::size_t k) const { return frame.stars[0].flux_e[k]; }
    [[nodiscard]] double err(std::size_t k, double expected_e) const {
        return std::sqrt(night::noise_terms(frame, frame.stars[0], k).variance_e2(expected_e));
    }
};

Measured measure(const frame::Cutout& cutout, const frame::PixelPosition& place,
                 const stars::FrameProfile& profile, const frame::FrameFacts& facts) {
    const auto sky = photometry::estimate_sky(cutout, place, {10.0, 16.0});
    REQUIRE(sky);
    const auto sums = photometry::sum_apertures(cutout, place, radii_px, *sky, {65535.0, 65535.0});
    if (!sums) FAIL(one_line(sums.error()));
    Measured out;
    for (const double radius : radii_px)
        out.frame.apertures.push_back({radius, radius / profile.fwhm_px, std::nullopt, std::nullopt});
    photometry::StarFlux light;
    light.sky_scatter_e = sky->scatter_adu * gain;
    light.sky_pixels = sky->pixels;
    light.sky_factor = sky->factor;
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        light.flux_e.push_back(sums->flux_adu[k] * gain);
        light.area_px.push_back(sums->area_px[k]);
        light.caveats.push_back(sums->caveats[k]);
    }
    night::StarOnFrame star;
    star.position = place;
    star.cutout = cutout;
    night::SampledLight(facts, profile, radii_px).settle(light, star, *sums);
    out.frame.stars.push_back(std::move(light));
    return out;
}

frame::FrameFacts facts_of_plate() {
    frame::FrameFacts facts;
    facts.width_px = facts.height_px = 45;
    return facts;
}

void lose_pixel(frame::Cutout& cutout, numerics::Random& random, const frame::PixelPosition& star,
                double within_px) {
    for (;;) {
        const int x = static_cast<int>(std::lround(star.x + random.uniform(-within_px, within_px)));
        const int y = static_cast<int>(std::lround(star.y + random.uniform(-within_px, within_px)));
        if (std::hypot(x - star.x, y - star.y) > within_px) continue;
        cutout.at(x, y) = std::numeric_limits<float>::quiet_NaN();
        return;
    }
}

}  // namespace

TEST_CASE("a star with a lost pixel keeps its light, within an error that says what was filled",
          "[place][fill]") {
    numerics::Random random(20240);
    for (const double flux_e : {4e5, 3e3}) {
        for (const double true_beta : {3.2, 6.0}) {  // the profile that is known has 3.2
            std::vector<double> pulls, relative_errs, offs;
            for (int i = 0; i < 120; ++i) {
                SimulatedStar star{.x = random.uniform(-0.5, 0.5),
                                   .y = random.uniform(-0.5, 0.5),
                                   .flux_e = flux_e,
                                   .fwhm_px = 2.6,
                                   .beta = true_beta,
                                   .elongation = 1.15,
                                   .direction_deg = 40.0};
                SimulatedPlate plate(22, sky_e);
                plate.add(star);
                const SimulatedSensor sensor{gain, read_noise_e, bias_adu};
                frame::Cutout cutout = plate.expose(sensor, random);
                const frame::PixelPosition place{star.x, star.y};
                stars::FrameProfile profile = profile_of(star);
                profile.moffat_beta = 3.2;
                // What the whole star gives without noise, in the same aperture.
                const double whole =
                    measure(plate.expected(sensor), place, profile, facts_of_plate()).flux(2);
                lose_pixel(cutout, random, place, 3.5);
                const Measured seen = measure(cutout, place, profile, facts_of_plate());
                CHECK(seen.frame.stars[0].caveats[2].has(Caveat::bad_pixels));
                pulls.push_back((seen.flux(2) - whole) / seen.err(2, whole));
                offs.push_back(seen.flux(2) / whole - 1.0);
                relative_errs.push_back(seen.err(2, whole) / whole);
            }
            const double spread = numerics::robust_spread(pulls);
            INFO(flux_e << " e, beta " << true_beta << ": robust spread " << spread << ", error "
                        << numerics::median(relative_errs) << ", off " << numerics::median(offs));
            // 120 pulls: 0.07. With a bright star the profile's error of filling is cautious where β is
            // right.
            CHECK(spread < 1.3);
            CHECK(spread > (flux_e > 1e5 ? 0.3 : 0.8));
            CHECK(std::abs(numerics::median(offs)) < 0.3 * numerics::median(relative_errs));
        }
    }
}

TEST_CASE("a lost pixel costs a faint star noise, and a star without light as well", "[place][fill]") {
    numerics::Random random(77);
    for (const double flux_e : {0.0, 400.0}) {
        SimulatedPlate plate(22, sky_e);
        if (flux_e > 0.0) plate.add({.flux_e = flux_e, .fwhm_px = 2.6, .beta = 3.2});
        const stars::FrameProfile profile = profile_of({.fwhm_px = 2.6, .beta = 3.2});
        std::vector<double> pulls;
        double with = 0.0, without = 0.0;
        for (int i = 0; i < 400; ++i) {
            frame::Cutout cutout = plate.expose({gain, read_noise_e, bias_adu}, random);
            const auto whole = measure(cutout, {0.0, 0.0}, profile, facts_of_plate());
            lose_pixel(cutout, random, {0.0, 0.0}, 1.2);
            lose_pixel(cutout, random, {0.0, 0.0}, 1.2);
            const auto holed = measure(cutout, {0.0, 0.0}, profile, facts_of_plate());
            const double expected = 0.0 + flux_e * 0.8;
            if (!std::isfinite(holed.flux(1))) continue;
            pulls.push_back((holed.flux(1) - expected) / holed.err(1, expected));
            without = whole.err(1, expected);
            with = holed.err(1, expected);
        }
        INFO(flux_e << " e: robust spread " << numerics::robust_spread(pulls) << ", error " << with
                    << " in place of " << without);
        CHECK(numerics::robust_spread(pulls) == Approx(1.0).margin(0.13));
        CHECK(with > 1.01 * without);
    }
}

TEST_CASE("the flat's own noise is shared by the pixels that a star lights", "[place]") {
    numerics::Random random(5);
    const SimulatedStar star{.flux_e = 1e6, .fwhm_px = 2.6, .beta = 3.2};
    SimulatedPlate plate(22, 0.0);
    plate.add(star);
    const frame::Cutout even = plate.expected({gain, 0.0, 0.0, false});
    frame::FrameFacts facts = facts_of_plate();
    facts.flat_pixel_err = 0.02;
    const stars::FrameProfile profile = profile_of(star);
    const Measured without = measure(even, {0.0, 0.0}, profile, facts_of_plate());
    std::vector<std::vector<double>> seen(radii_px.size());
    Measured last = without;
    for (int i = 0; i < 300; ++i) {
        frame::Cutout uneven = even;
        for (float& v : uneven.adu)
            v *= static_cast<float>(1.0 + random.gaussian(0.0, facts.flat_pixel_err));
        last = measure(uneven, {0.0, 0.0}, profile, facts);
        for (std::size_t k = 0; k < radii_px.size(); ++k)
            seen[k].push_back(last.flux(k) / without.flux(k));
    }
    for (std::size_t k = 0; k < radii_px.size(); ++k) {
        const double flat_err = std::sqrt(std::pow(last.frame.stars[0].place_err[k], 2) -
                                          std::pow(without.frame.stars[0].place_err[k], 2));
        INFO("radius " << radii_px[k]);
        CHECK(flat_err == Approx(numerics::robust_spread(seen[k])).epsilon(0.2));
    }
}

TEST_CASE("stars sharper than the lattice are flagged, wide ones are not", "[place]") {
    frame::FrameFacts facts = facts_of_plate();
    facts.lattice = frame::Lattice{0, 0, 2, 0, 0, 2, 45, 45, 90, 90};
    const auto flagged = [&](double fwhm_px) {
        const std::vector<double> radii{fwhm_px, 1.5 * fwhm_px, 3.0 * fwhm_px};
        const stars::FrameProfile profile = profile_of({.fwhm_px = fwhm_px, .beta = 3.5});
        const night::SampledLight sampled(facts, profile, radii);
        CHECK(sampled.remarks().size() == (sampled.caveats().has(Caveat::undersampled) ? 1U : 0U));
        return sampled.caveats().has(Caveat::undersampled);
    };
    // In pixels of the mosaic twice as wide.
    CHECK(flagged(0.8));
    CHECK(flagged(1.25));
    CHECK_FALSE(flagged(1.75));
    CHECK_FALSE(flagged(2.5));
}

TEST_CASE("a star whose aperture runs off a turned lattice's stored pixels has no light", "[place]") {
    // Green of a 60 × 60 mosaic: a picture whose corners hold nothing.
    frame::FrameFacts facts = facts_of_plate();
    facts.lattice = frame::Lattice{0, 30, 1, -1, 1, 1, 45, 45, 60, 60};
    const SimulatedStar star{.flux_e = 1e5, .fwhm_px = 2.6, .beta = 3.2};
    SimulatedPlate plate(22, sky_e);
    plate.add(star);
    const auto cutout = plate.expected({gain, read_noise_e, bias_adu});
    const auto place = facts.lattice->picture({30.0, 30.0});
    const auto edge = facts.lattice->picture({3.0, 30.0});
    const auto measured_at = [&](const frame::PixelPosition& where) {
        frame::Cutout moved = cutout;
        moved.box.x0 += static_cast<int>(std::lround(where.x));
        moved.box.y0 += static_cast<int>(std::lround(where.y));
        const frame::PixelPosition at{std::round(where.x), std::round(where.y)};
        return measure(moved, at, profile_of(star), facts);
    };
    CHECK(std::isfinite(measured_at(place).flux(3)));
    CHECK_FALSE(std::isfinite(measured_at(edge).flux(3)));
    CHECK(measured_at(edge).frame.stars[0].caveats[3].has(Caveat::edge));
}
