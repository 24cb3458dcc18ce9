// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "rehearsal/invented_campaign.hpp"
#include "rehearsal/moffat.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

struct Moments {
    double sum = 0.0, x = 0.0, y = 0.0, xx = 0.0, yy = 0.0;
};

// Of a star of one electron, within `half` pixels of it.
Moments moments(const PointSpread& spread, const frame::PixelPosition& place, int size, double half) {
    LightMap map(size, size, 0.0);
    Moffat(spread).add_star(map, place, 1.0);
    Moments m;
    for (int y = 0; y < size; ++y) {
        for (int x = 0; x < size; ++x) {
            if (std::hypot(x - place.x, y - place.y) > half) continue;
            const double e = map.e[map.index(x, y)];
            m.sum += e;
            m.x += e * x;
            m.y += e * y;
            m.xx += e * (x - place.x) * (x - place.x);
            m.yy += e * (y - place.y) * (y - place.y);
        }
    }
    m.x /= m.sum;
    m.y /= m.sum;
    m.xx /= m.sum;
    m.yy /= m.sum;
    return m;
}

}  // namespace

TEST_CASE("defocus and trails keep a star's light and its place", "[blur]") {
    for (const double defocus_px : {0.3, 1.5, 4.0}) {
        for (const double trail_px : {0.0, 5.0}) {
            const PointSpread spread{.fwhm_px = 2.2,
                                     .moffat_beta = 3.5,
                                     .elongation = 1.3,
                                     .direction_deg = 40.0,
                                     .defocus_px = defocus_px,
                                     .trail_px = trail_px,
                                     .trail_direction_deg = 10.0};
            const Moments m = moments(spread, {100.37, 99.81}, 201, 90.0);
            INFO(defocus_px << " " << trail_px);
            CHECK(m.sum == Approx(1.0).margin(2.0 * Moffat::accuracy));
            CHECK(m.x == Approx(100.37).margin(0.005));
            CHECK(m.y == Approx(99.81).margin(0.005));
        }
    }
}

TEST_CASE("defocus adds the second moment of a disk, a trail that of a line", "[blur]") {
    // Closed forms: R²/4 on each axis for an evenly lit disk, L²/12 along an even line. A Moffat of β = 20 is
    // near to a Gaussian, so that its moments are within reach.
    const PointSpread sharp{.fwhm_px = 3.0, .moffat_beta = 20.0};
    const frame::PixelPosition place{60.2, 60.4};
    const Moments before = moments(sharp, place, 121, 50.0);
    PointSpread blurred = sharp;
    blurred.defocus_px = 3.0;
    const Moments disk = moments(blurred, place, 121, 50.0);
    CHECK(disk.xx - before.xx == Approx(9.0 / 4.0).margin(0.03));
    CHECK(disk.yy - before.yy == Approx(9.0 / 4.0).margin(0.03));
    blurred.defocus_px = 0.0;
    blurred.trail_px = 6.0;
    const Moments line = moments(blurred, place, 121, 50.0);
    CHECK(line.xx - before.xx == Approx(36.0 / 12.0).margin(0.05));
    CHECK(line.yy - before.yy == Approx(0.0).margin(0.02));
}

TEST_CASE("a share of the frames is out of focus, and the rest of the campaign does not change", "[blur]") {
    RehearsalOptions options;
    options.width_px = options.height_px = 200;
    options.nights = 6;
    options.frames = 20;
    const auto usual = invent_campaign(options);
    options.defocused_share = 0.4;
    const auto campaign = invent_campaign(options);
    REQUIRE(usual);
    REQUIRE(campaign);
    int defocused = 0;
    for (std::size_t i = 0; i < campaign->frames.size(); ++i) {
        const InventedAir& air = campaign->frames[i].air;
        CHECK(usual->frames[i].air.defocus_px == 0.0);
        CHECK(air.fwhm_arcsec == usual->frames[i].air.fwhm_arcsec);
        CHECK(air.defocus_px <= options.defocus_px);
        defocused += air.defocus_px > 0.0 ? 1 : 0;
    }
    // Binomial: 48 ± 5.4 of 120, seed 2.
    CHECK(defocused > 25);
    CHECK(defocused < 71);
}
