// SPDX-License-Identifier: MIT
#include "rehearsal/invented_sky.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <set>

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

Band band(const char* name) {
    return *parse_band(name);
}

SkyOptions options_for(std::uint64_t seed) {
    return {.seed = seed,
            .centre = {Angle::degrees(201.338), Angle::degrees(37.27)},
            .bands = {band("V"), band("Rc")}};
}

}  // namespace

TEST_CASE("the table's stars have labels of their own, every band, and one check star", "[sky]") {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        INFO("seed " << seed);
        SkyOptions options = options_for(seed);
        options.comparison_stars = 30;  // many of one magnitude
        const InventedSky sky = invent_sky(options);
        std::set<std::string> labels;
        int checks = 0, field = 0;
        for (const InventedStar& star : sky.stars) {
            CHECK(star.true_mag.size() == 3);  // B for the colour of V
            if (star.label.empty()) {
                ++field;
                CHECK(star.catalogue.empty());
                continue;
            }
            CHECK(labels.insert(star.label).second);
            checks += star.check ? 1 : 0;
            const double tenths = std::stod(star.label.substr(0, 3));
            CHECK(tenths == Approx(10.0 * star.catalogue.at(band("V")).value).margin(0.51));
            const double visual = star.true_mag.at(band("V"));
            CHECK(visual >= options.brightest_mag);
            CHECK(visual <= options.faintest_mag);
        }
        CHECK(labels.size() == 31);
        CHECK(checks == 1);
        CHECK(field == options.field_stars);
    }
}

TEST_CASE("catalogue magnitudes miss the truth by Gaussian errors of the size they state", "[sky]") {
    double sum = 0.0, sum2 = 0.0;
    int n = 0;
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        for (const InventedStar& star : invent_sky(options_for(seed)).stars) {
            for (const auto& [b, catalogue] : star.catalogue) {
                const double pull = (catalogue.value - star.true_mag.at(b)) / catalogue.err;
                CHECK(catalogue.err == Approx(0.03));
                sum += pull;
                sum2 += pull * pull;
                ++n;
            }
        }
    }
    INFO("seeds 1 to 60, " << n << " magnitudes");
    REQUIRE(n == 60 * 11 * 3);
    // Four standard errors of a mean and of a variance.
    CHECK(sum / n == Approx(0.0).margin(4.0 / std::sqrt(n)));
    CHECK(sum2 / n == Approx(1.0).margin(4.0 * std::sqrt(2.0 / n)));
}

TEST_CASE("nothing crowds a comparison star or the transient, unless blends are asked for", "[sky]") {
    const auto closest_arcsec = [](const InventedSky& sky) {
        double closest = 1e9;
        for (const InventedStar& star : sky.stars) {
            closest = std::min(closest, separation(star.position, sky.transient.position).arcseconds());
            if (star.label.empty()) continue;
            for (const InventedStar& other : sky.stars) {
                if (&other != &star)
                    closest = std::min(closest, separation(star.position, other.position).arcseconds());
            }
        }
        return closest;
    };
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        INFO("seed " << seed);
        SkyOptions options = options_for(seed);
        CHECK(closest_arcsec(invent_sky(options)) >= options.clear_arcsec);
        options.blended_stars = 2;
        CHECK(closest_arcsec(invent_sky(options)) == Approx(2.0).margin(0.01));
    }
}

TEST_CASE("a field too small for its stars is filled all the same", "[sky]") {
    SkyOptions options = options_for(3);
    options.field_arcmin = 1.0;
    options.comparison_stars = 100;
    CHECK(invent_sky(options).stars.size() == 141);
}

TEST_CASE("more field stars leave the table's stars as they were", "[sky]") {
    SkyOptions options = options_for(3);
    const InventedSky few = invent_sky(options);
    options.field_stars = 200;
    const InventedSky many = invent_sky(options);
    for (std::size_t i = 0; i < 11; ++i) {
        CHECK(many.stars[i].position == few.stars[i].position);
        CHECK(many.stars[i].catalogue == few.stars[i].catalogue);
    }
    CHECK(invent_sky(options_for(4)).stars[0].catalogue != few.stars[0].catalogue);
}

TEST_CASE("the host's nucleus lies at its distance from the transient", "[sky]") {
    const InventedSky sky = invent_sky(options_for(1));
    REQUIRE(sky.host);
    CHECK(separation(sky.host->nucleus, sky.transient.position).arcseconds() == Approx(16.0).margin(1e-6));
    SkyOptions options = options_for(1);
    options.host = false;
    CHECK_FALSE(invent_sky(options).host);
}

TEST_CASE("the transient falls along a straight line after its peak and rises along a parabola", "[sky]") {
    const InventedTransient transient{.peak_bjd_tdb = 2460384.0,
                                      .peak_mag = {{band("B"), 14.0}, {band("V"), 13.5}},
                                      .decline_mag_per_day = {{band("B"), 0.06}, {band("V"), 0.05}}};
    CHECK(transient.magnitude(band("V"), 2460394.0) == Approx(14.0));
    CHECK(transient.magnitude(band("V"), 2460384.0) == Approx(13.5));
    CHECK(transient.magnitude(band("V"), 2460374.0) - 13.5 ==
          Approx(4.0 * (transient.magnitude(band("V"), 2460379.0) - 13.5)));
    CHECK(transient.magnitude(band("TG"), 2460394.0) == Approx(14.0));  // TG stands on V
    CHECK(*transient.colour(band("V"), 2460394.0) == Approx(0.6));
    CHECK_FALSE(transient.colour(band("Rc"), 2460394.0));
}
