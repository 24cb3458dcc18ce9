// SPDX-License-Identifier: MIT
#include "rehearsal/night_times.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr int looks = 96;  // a quarter of an hour apart; between them, straight lines
constexpr double step_s = seconds_per_day / looks;
constexpr double try_every_s = 300.0;
// What each fault costs: darkness before altitude, altitude before taste.
constexpr double cost_of_light_per_deg = 100.0;
constexpr double cost_of_air = 10.0;
constexpr double cost_of_an_hour_later = 2e-3;
constexpr double airmass_below_horizon = 40.0;

struct Moment {
    double sun_deg, airmass;
};

Moment look(const Instant& instant, const SkyPosition& star, const sky::Site& site) {
    return {sky::horizontal(instant, sky::sun(instant), site).altitude.degrees(),
            sky::airmass(instant, star, site).value_or(airmass_below_horizon)};
}

double fault(const Moment& m) {
    return cost_of_light_per_deg * std::max(0.0, m.sun_deg - dark_sun_deg) +
           cost_of_air * std::max(0.0, m.airmass - most_airmass);
}

}  // namespace

Instant start_of_run(const Instant& noon, double duration_s, double wanted_airmass, const SkyPosition& star,
                     const sky::Site& site) {
    std::vector<Moment> day;
    for (int i = 0; i <= looks; ++i)
        day.push_back(look(sky::later_by(noon, i * step_s), star, site));
    const auto at = [&](double after_s) {
        const double place = std::clamp(after_s / step_s, 0.0, static_cast<double>(looks));
        const auto before = std::min(static_cast<std::size_t>(place), day.size() - 2);
        const double share = place - static_cast<double>(before);
        return Moment{std::lerp(day[before].sun_deg, day[before + 1].sun_deg, share),
                      std::lerp(day[before].airmass, day[before + 1].airmass, share)};
    };
    double best_s = 0.0;
    double least = std::numeric_limits<double>::infinity();
    for (double after_s = 0.0; after_s + duration_s <= seconds_per_day; after_s += try_every_s) {
        const double cost = fault(at(after_s)) + fault(at(after_s + duration_s)) +
                            std::abs(at(after_s + 0.5 * duration_s).airmass - wanted_airmass) +
                            cost_of_an_hour_later * after_s / 3600.0;
        if (cost < least) {
            least = cost;
            best_s = after_s;
        }
    }
    return sky::later_by(noon, best_s);
}

}  // namespace emberline::rehearsal
