// SPDX-License-Identifier: MIT
// A stack's noise: a sum of N exposures has N times one exposure's variance, a mean 1/N, a median π/2N of it
// for many; bilinear shifts smooth single pixels and leave large blocks alone.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "numerics/robust.hpp"
#include "rehearsal/live_stack.hpp"
#include "sky/time_scales.hpp"

using namespace emberline;
using namespace emberline::rehearsal;
using frame::StackKind;

namespace {

// Without stars, host and defects: sky alone, but for the transient, which is too faint to be seen.
InventedCampaign empty_field() {
    RehearsalOptions options{.seed = 5,
                             .nights = 1,
                             .frames = 1,
                             .exposure_s = 10.0,
                             .host = false,
                             .cloud = false,
                             .width_px = 160,
                             .height_px = 120};
    InventedCampaign campaign = *invent_campaign(options);
    campaign.sky.stars.clear();
    campaign.instrument.hot_pixels = 0;
    campaign.instrument.cosmic_rays_per_minute = 0.0;
    campaign.sky.transient.light_share = 0.0;
    return campaign;
}

struct Sky {
    double level, variance;
};
Sky sky_of(const std::vector<float>& adu, int width, int margin) {
    std::vector<double> inner;
    const int height = static_cast<int>(adu.size()) / width;
    for (int y = margin; y < height - margin; ++y) {
        for (int x = margin; x < width - margin; ++x)
            inner.push_back(static_cast<double>(adu[static_cast<std::size_t>(y * width + x)]));
    }
    const auto clipped = numerics::clipped_mean(inner, 6.0, 6.0);
    return {clipped.mean, clipped.sigma * clipped.sigma};
}

std::optional<std::string> card(const InventedStack& stack, const char* keyword) {
    for (const frame::Card& c : stack.cards) {
        if (c.keyword == keyword) return c.value;
    }
    return std::nullopt;
}

}  // namespace

TEST_CASE("level and noise of sums, means and medians are those of their exposures", "[stack]") {
    const InventedCampaign campaign = empty_field();
    const InventedFrame single = expose(campaign, campaign.frames[0]);
    const Sky one = sky_of({single.adu.begin(), single.adu.end()}, 160, 8);
    const int n = 16;
    const auto stacked = [&](StackKind kind) {
        StackOptions options{.exposures = n, .kind = kind, .interpolated = false, .whole_numbers = false};
        return sky_of(expose_stack(campaign, campaign.frames[0], options).adu, 160, 8);
    };
    // 15 000 pixels: a variance to 1.2 per cent, of which five sigma; a level to 0.1 ADU.
    const Sky sum = stacked(StackKind::sum), mean = stacked(StackKind::mean),
              median = stacked(StackKind::median);
    CHECK(sum.level == Approx(n * one.level).epsilon(0.002));
    CHECK(mean.level == Approx(one.level).epsilon(0.002));
    CHECK(sum.variance == Approx(n * one.variance).epsilon(0.06));
    CHECK(mean.variance == Approx(one.variance / n).epsilon(0.06));
    // Of 16 the middle two are averaged: 1.44 (from the order statistics of a Gaussian), not yet π/2.
    CHECK(median.variance == Approx(1.44 * one.variance / n).epsilon(0.08));
}

TEST_CASE("shifts by parts of a pixel smooth the pixels, whole ones do not", "[stack]") {
    const InventedCampaign campaign = empty_field();
    StackOptions options{.exposures = 12, .whole_numbers = false};
    const Sky smooth = sky_of(expose_stack(campaign, campaign.frames[0], options).adu, 160, 8);
    options.interpolated = false;
    const Sky whole = sky_of(expose_stack(campaign, campaign.frames[0], options).adu, 160, 8);
    // Evenly spread over the phases, bilinear weights keep (2/3)² of a pixel's variance.
    CHECK(smooth.variance / whole.variance == Approx(4.0 / 9.0).margin(0.12));
    CHECK(smooth.level == Approx(whole.level).epsilon(0.003));
}

TEST_CASE("a stack tells the truth of the exposures that were added alone", "[stack]") {
    InventedCampaign campaign = empty_field();
    campaign.sky.transient.light_share = 1.0;
    const PlannedFrame& planned = campaign.frames[0];
    const StackOptions options{.exposures = 10, .dropped = 5, .between_s = 2.0};
    const InventedStack stack = expose_stack(campaign, planned, options);
    CHECK(stack.exposure_s == Approx(100.0));
    CHECK(stack.gain_e_per_adu == Approx(10.0 * campaign.instrument.gain_e_per_adu));
    const InventedFrame one = expose(campaign, planned);
    CHECK(stack.transient_flux_e == Approx(10.0 * one.transient_flux_e).epsilon(0.002));
    const double middle_s = sky::seconds_between(planned.start_utc, stack.middle_of_light);
    // Fifteen were taken in 178 s; five left out move the middle of the light from 89 s, seldom by much.
    CHECK(middle_s > 59.0);
    CHECK(middle_s < 119.0);
    CHECK(middle_s != Approx(89.0).margin(1e-6));
    const InventedStack again = expose_stack(campaign, planned, options);
    CHECK(again.adu == stack.adu);
}

TEST_CASE("headers of stacks tell all, a count alone, or nothing", "[stack]") {
    const InventedCampaign campaign = empty_field();
    StackOptions options{.exposures = 4, .dropped = 1};
    const InventedStack all = expose_stack(campaign, campaign.frames[0], options);
    CHECK(card(all, "DATE-END"));
    options.header = StackHeader::count;
    const InventedStack count = expose_stack(campaign, campaign.frames[0], options);
    CHECK(card(count, "NCOMBINE") == "4");
    CHECK(card(count, "EXPTIME") == "10");
    CHECK_FALSE(card(count, "DATE-END"));
    options.header = StackHeader::silent;
    const InventedStack silent = expose_stack(campaign, campaign.frames[0], options);
    CHECK_FALSE(card(silent, "NCOMBINE"));
    CHECK(card(silent, "EXPTIME") == "10");
}

TEST_CASE("sums saved in 16 bits end at the top, and means at one exposure's", "[stack]") {
    InventedCampaign campaign = empty_field();
    campaign.instrument.full_adu = 20000.0;
    campaign.sky.transient.light_share = 1.0;
    for (auto& [band, mag] : campaign.sky.transient.peak_mag)
        mag = 5.0;
    StackOptions options{.exposures = 5, .drift_px = 0.0};
    const auto brightest = [&](const StackOptions& o) {
        const InventedStack stack = expose_stack(campaign, campaign.frames[0], o);
        return *std::max_element(stack.adu.begin(), stack.adu.end());
    };
    CHECK(brightest(options) == 20000.0F);
    options.kind = StackKind::sum;
    CHECK(brightest(options) == 65535.0F);
    options.whole_numbers = false;
    CHECK(brightest(options) == 100000.0F);
}

TEST_CASE("a stack of mosaics keeps its pattern, and the truth of each colour is all exposures' light",
          "[stack]") {
    RehearsalOptions options{.seed = 5,
                             .nights = 1,
                             .frames = 1,
                             .bands = {"TG"},
                             .exposure_s = 10.0,
                             .host = false,
                             .pattern = "RGGB",
                             .cloud = false,
                             .width_px = 160,
                             .height_px = 120};
    const auto campaign = invent_campaign(options);
    REQUIRE(campaign);
    const PlannedFrame& planned = campaign->frames[0];
    const InventedFrame one = expose(*campaign, planned);
    const InventedStack stack = expose_stack(*campaign, planned, {.exposures = 6, .drift_px = 5.0});
    REQUIRE(stack.colours.size() == 3);
    REQUIRE(one.colours.size() == 3);
    for (std::size_t c = 0; c < 3; ++c) {
        CHECK(stack.colours[c].band == one.colours[c].band);
        CHECK(stack.colours[c].transient_flux_e ==
              Approx(6.0 * one.colours[c].transient_flux_e).epsilon(0.002));
    }
    // Sky of the four phases: each as in one exposure, within five errors of the mean of 4800 pixels.
    for (const std::size_t phase : {0U, 1U, 160U, 161U}) {
        std::vector<double> alone, together;
        for (std::size_t y = 16; y + 16 < 120; y += 2) {
            for (std::size_t x = 16; x + 16 < 160; x += 2) {
                alone.push_back(one.adu[y * 160 + x + phase]);
                together.push_back(static_cast<double>(stack.adu[y * 160 + x + phase]));
            }
        }
        CHECK(numerics::clipped_mean(together).mean ==
              Approx(numerics::clipped_mean(alone).mean).margin(1.5));
    }
}
