// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <numeric>

#include "rehearsal/campaign_text.hpp"
#include "rehearsal/field_troubles.hpp"
#include "rehearsal/plate.hpp"
#include "rehearsal/rehearse.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

RehearsalOptions small() {
    RehearsalOptions o;
    o.nights = 1;
    o.frames = 6;
    o.width_px = 200;
    o.height_px = 160;
    o.host = false;
    o.trailing = false;
    return o;
}

InventedCampaign invented(const RehearsalOptions& options) {
    auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    return std::move(*campaign);
}

bool has_plate(const InventedCampaign& campaign, const PlannedFrame& frame) {
    for (const frame::Card& card : header_cards(campaign, frame, 1.0)) {
        if (card.keyword == "CTYPE1") return true;
    }
    return false;
}

double light_e(const InventedCampaign& campaign, const PlannedFrame& frame) {
    const InventedFrame exposed = expose(campaign, frame);
    return campaign.instrument.gain_e_per_adu * std::accumulate(exposed.adu.begin(), exposed.adu.end(), 0.0);
}

}  // namespace

TEST_CASE("only as many frames of a night as asked for have a plate solution", "[field-troubles]") {
    RehearsalOptions o = small();
    o.nights = 2;
    o.field.solved = 2;
    const InventedCampaign campaign = invented(o);
    for (std::size_t i = 0; i < campaign.frames.size(); ++i)
        CHECK(has_plate(campaign, campaign.frames[i]) == (i % 6 < 2));
    o.field.misled_share = 1.0;
    const InventedCampaign misled = invented(o);
    CHECK(has_plate(misled, misled.frames[5]));
    CHECK(misled.frames[5].plate == HeaderPlate::misled);
    CHECK(misled.frames[1].plate == HeaderPlate::right);
}

TEST_CASE("the field drifts as far as asked for from a night's first frame to its last", "[field-troubles]") {
    RehearsalOptions o = small();
    o.flip = false;
    const InventedCampaign still = invented(o);
    o.field.drift_px = 50.0;
    const InventedCampaign drifting = invented(o);
    for (const std::size_t i : {std::size_t{0}, std::size_t{5}}) {
        // Against the same frame without drift, whose pointing scatters alike.
        const Plate plate(drifting.instrument, still.frames[i].pointing);
        const auto at = plate.by_header(drifting.frames[i].pointing.centre);
        const double moved_px = std::hypot(at.x - 0.5 * (o.width_px - 1), at.y - 0.5 * (o.height_px - 1));
        CHECK(moved_px == Approx(i == 0 ? 0.0 : 50.0).margin(1e-3));
    }
}

TEST_CASE("a jump of the mount divides a star's light and loses none; a satellite adds its own",
          "[field-troubles]") {
    RehearsalOptions o = small();
    o.cloud = false;
    o.hot_pixels = 0;
    InventedCampaign campaign = invented(o);
    campaign.instrument.cosmic_rays_per_minute = 0.0;
    PlannedFrame frame = campaign.frames.front();
    const double single_e = light_e(campaign, frame);
    frame.air.jump = {8.0, 3.0, 0.4};
    // Of some 1e8 electrons of sky and stars, photon noise is 1e4.
    CHECK(light_e(campaign, frame) == Approx(single_e).margin(5.0 * std::sqrt(2.0 * single_e)));
    frame.air.satellite = {100.0, 80.0, 0.0, 2000.0};
    CHECK(light_e(campaign, frame) - single_e ==
          Approx(2000.0 * o.width_px).margin(5.0 * std::sqrt(2.0 * single_e)));
}

TEST_CASE("troubles out of range are refused by name", "[field-troubles]") {
    RehearsalOptions o = small();
    o.field.doubled_share = 1.5;
    const auto refused = invent_campaign(o);
    REQUIRE_FALSE(refused);
    CHECK(refused.error().what.find("doubled") != std::string::npos);
}
