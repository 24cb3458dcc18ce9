// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "photometry/circle_pixel.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/extended.hpp"
#include "rehearsal/host_shape.hpp"
#include "rehearsal/invented_campaign.hpp"
#include "rehearsal/plate.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

const SkyPosition centre{Angle::degrees(201.338), Angle::degrees(37.27)};
constexpr double disk_e = 1.0e6, bulge_e = 3.0e5, nucleus_e = 1.0e5;

InventedInstrument wide(double scale_arcsec_per_px = 1.2) {
    InventedInstrument instrument;
    instrument.scale_arcsec_per_px = scale_arcsec_per_px;
    instrument.width_px = instrument.height_px = static_cast<int>(420.0 / scale_arcsec_per_px);
    return instrument;
}

LightMap light_of(InventedHost host, const InventedInstrument& instrument, const PointSpread& spread,
                  double dx_px = 0.0) {
    host.nucleus = centre;
    LightMap map(instrument.width_px, instrument.height_px, 0.0);
    add_host(map, host, {disk_e, bulge_e, host.nucleus_mag ? nucleus_e : 0.0},
             Plate(instrument, {.centre = centre, .dx_px = dx_px}), Moffat(spread));
    return map;
}

double total(const LightMap& map) {
    return std::accumulate(map.e.begin(), map.e.end(), 0.0);
}

double at_offset(const LightMap& map, const InventedInstrument& instrument, const SkyOffset& away) {
    const auto p = Plate(instrument, {.centre = centre}).truth(displaced(centre, away));
    return map.e[map.index(static_cast<int>(std::lround(p.x)), static_cast<int>(std::lround(p.y)))];
}

RehearsalOptions small(HostKind kind, std::uint64_t seed) {
    RehearsalOptions options;
    options.seed = seed;
    options.nights = 1;
    options.frames = 1;
    options.width_px = options.height_px = 300;
    options.host_kind = kind;
    return options;
}

}  // namespace

TEST_CASE("arms, clumps and a nucleus move a host's light about and keep its sum", "[host]") {
    const PointSpread seeing{.fwhm_px = 2.5};
    for (const HostKind kind : {HostKind::smooth, HostKind::spiral, HostKind::clumpy}) {
        for (const std::uint64_t seed : {1, 2, 3}) {
            InventedHost host = invent_host(kind, seed);
            host.nucleus_mag = 17.0;
            INFO(word(kind) << ", seed " << seed);
            // 420″ hold seven scale lengths; the star's wings and the edges of points cost 1e-3.
            CHECK(total(light_of(host, wide(), seeing)) ==
                  Approx(disk_e + bulge_e + nucleus_e).epsilon(2e-3));
        }
    }
}

TEST_CASE("an arm is brighter than the disk between arms by its contrast", "[host]") {
    InventedHost host;
    host.disk_scale_arcsec = 20.0;
    host.disk_axis_ratio = 1.0;
    host.disk_angle_deg = 0.0;
    host.arms = HostArms{.number = 2, .contrast = 2.0, .pitch_deg = 25.0, .width = 0.12};
    const Exponential disk{disk_e, 20.0, 1.0, 0.0};
    // At one scale length, ln(r) = 0: crests along the long axis, valleys across it.
    const auto towards = [](double east, double north) {
        return SkyOffset{Angle::arcseconds(east), Angle::arcseconds(north)};
    };
    CHECK(arm_factor(*host.arms, disk, towards(0.0, 20.0)) == Approx(3.0).margin(1e-5));
    CHECK(arm_factor(*host.arms, disk, towards(0.0, -20.0)) == Approx(3.0).margin(1e-5));
    CHECK(arm_factor(*host.arms, disk, towards(20.0, 0.0)) == Approx(1.0).margin(1e-3));
    const LightMap map = light_of(host, wide(), {.fwhm_px = 2.0});
    // The air fills the valleys a little.
    CHECK(at_offset(map, wide(), towards(0.0, 20.0)) > 2.2 * at_offset(map, wide(), towards(20.0, 0.0)));
}

TEST_CASE("a dust lane dims what lies behind it by its depth, and only that", "[host]") {
    InventedHost host;
    host.disk_axis_ratio = 0.9;
    host.dust_lane = DustLane{.depth_mag = 1.0, .fwhm_arcsec = 8.0, .offset_arcsec = 10.0, .angle_deg = 0.0};
    InventedHost clear = host;
    clear.dust_lane.reset();
    const LightMap dimmed = light_of(host, wide(), {.fwhm_px = 2.0});
    const LightMap full = light_of(clear, wide(), {.fwhm_px = 2.0});
    // The lane runs north-south, 10″ to the east.
    const auto ratio = [&](double east) {
        const SkyOffset away{Angle::arcseconds(east), Angle::arcseconds(6.0)};
        return at_offset(dimmed, wide(), away) / at_offset(full, wide(), away);
    };
    CHECK(ratio(10.0) == Approx(0.398).margin(0.06));  // 10^−0.4, and what the air throws into it
    CHECK(ratio(-12.0) == Approx(1.0).margin(0.01));
    CHECK(let_through(*host.dust_lane, {Angle::arcseconds(10.0), Angle::arcseconds(-40.0)}) ==
          Approx(0.39811).margin(1e-5));
    CHECK(total(dimmed) < 0.95 * total(full));
}

TEST_CASE("a compact host is blurred as a star is, in focus and out of it", "[host]") {
    InventedHost host;
    host.disk_scale_arcsec = host.bulge_scale_arcsec = 0.02;
    host.disk_axis_ratio = 1.0;
    const InventedInstrument instrument = wide();
    for (const double defocus_px : {0.0, 2.0}) {
        for (const double dx_px : {0.0, 0.3}) {
            const PointSpread spread{
                .fwhm_px = 2.5, .elongation = 1.2, .direction_deg = 30.0, .defocus_px = defocus_px};
            const LightMap map = light_of(host, instrument, spread, dx_px);
            LightMap star(instrument.width_px, instrument.height_px, 0.0);
            const auto place = Plate(instrument, {.centre = centre, .dx_px = dx_px}).truth(centre);
            Moffat(spread).add_star(star, place, disk_e + bulge_e);
            const double peak = *std::max_element(star.e.begin(), star.e.end());
            double worst = 0.0;
            for (std::size_t i = 0; i < star.e.size(); ++i)
                worst = std::max(worst, std::abs(star.e[i] - map.e[i]) / peak);
            INFO("defocus " << defocus_px << " px, shifted " << dx_px << " px");
            // Kept within 4.5 widths, a host has up to 2e-3 more there; its points stand on a grid of 0.2 px.
            CHECK(worst < 0.01);
        }
    }
}

TEST_CASE("the grid that a host is sampled on does not show", "[host]") {
    // The same host parts of a pixel away: light within 4″ at several places. The circle cuts pixels whose
    // light it takes for even, which costs 1e-3 on a steep host.
    for (const HostKind kind : {HostKind::smooth, HostKind::spiral, HostKind::clumpy, HostKind::dusty}) {
        const InventedHost host = invent_host(kind, 5);
        const auto light_within = [&](double scale, double dx_px, double east, double north) {
            const InventedInstrument instrument = wide(scale);
            const LightMap map = light_of(host, instrument, {.fwhm_px = 3.0 / scale}, dx_px);
            const auto p = Plate(instrument, {.centre = centre, .dx_px = dx_px})
                               .truth(displaced(centre, {Angle::arcseconds(east), Angle::arcseconds(north)}));
            double sum = 0.0;
            for (int y = 0; y < map.height_px; ++y) {
                for (int x = 0; x < map.width_px; ++x)
                    sum += map.e[map.index(x, y)] *
                           photometry::circle_pixel_overlap(x - p.x, y - p.y, 4.0 / scale);
            }
            return sum;
        };
        for (const auto& [east, north] : {std::pair{0.0, 0.0}, {5.0, 3.0}, {-9.0, 8.0}}) {
            INFO(word(kind) << " at " << east << ", " << north);
            const double middle_e = light_within(1.2, 0.0, east, north);
            CHECK(light_within(1.2, 0.5, east, north) == Approx(middle_e).epsilon(3e-3));
            CHECK(light_within(1.2, 0.23, east, north) == Approx(middle_e).epsilon(3e-3));
            const double fine_e = light_within(0.5, 0.0, east, north);
            CHECK(light_within(0.5, 0.5, east, north) == Approx(fine_e).epsilon(3e-3));
        }
    }
}

TEST_CASE("hosts are drawn from their seed", "[host]") {
    for (const HostKind kind : {HostKind::smooth, HostKind::spiral, HostKind::clumpy, HostKind::dusty}) {
        const auto adu = [&](std::uint64_t seed) {
            const auto campaign = invent_campaign(small(kind, seed));
            REQUIRE(campaign);
            return expose(*campaign, campaign->frames[0]).adu;
        };
        CHECK(adu(3) == adu(3));
        CHECK(invent_host(kind, 3).disk_mag != invent_host(kind, 4).disk_mag);
        CHECK(invent_host(kind, 3).disk_scale_arcsec != invent_host(kind, 4).disk_scale_arcsec);
        CHECK(invent_host(kind, 3).arms.has_value() == (kind == HostKind::spiral));
        CHECK(invent_host(kind, 3).dust_lane.has_value() == (kind == HostKind::dusty));
    }
    double share = 0.0;
    for (const HostClump& clump : strewn_clumps({}, 25, 0.3, 9)) {
        CHECK(clump.fwhm_arcsec >= 0.5);
        CHECK(clump.fwhm_arcsec <= 3.0);
        share += clump.share;
    }
    CHECK(share == Approx(0.3));
}

TEST_CASE("the transient stands at any distance and angle from the nucleus, and on it", "[host]") {
    for (const double distance : {0.0, 3.0, 25.0}) {
        for (const double angle : {0.0, 200.0}) {
            RehearsalOptions options = small(HostKind::smooth, 2);
            options.host_offset_arcsec = distance;
            options.host_angle_deg = angle;
            const auto campaign = invent_campaign(options);
            REQUIRE(campaign);
            const SkyOffset away = offset(campaign->sky.transient.position, campaign->sky.host->nucleus);
            const double radians = Angle::degrees(angle).radians();
            CHECK(away.east.arcseconds() == Approx(distance * std::sin(radians)).margin(1e-6));
            CHECK(away.north.arcseconds() == Approx(distance * std::cos(radians)).margin(1e-6));
        }
    }
}

TEST_CASE("the host's light about the transient is known, and the transient is set by it", "[host]") {
    RehearsalOptions options = small(HostKind::spiral, 4);
    options.host_offset_arcsec = 6.0;
    options.cloud = false;
    auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    PlannedFrame frame = campaign->frames[0];
    // Two frames of the same chance, with the host and without, neither with the transient.
    frame.transient_share = 0.0;
    const InventedFrame with_host = expose(*campaign, frame);
    InventedCampaign bare = *campaign;
    bare.sky.host.reset();
    CHECK(host_in_aperture_e(bare, frame, 4.0) == 0.0);
    CHECK(with_host.transient_flux_e == 0.0);
    const InventedFrame without = expose(bare, frame);
    const auto place = Plate(campaign->instrument, frame.pointing).truth(campaign->sky.transient.position);
    double seen_e = 0.0, noise_e2 = 0.0;
    for (int y = 0; y < 300; ++y) {
        for (int x = 0; x < 300; ++x) {
            const double share = photometry::circle_pixel_overlap(x - place.x, y - place.y, 4.0 / 1.2);
            const auto i = static_cast<std::size_t>(y * 300 + x);
            seen_e += share * 0.9 * (static_cast<double>(with_host.adu[i]) - without.adu[i]);
            noise_e2 += share * 0.9 * (static_cast<double>(with_host.adu[i]) + without.adu[i] - 2 * 300.0);
        }
    }
    const double host_e = host_in_aperture_e(*campaign, frame, 4.0);
    CHECK(seen_e == Approx(host_e).margin(4.0 * std::sqrt(noise_e2)));
    CHECK(host_e > 10.0 * std::sqrt(noise_e2));

    for (const double ratio : {3.0, 0.3}) {
        REQUIRE(match_transient_to_host(*campaign, frame, 4.0, ratio));
        frame.transient_share = 1.0;
        CHECK(expose(*campaign, frame).transient_flux_e == Approx(ratio * host_e).epsilon(1e-9));
    }
    CHECK_FALSE(match_transient_to_host(*campaign, frame, 4.0, 0.0));
    CHECK_FALSE(match_transient_to_host(bare, frame, 4.0, 1.0));
}
