// SPDX-License-Identifier: MIT
#include "night/mean_place.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;

namespace {

night::Campaign campaign_at(double ra_deg, double dec_deg) {
    night::Campaign campaign;
    campaign.position = {Angle::degrees(ra_deg), Angle::degrees(dec_deg)};
    return campaign;
}

photometry::FrameFluxes frame_at(const SkyPosition& place, double err,
                                 const std::string& night = "2024-03-14") {
    photometry::FrameFluxes frame;
    frame.night = night;
    frame.seen = photometry::SeenPlace{
        .place = place, .east_err_arcsec = err, .north_err_arcsec = err, .stars = 9, .method = "centroid"};
    return frame;
}

std::vector<const photometry::FrameFluxes*> pointers(const std::vector<photometry::FrameFluxes>& frames) {
    std::vector<const photometry::FrameFluxes*> out;
    for (const auto& frame : frames)
        out.push_back(&frame);
    return out;
}

SkyPosition moved(const SkyPosition& from, double east_arcsec, double north_arcsec) {
    return displaced(from, {Angle::arcseconds(east_arcsec), Angle::arcseconds(north_arcsec)});
}

}  // namespace

TEST_CASE("the offset from the nucleus is that of the tangent plane there", "[night][place]") {
    // Computed with astropy 5.2.1: SkyCoord(202.46957°, 47.19526°).spherical_offsets_to(202.4775°, 47.1921°)
    // is 19.3996″, −11.3750″; separation 22.4885″, position angle 120.38539°. A tangent plane and a sphere
    // differ by 1e-8 of it here.
    night::Campaign campaign = campaign_at(202.4775, 47.1921);
    campaign.nucleus = SkyPosition{Angle::degrees(202.46957), Angle::degrees(47.19526)};
    const std::vector frames{frame_at(campaign.position, 0.05)};
    const auto place = night::mean_place(pointers(frames), campaign);
    REQUIRE(place);
    REQUIRE(place->from_nucleus);
    CHECK(place->from_nucleus->east_arcsec == Approx(19.3996).margin(2e-4));
    CHECK(place->from_nucleus->north_arcsec == Approx(-11.3750).margin(2e-4));
    CHECK(place->from_nucleus->distance_arcsec == Approx(22.4885).margin(2e-4));
    CHECK(place->from_nucleus->position_angle_deg == Approx(120.38539).margin(1e-3));
    CHECK(place->from_nucleus->distance_err_arcsec == Approx(0.05).epsilon(1e-3));
    CHECK(place->from_campaign.distance_arcsec == Approx(0.0).margin(1e-6));
    campaign.nucleus.reset();
    CHECK_FALSE(night::mean_place(pointers(frames), campaign)->from_nucleus);
}

TEST_CASE("nothing seen is no place", "[night][place]") {
    const night::Campaign campaign = campaign_at(10.0, -20.0);
    CHECK_FALSE(night::mean_place({}, campaign));
    const std::vector<photometry::FrameFluxes> blind(3);
    CHECK_FALSE(night::mean_place(pointers(blind), campaign));
    CHECK(night::places_by_night(pointers(blind), campaign).empty());
    const std::vector nonsense{frame_at(campaign.position, 0.0)};
    CHECK_FALSE(night::mean_place(pointers(nonsense), campaign));
}

TEST_CASE("frames average down, what they share does not", "[night][place]") {
    const night::Campaign campaign = campaign_at(150.0, 60.0);
    std::vector<photometry::FrameFluxes> frames;
    for (int i = 0; i < 100; ++i) {
        // Half an error to this side and that: the scatter is less than it should be, and is not used.
        frames.push_back(frame_at(moved(campaign.position, 0.3 + (i % 2 == 0 ? 0.05 : -0.05), -0.2), 0.08,
                                  i < 50 ? "2024-03-14" : "2024-03-18"));
        frames.back().seen->plate_err_arcsec = 0.05;
        frames.back().seen->plate_noise_arcsec = 0.03;  // so the catalogue's part is 0.04
        frames.back().seen->host_err_arcsec = 0.03;
    }
    const auto place = night::mean_place(pointers(frames), campaign);
    REQUIRE(place);
    CHECK(place->from_campaign.east_arcsec == Approx(0.3).margin(1e-3));
    CHECK(place->from_campaign.north_arcsec == Approx(-0.2).margin(1e-3));
    // The weights of good values are a little below 1: up to a per cent.
    CHECK(place->east_random_arcsec == Approx(std::hypot(0.08, 0.03) / 10.0).epsilon(0.02));
    CHECK(place->common_err_arcsec == Approx(0.05).epsilon(1e-6));
    CHECK(place->east_err_arcsec == Approx(std::hypot(place->east_random_arcsec, 0.05)).epsilon(1e-9));
    CHECK(place->frames == 100);
    CHECK(place->nights == 2);
    CHECK(place->dof == 198);
    const auto nights = night::places_by_night(pointers(frames), campaign);
    REQUIRE(nights.size() == 2);
    CHECK(nights.at("2024-03-18").frames == 50);
    CHECK(nights.at("2024-03-18").east_random_arcsec > 1.3 * place->east_random_arcsec);
}

TEST_CASE("one sigma of a mean place is one sigma, also with mistakes among the frames", "[night][place]") {
    numerics::Random random(4711);
    const night::Campaign campaign = campaign_at(0.001, 71.0);  // offsets run across 0 h
    for (const double mistakes : {0.0, 0.1}) {
        std::vector<double> pulls;
        for (int k = 0; k < 400; ++k) {
            std::vector<photometry::FrameFluxes> frames;
            for (int i = 0; i < 12; ++i) {
                const double err = 0.03 + 0.1 * random.uniform();
                const double true_err = random.uniform() < mistakes ? 15.0 * err : err;
                frames.push_back(frame_at(moved(campaign.position, 0.7 + random.gaussian(0.0, true_err),
                                                0.4 + random.gaussian(0.0, true_err)),
                                          err));
            }
            const auto place = night::mean_place(pointers(frames), campaign);
            REQUIRE(place);
            pulls.push_back((place->from_campaign.east_arcsec - 0.7) / place->east_err_arcsec);
            pulls.push_back((place->from_campaign.north_arcsec - 0.4) / place->north_err_arcsec);
        }
        INFO(mistakes << " of the frames are mistakes");
        // 800 pulls: 0.035; the scatter of twelve frames widens half of them.
        CHECK(numerics::robust_spread(pulls) > 0.85);
        CHECK(numerics::robust_spread(pulls) < 1.1);
        CHECK(std::abs(numerics::median(pulls)) < 0.12);
    }
}

TEST_CASE("frames that scatter more than they say have a wider mean", "[night][place]") {
    numerics::Random random(12);
    const night::Campaign campaign = campaign_at(150.0, 2.0);
    std::vector<photometry::FrameFluxes> frames;
    for (int i = 0; i < 60; ++i) {
        frames.push_back(
            frame_at(moved(campaign.position, random.gaussian(0.0, 0.2), random.gaussian(0.0, 0.2)), 0.1));
    }
    const auto place = night::mean_place(pointers(frames), campaign);
    REQUIRE(place);
    CHECK(place->east_err_arcsec == Approx(0.2 / std::sqrt(60.0)).epsilon(0.3));
    CHECK(place->chi2 > 2.0 * place->dof);
}

TEST_CASE("differences count alone where the others' host light would spoil them", "[night][place]") {
    const night::Campaign campaign = campaign_at(150.0, 2.0);
    std::vector<photometry::FrameFluxes> frames;
    for (int i = 0; i < 8; ++i) {
        const bool difference = i < 4;
        frames.push_back(frame_at(moved(campaign.position, difference ? 0.0 : 0.5, 0.0), 0.05));
        frames.back().seen->method = difference ? "difference" : "psf";
        if (!difference) frames.back().seen->host_err_arcsec = 0.4;
    }
    const auto place = night::mean_place(pointers(frames), campaign);
    REQUIRE(place);
    CHECK(place->method == "difference");
    CHECK(place->frames == 4);
    CHECK(place->from_campaign.east_arcsec == Approx(0.0).margin(1e-6));
    // Two differences are too few to stand for the campaign.
    const auto mixed = night::mean_place(
        std::vector<const photometry::FrameFluxes*>{&frames[0], &frames[1], &frames[5], &frames[6]},
        campaign);
    REQUIRE(mixed);
    CHECK(mixed->method == "difference, psf");
}
