// SPDX-License-Identifier: MIT
#include "night/site_doubt.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

constexpr double deg_per_hour = 15.0, seconds_per_hour = 3600.0;

struct Guess {
    sky::Site site;
    double later_h = 0.0;  // of the clock
    std::string mend;
};

std::string place(const sky::Site& site) {
    return fmt::format("latitude {:.4f}, longitude {:+.4f}", site.latitude.degrees(),
                       site.longitude.degrees());
}

// What mostly goes wrong, the likeliest first.
std::vector<Guess> guesses(const sky::Site& site) {
    const double latitude = site.latitude.degrees();
    const double longitude = std::remainder(site.longitude.degrees(), 360.0);
    const auto at = [&](double lat_deg, double lon_deg, const char* mend) {
        const sky::Site other{Angle::degrees(lat_deg), Angle::degrees(lon_deg), site.elevation_m};
        return Guess{other, 0.0, fmt::format("{}: at {}", mend, place(other))};
    };
    std::vector<Guess> out{
        at(latitude, -longitude, "Is the longitude's sign right? East is positive"),
        at(-latitude, longitude, "Is the latitude's sign right? North is positive"),
        at(-latitude, -longitude, "Are the signs right? North and east are positive"),
    };
    if (std::abs(longitude) <= 90.0)
        out.push_back(at(longitude, latitude, "Are latitude and longitude exchanged?"));
    // Local time written for UTC; summer time makes it an hour more.
    const double zone_h = std::round(longitude / deg_per_hour);
    for (const double h : {-zone_h, -zone_h - 1.0}) {
        if (h == 0.0) continue;
        out.push_back({site, h,
                       fmt::format("Is the header's time local and not UTC? Were it {} h {}", std::abs(h),
                                   h > 0.0 ? "later" : "earlier")});
    }
    return out;
}

}  // namespace

SkyThen sky_then(const Instant& instant, const SkyPosition& target, const sky::Site& site) {
    const sky::Horizon horizon(instant, site);
    return {horizon.position_of_apparent(horizon.apparent_sun()).altitude.degrees(),
            horizon.position(target).altitude.degrees()};
}

std::optional<SiteDoubt> site_doubt(const std::vector<TimedFrame>& frames, const SkyPosition& target,
                                    const sky::Site& site, const std::string& source) {
    SiteDoubt doubt;
    doubt.of = frames.size();
    std::optional<SkyThen> first;
    std::vector<const TimedFrame*> impossible;
    for (const TimedFrame& frame : frames) {
        const SkyThen then = sky_then(frame.middle, target, site);
        if (then.possible()) continue;
        if (impossible.empty()) {
            first = then;
            doubt.first = frame.frame;
        }
        impossible.push_back(&frame);
    }
    if (impossible.empty()) return std::nullopt;
    doubt.frames = impossible.size();
    const std::string target_text =
        first->target_deg < 0.0 ? fmt::format("the transient {:.0f}° below the horizon", -first->target_deg)
                                : fmt::format("the transient {:.0f}° up", first->target_deg);
    doubt.what = fmt::format(
        "{} of {} frames cannot have been taken there and then: {} at {}, by the site of {} ({}), the Sun "
        "stands {:.0f}° {} and {}.",
        doubt.frames, doubt.of, doubt.first, sky::iso(impossible.front()->middle, 0), source, place(site),
        std::abs(first->sun_deg), first->sun_deg >= 0.0 ? "above the horizon" : "below the horizon",
        target_text);
    doubt.mend = "Check the site, and that the headers' times are UTC.";
    for (const Guess& guess : guesses(site)) {
        // Of the frames that were possible all along, a wrong guess makes some impossible.
        const auto by_guess = [&](const TimedFrame& frame) {
            return sky_then(sky::later_by(frame.middle, guess.later_h * seconds_per_hour), target,
                            guess.site);
        };
        const bool fits = std::all_of(frames.begin(), frames.end(),
                                      [&](const TimedFrame& frame) { return by_guess(frame).possible(); });
        if (!fits) continue;
        const SkyThen better = by_guess(*impossible.front());
        doubt.mend = fmt::format("{} the Sun would be {:.0f}° down and the transient {:.0f}° up.", guess.mend,
                                 -better.sun_deg, better.target_deg);
        if (source.find("campaign") == std::string::npos)
            doubt.mend += " Headers cannot be trusted in this: add [site] to campaign.toml.";
        break;
    }
    return doubt;
}

}  // namespace emberline::night
