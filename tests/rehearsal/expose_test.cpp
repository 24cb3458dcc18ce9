// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>

#include "photometry/noise.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/plate.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

const Band& band(const char* name) {
    static std::map<std::string, Band> known;
    return known.try_emplace(name, *parse_band(name)).first->second;
}

const SkyPosition centre{Angle::degrees(201.338), Angle::degrees(37.27)};
const sky::Site site{Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};

// A small quiet field: one star, nothing else that disturbs.
struct Scene {
    InventedSky sky;
    InventedInstrument instrument;
    InventedAir air;
    InventedPointing pointing{.centre = centre};
    Instant start = *sky::parse_instant("2024-03-20T23:00:00");
    double exposure_s = 60.0;

    Scene() {
        instrument.width_px = instrument.height_px = 200;
        instrument.hot_pixels = 0;
        instrument.cosmic_rays_per_minute = 0.0;
        air.scintillation = false;
        sky.transient.position = displaced(centre, {Angle::degrees(1.0), Angle::degrees(0.0)});
        sky.transient.peak_mag[band("V")] = 15.0;
        add(displaced(centre, {Angle::arcseconds(7.0), Angle::arcseconds(-4.0)}), 12.0, 0.7);
    }
    void add(const SkyPosition& place, double visual_mag, double colour_mag) {
        sky.stars.push_back(
            {.position = place, .true_mag = {{band("V"), visual_mag}, {band("B"), visual_mag + colour_mag}}});
    }
    [[nodiscard]] InventedFrame take(std::uint64_t seed, const char* filter = "V") const {
        return expose(sky, instrument, air, pointing, site, band(filter), start, exposure_s, seed);
    }
    [[nodiscard]] double airmass(const SkyPosition& place) const {
        return *sky::airmass(sky::later_by(start, 0.5 * exposure_s), place, site);
    }
};

// Sum and centre of light above the level of the frame's rim, within `half` pixels of a place.
struct Light {
    double flux_e = 0.0, x = 0.0, y = 0.0;
    double pixels = 0.0, rim_pixels = 0.0;
};
Light light_at(const InventedFrame& frame, const frame::PixelPosition& place, int half, double gain) {
    const int cx = static_cast<int>(std::lround(place.x));
    const int cy = static_cast<int>(std::lround(place.y));
    Light light;
    double rim = 0.0;
    const auto adu = [&](int x, int y) {
        return static_cast<double>(frame.adu[static_cast<std::size_t>(y * frame.width_px + x)]);
    };
    for (int y = cy - 2 * half; y <= cy + 2 * half; ++y) {
        for (int x = cx - 2 * half; x <= cx + 2 * half; ++x) {
            if (std::max(std::abs(x - cx), std::abs(y - cy)) <= half) continue;
            rim += adu(x, y);
            light.rim_pixels += 1.0;
        }
    }
    rim /= light.rim_pixels;
    for (int y = cy - half; y <= cy + half; ++y) {
        for (int x = cx - half; x <= cx + half; ++x) {
            const double e = (adu(x, y) - rim) * gain;
            light.flux_e += e;
            light.x += e * x;
            light.y += e * y;
            light.pixels += 1.0;
        }
    }
    light.x /= light.flux_e;
    light.y /= light.flux_e;
    return light;
}

double background_err_e(const InventedInstrument& i, double sky_e, const Light& light) {
    const double pixel_e2 = sky_e + i.read_noise_e * i.read_noise_e + 0.1;
    return std::sqrt(light.pixels * pixel_e2 * (1.0 + light.pixels / light.rim_pixels));
}

}  // namespace

TEST_CASE("a star's light on the frame is what its magnitude says", "[expose]") {
    const Scene scene;
    const auto frame = scene.take(11);
    // Pogson: t 10^(−0.4 (m + k X − ZP)) electrons.
    const double x = scene.airmass(scene.sky.stars[0].position);
    const double expected_e = 60.0 * std::pow(10.0, -0.4 * (12.0 + 0.2 * x - usual_zero_point_mag));
    REQUIRE(frame.star_flux_e.size() == 1);
    CHECK(frame.star_flux_e[0] == Approx(expected_e).epsilon(1e-5));

    const Plate plate(scene.instrument, scene.pointing);
    const Light light = light_at(frame, plate.truth(scene.sky.stars[0].position), 20, 0.9);
    const double sky_e = 60.0 * 1.44 * std::pow(10.0, -0.4 * (20.0 - usual_zero_point_mag));
    const double err_e = std::hypot(std::sqrt(expected_e), background_err_e(scene.instrument, sky_e, light));
    INFO("seed 11; one sigma " << err_e << " of " << expected_e);
    CHECK(light.flux_e == Approx(expected_e).margin(4.0 * err_e));
    CHECK(4.0 * err_e < 0.03 * expected_e);
}

TEST_CASE("fluxes scatter by their photons, scintillation by Osborn's formula, star by star", "[expose]") {
    Scene scene;
    scene.add(displaced(centre, {Angle::arcseconds(-60.0), Angle::arcseconds(50.0)}), 11.0, 0.7);
    scene.sky.stars[0].true_mag[band("V")] = 11.0;
    scene.air.scintillation = true;
    scene.exposure_s = 4.0;
    scene.instrument.read_noise_e = 1.0;
    scene.air.sky_mag_per_arcsec2 = 24.0;
    const Plate plate(scene.instrument, scene.pointing);
    constexpr int n = 150;
    double sum_a = 0.0, sum_b = 0.0, sum_ab = 0.0, sum_aa = 0.0, sum_bb = 0.0, expected_e = 0.0;
    for (int i = 0; i < n; ++i) {
        const auto frame = scene.take(1000 + static_cast<std::uint64_t>(i));
        expected_e = frame.star_flux_e[0];
        const double a =
            light_at(frame, plate.truth(scene.sky.stars[0].position), 14, 0.9).flux_e / expected_e;
        const double b =
            light_at(frame, plate.truth(scene.sky.stars[1].position), 14, 0.9).flux_e / expected_e;
        sum_a += a;
        sum_b += b;
        sum_aa += a * a;
        sum_bb += b * b;
        sum_ab += a * b;
    }
    const double var_a = sum_aa / n - sum_a / n * sum_a / n;
    const double var_b = sum_bb / n - sum_b / n * sum_b / n;
    const double scintillation = photometry::scintillation(scene.instrument.aperture_m, scene.exposure_s,
                                                           scene.airmass(scene.sky.stars[0].position), 95.0);
    const double background = 841.0 * 1.34 * 1.4 / (expected_e * expected_e);
    const double expected = 1.0 / expected_e + scintillation * scintillation + background;
    INFO("seeds 1000 to 1149; photons " << 1.0 / expected_e << ", scintillation "
                                        << scintillation * scintillation);
    // A variance of 300 values is known to 8 per cent: four times that.
    CHECK(0.5 * (var_a + var_b) == Approx(expected).epsilon(0.33));
    CHECK(scintillation * scintillation > 0.3 * expected);
    const double covariance = sum_ab / n - sum_a / n * sum_b / n;
    CHECK(std::abs(covariance) < 4.0 * expected / std::sqrt(static_cast<double>(n)));
}

TEST_CASE("extinction goes by each star's own airmass", "[expose]") {
    Scene scene;
    scene.start = *sky::parse_instant("2024-03-20T19:45:00");
    scene.add(displaced(centre, {Angle::arcminutes(-20.0), Angle::arcminutes(15.0)}), 12.0, 0.7);
    const auto frame = scene.take(5);
    const double x0 = scene.airmass(scene.sky.stars[0].position);
    const double x1 = scene.airmass(scene.sky.stars[1].position);
    CHECK(std::abs(x1 - x0) > 0.01);
    CHECK(magnitude_difference(frame.star_flux_e[1], frame.star_flux_e[0]) ==
          Approx(0.2 * (x1 - x0)).margin(2e-6));
    CHECK(frame.airmass == Approx(scene.airmass(scene.sky.transient.position)).margin(1e-9));
}

TEST_CASE("a colour term makes a red star instrumentally brighter by T times its colour", "[expose]") {
    // zero_points.hpp: M = m + z + T (C − C̄), so m = M − T C + ….
    Scene scene;
    scene.add(displaced(centre, {Angle::arcseconds(30.0), Angle::arcseconds(30.0)}), 12.0, 1.7);
    scene.air.extinction_mag_per_airmass = 0.0;
    scene.instrument.colour_term[band("V")] = 0.05;
    const auto frame = scene.take(5);
    CHECK(magnitude_difference(frame.star_flux_e[1], frame.star_flux_e[0]) == Approx(-0.05).margin(1e-9));
    // A band without a sequence of its own shines as its sequence band: TG by V.
    CHECK(magnitude_difference(scene.take(5, "TG").star_flux_e[1], scene.take(5, "TG").star_flux_e[0]) ==
          Approx(0.0).margin(1e-9));
    // A band that the stars have no magnitude in shows no stars.
    CHECK(scene.take(5, "Ic").star_flux_e[0] == 0.0);
}

TEST_CASE("grey cloud dims every star alike and uneven cloud each by its own", "[expose]") {
    Scene scene;
    const double clear_e = scene.take(5).star_flux_e[0];
    scene.air.cloud_mag = 0.75;
    const auto cloudy = scene.take(5);
    CHECK(magnitude_difference(cloudy.star_flux_e[0], clear_e) == Approx(0.75).margin(1e-9));

    scene.air.cloud_unevenness_mag = 0.2;
    const Plate plate(scene.instrument, scene.pointing);
    constexpr int n = 80;
    double sum2 = 0.0;
    for (int i = 0; i < n; ++i) {
        const auto frame = scene.take(2000 + static_cast<std::uint64_t>(i));
        const Light light = light_at(frame, plate.truth(scene.sky.stars[0].position), 14, 0.9);
        sum2 += std::pow(magnitude_difference(light.flux_e, frame.star_flux_e[0]), 2.0);
    }
    INFO("seeds 2000 to 2079");
    // A sigma of 80 values is known to 8 per cent: four times that; photons add 1 per cent.
    CHECK(std::sqrt(sum2 / n) == Approx(0.2).epsilon(0.32));
}

TEST_CASE("stars lie where the header's plate solution says, but for the pointing error asked", "[expose]") {
    for (const double rotation : {0.0, 33.0, 180.0}) {
        for (const bool mirrored : {false, true}) {
            Scene scene;
            scene.pointing.rotation_deg = rotation;
            scene.pointing.mirrored = mirrored;
            scene.pointing.dx_px = 1.2;
            scene.pointing.dy_px = -0.8;
            std::string text;
            for (const frame::Card& card : Plate(scene.instrument, scene.pointing).cards()) {
                std::string line = card.keyword;
                line.resize(8, ' ');
                line += "= " + (card.is_string ? "'" + card.value + "'" : card.value);
                line.resize(80, ' ');
                text += line;
            }
            const auto wcs = frame::Wcs::parse(text);
            INFO(rotation << (mirrored ? " mirrored" : ""));
            REQUIRE(wcs);
            CHECK(wcs->mirrored() == mirrored);
            CHECK(std::cos(wcs->position_angle_of_y().radians() - Angle::degrees(rotation).radians()) ==
                  Approx(1.0).margin(1e-9));
            CHECK(wcs->scale_arcsec_per_px() == Approx(1.2).epsilon(1e-9));
            const auto said = wcs->pixel(scene.sky.stars[0].position);
            REQUIRE(said);
            const auto by_header =
                Plate(scene.instrument, scene.pointing).by_header(scene.sky.stars[0].position);
            CHECK(by_header.x == Approx(said->x).margin(1e-6));
            CHECK(by_header.y == Approx(said->y).margin(1e-6));
            const Light light = light_at(scene.take(3), *said, 12, 0.9);
            // A star of 130 000 e is centred to 0.02 px by its moments.
            CHECK(light.x - said->x == Approx(1.2).margin(0.1));
            CHECK(light.y - said->y == Approx(-0.8).margin(0.1));
        }
    }
}

TEST_CASE("a host's light is all there, centred on its nucleus, blurred as the stars are", "[expose]") {
    Scene scene;
    scene.instrument.width_px = scene.instrument.height_px = 401;
    scene.sky.stars.clear();
    InventedHost host;
    host.nucleus = displaced(centre, {Angle::arcseconds(5.0), Angle::arcseconds(8.0)});
    host.disk_mag = 10.0;
    host.bulge_mag = 11.0;
    scene.sky.host = host;
    scene.air.extinction_mag_per_airmass = 0.0;
    const auto frame = scene.take(8);
    const Plate plate(scene.instrument, scene.pointing);
    const Light light = light_at(frame, plate.truth(host.nucleus), 90, 0.9);
    const double expected_e = expected_flux_e(scene.instrument, band("V"), 10.0, {}, 0.0, 60.0) +
                              expected_flux_e(scene.instrument, band("V"), 11.0, {}, 0.0, 60.0);
    // The sky's noise over the box: 2e-3 of it.
    CHECK(light.flux_e == Approx(expected_e).epsilon(0.01));
    CHECK(light.x == Approx(plate.truth(host.nucleus).x).margin(0.3));
    CHECK(light.y == Approx(plate.truth(host.nucleus).y).margin(0.3));

    // Poorer seeing lowers the nucleus and keeps the sum.
    scene.air.fwhm_arcsec = 6.0;
    const auto poor = scene.take(8);
    const auto at = plate.truth(host.nucleus);
    const auto index = static_cast<std::size_t>(std::lround(at.y) * 401 + std::lround(at.x));
    CHECK(poor.adu[index] < 0.8 * frame.adu[index]);
    CHECK(light_at(poor, at, 90, 0.9).flux_e == Approx(light.flux_e).epsilon(0.01));
}

TEST_CASE("what is below the horizon gives no light, and the frame is still a frame", "[expose]") {
    Scene scene;
    scene.sky.stars[0].position = scene.pointing.centre = {Angle::degrees(201.0), Angle::degrees(-80.0)};
    scene.sky.transient.position = scene.pointing.centre;
    const auto frame = scene.take(1);
    CHECK(frame.star_flux_e[0] == 0.0);
    CHECK(frame.transient_flux_e == 0.0);
    CHECK(std::isfinite(frame.airmass));
    CHECK(frame.adu.size() == 40000);
}

TEST_CASE("one seed gives one frame, another seed another", "[expose]") {
    const Scene scene;
    CHECK(scene.take(4).adu == scene.take(4).adu);
    CHECK(scene.take(4).adu != scene.take(5).adu);
}
