// SPDX-License-Identifier: MIT
#include "night/frame_doubts.hpp"

#include <fmt/format.h>

#include <cmath>

#include "night/site_doubt.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

constexpr double clock_slack_s = seconds_per_day;  // clocks differ, time zones more
// Nobody leaves one exposure open for longer; a stack's header may be silent about its exposures.
constexpr double longest_exposure_s = 7200.0;
constexpr double same_site_deg = 0.5;  // some 50 km
constexpr double highest_16_bit_adu = 65535.0;

double degrees_apart(const sky::Site& a, const sky::Site& b) {
    return separation({a.longitude, a.latitude}, {b.longitude, b.latitude}).degrees();
}

std::string place(const sky::Site& site) {
    return fmt::format("{:.4f} {:+.4f}", site.latitude.degrees(), site.longitude.degrees());
}

void doubt_time(const frame::FrameFacts& facts, const Campaign& campaign, const Instant& now,
                std::vector<FrameDoubt>& doubts) {
    if (!facts.mid_exposure) return;
    const Instant& middle = facts.mid_exposure->value;
    if (sky::seconds_between(now, middle) > clock_slack_s) {
        doubts.push_back(
            {"Dated in the future.", "Check the clock of the camera's computer, and this one's."});
    }
    if (campaign.discovered) {
        const auto day = sky::parse_instant(*campaign.discovered);
        if (day && sky::seconds_between(middle, *day) > seconds_per_day) {
            doubts.push_back(
                {fmt::format("Taken before the transient was discovered, {}.", *campaign.discovered),
                 "Check `discovered` in campaign.toml and the headers' dates; frames from before the "
                 "outburst make a template."});
        }
    }
}

void doubt_exposure(const frame::FrameFacts& facts, std::vector<FrameDoubt>& doubts) {
    if (!facts.exposure_s || facts.exposure_s->value <= longest_exposure_s) return;
    if (facts.stacked_exposures && facts.stacked_exposures->value > 1) return;
    doubts.push_back(
        {fmt::format("{} says {:g} s, longer than anyone exposes.", facts.exposure_s->source,
                     facts.exposure_s->value),
         "If these are milliseconds, give exposure_s and override = true under [instrument]; if it "
         "is the sum of a stack, give stacked there."});
}

std::string advice_on_sites(const sky::Site& header, const sky::Site& campaign) {
    const auto like = [&](Angle latitude, Angle longitude) {
        return degrees_apart({latitude, longitude, 0.0}, campaign) < same_site_deg;
    };
    if (like(header.latitude, -header.longitude)) {
        return "Only the longitude's sign differs: east is positive in campaign.toml, and some headers count "
               "west as "
               "positive. The campaign's site is used.";
    }
    if (like(-header.latitude, header.longitude))
        return "Only the latitude's sign differs: north is positive. The campaign's site is used.";
    if (like(header.longitude, header.latitude))
        return "Latitude and longitude are exchanged in one of them. The campaign's site is used.";
    return "The campaign's site is used: check it, north and east positive.";
}

void doubt_site(const frame::FrameFacts& facts, const Campaign& campaign, std::vector<FrameDoubt>& doubts) {
    if (!facts.site) return;
    const sky::Site& header = facts.site->value;
    if (campaign.site) {
        const double apart = degrees_apart(header, *campaign.site);
        if (apart < same_site_deg) return;
        doubts.push_back({fmt::format("The header's site, {} by {}, lies {:.0f}° from the campaign's, {}.",
                                      place(header), facts.site->source, apart, place(*campaign.site)),
                          advice_on_sites(header, *campaign.site)});
        return;
    }
    if (!facts.mid_exposure) return;
    if (sky_then(facts.mid_exposure->value, campaign.position, header).possible()) return;
    doubts.push_back({fmt::format("By the header's site ({}) the Sun was up, or the transient was not.",
                                  facts.site->source),
                      "Headers cannot be trusted in this: add [site] to campaign.toml, north and east "
                      "positive. Else check that "
                      "DATE-OBS is UTC."});
}

}  // namespace

std::vector<FrameDoubt> frame_doubts(const frame::FrameFacts& facts, const Campaign& campaign,
                                     const Instant& now) {
    std::vector<FrameDoubt> doubts;
    doubt_time(facts, campaign, now, doubts);
    doubt_exposure(facts, doubts);
    doubt_site(facts, campaign, doubts);
    if (facts.saturation_adu && facts.pixel_type.ends_with("int16") &&
        facts.saturation_adu->value > highest_16_bit_adu) {
        doubts.push_back(
            {fmt::format("The saturation, {:g} ADU by {}, is more than 16-bit pixels hold.",
                         facts.saturation_adu->value, facts.saturation_adu->source),
             "No star would ever be found saturated: give the level at which its peak is flat, 65535 "
             "at most."});
    }
    return doubts;
}

}  // namespace emberline::night
