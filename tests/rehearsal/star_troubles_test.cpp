// SPDX-License-Identifier: MIT
#include "rehearsal/star_troubles.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "quantities/magnitude.hpp"
#include "rehearsal/invented_campaign.hpp"
#include "sky/barycentre.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using namespace emberline::rehearsal;

namespace {

RehearsalOptions small() {
    RehearsalOptions o;
    o.nights = 3;
    o.frames = 1;
    o.width_px = o.height_px = 300;
    o.host = false;
    o.cloud = false;
    return o;
}

InventedCampaign invented(const RehearsalOptions& options) {
    auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    return std::move(*campaign);
}

std::size_t place_of(const InventedSky& sky, const std::string& label) {
    const auto found =
        std::find_if(sky.stars.begin(), sky.stars.end(), [&](const auto& s) { return s.label == label; });
    REQUIRE(found != sky.stars.end());
    return static_cast<std::size_t>(found - sky.stars.begin());
}

}  // namespace

TEST_CASE("each trouble befalls a comparison star of its own, and nothing else changes", "[star_troubles]") {
    RehearsalOptions options = small();
    const InventedCampaign clean = invented(options);
    options.stars = {VariableStar{0.15, 5.3}, BlendedStar{2.5, 2.0}, 0.25};
    const InventedCampaign spoilt = invented(options);
    CHECK(clean.sky.troubled.empty());
    REQUIRE(spoilt.sky.troubled.size() == 3);
    std::set<std::string> labels;
    for (const TroubledStar& star : spoilt.sky.troubled)
        labels.insert(star.label);
    CHECK(labels.size() == 3);
    // One more star, at the end: the companion.
    REQUIRE(spoilt.sky.stars.size() == clean.sky.stars.size() + 1);
    for (std::size_t i = 0; i < clean.sky.stars.size(); ++i) {
        const InventedStar &was = clean.sky.stars[i], &is = spoilt.sky.stars[i];
        CHECK(is.label == was.label);
        CHECK(is.true_mag == was.true_mag);
        if (labels.contains(is.label)) {
            CHECK_FALSE(is.check);
        } else {
            CHECK_FALSE(is.pulsation);
            CHECK(is.catalogue == was.catalogue);
        }
    }
    const TroubledStar& blended = spoilt.sky.troubled[1];
    CHECK(blended.kind == TroubleKind::blended);
    const InventedStar& star = spoilt.sky.stars[place_of(spoilt.sky, blended.label)];
    const InventedStar& companion = spoilt.sky.stars.back();
    CHECK(companion.label.empty());
    CHECK(separation(star.position, companion.position).arcseconds() == Approx(2.5).epsilon(1e-6));
    for (const auto& [band, magnitude] : star.true_mag)
        CHECK(companion.true_mag.at(band) == Approx(magnitude + 2.0));
    const TroubledStar& wrong = spoilt.sky.troubled[2];
    CHECK(wrong.kind == TroubleKind::wrong);
    const std::size_t at = place_of(clean.sky, wrong.label);
    for (const auto& [band, magnitude] : clean.sky.stars[at].catalogue)
        CHECK(spoilt.sky.stars[at].catalogue.at(band).value == Approx(magnitude.value + 0.25));
}

TEST_CASE("a variable star sends what its sinusoid says", "[star_troubles]") {
    RehearsalOptions options = small();
    const InventedCampaign steady = invented(options);
    options.stars.variable = VariableStar{0.3, 5.3};
    const InventedCampaign varying = invented(options);
    const std::string label = varying.sky.troubled.front().label;
    const std::size_t star = place_of(varying.sky, label);
    const Pulsation& pulsation = varying.sky.stars[star].pulsation.value();
    CHECK(pulsation.at(2460000.0 + 1.0) == Approx(pulsation.at(2460000.0 + 6.3)));
    for (std::size_t i = 0; i < steady.frames.size(); ++i) {
        const PlannedFrame& planned = varying.frames[i];
        const double before_e = expose(steady, steady.frames[i]).star_flux_e[star];
        const double after_e = expose(varying, planned).star_flux_e[star];
        REQUIRE(before_e > 0.0);
        const double bjd_tdb = sky::bjd_tdb(sky::later_by(planned.start_utc, 0.5 * planned.exposure_s),
                                            varying.sky.transient.position, varying.site);
        CHECK(magnitude_difference(after_e, before_e) == Approx(pulsation.at(bjd_tdb)).margin(1e-9));
    }
}

TEST_CASE("troubles that cannot be are refused", "[star_troubles]") {
    RehearsalOptions options = small();
    options.comparison_stars = 2;
    options.stars = {VariableStar{}, BlendedStar{}, 0.25};
    const auto few = invent_campaign(options);
    REQUIRE_FALSE(few);
    CHECK(few.error().kind == ProblemKind::request);
    CHECK(few.error().what == "2 comparison stars cannot have 3 troubles.");
    options.comparison_stars = 10;
    options.stars.variable->period_days = 0.0;
    CHECK_FALSE(invent_campaign(options));
    options.stars.variable->period_days = std::nan("");
    CHECK_FALSE(invent_campaign(options));
}

TEST_CASE("the truth of the troubles is a table", "[star_troubles]") {
    CHECK(truth_troubles_csv({{"126", TroubleKind::varies, 0.15, 5.3, {}},
                              {"131b", TroubleKind::blended, 2.0, {}, 2.5},
                              {"140", TroubleKind::wrong, 0.25, {}, {}}}) ==
          "label,trouble,size_mag,period_days,distance_arcsec\n126,varies,0.1500,5.3000,\n"
          "131b,blended,2.0000,,2.5000\n140,wrong,0.2500,,\n");
}
