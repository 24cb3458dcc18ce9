// SPDX-License-Identifier: MIT
#include "rehearsal/night_times.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr double step_s = 600.0;
// What each fault costs: darkness before altitude, altitude before taste.
constexpr double cost_of_light_per_deg = 100.0;
constexpr double cost_of_air = 10.0;
constexpr double cost_of_an_hour_later = 1e-3;
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
    Instant best = noon;
    double least = std::numeric_limits<double>::infinity();
    for (double after_s = 0.0; after_s + duration_s <= seconds_per_day; after_s += step_s) {
        const Instant start = sky::later_by(noon, after_s);
        const Moment first = look(start, star, site);
        const Moment last = look(sky::later_by(start, duration_s), star, site);
        const Moment middle = look(sky::later_by(start, 0.5 * duration_s), star, site);
        const double cost = fault(first) + fault(last) + std::abs(middle.airmass - wanted_airmass) +
                            cost_of_an_hour_later * after_s / 3600.0;
        if (cost < least) {
            least = cost;
            best = start;
        }
    }
    return best;
}

}  // namespace emberline::rehearsal
