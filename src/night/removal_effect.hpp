// SPDX-License-Identifier: MIT
// night/removal_effect — what a light curve would be without one comparison star: two solutions of the same
// frames compared, night by night and in the rate of decline.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/solution.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::night {

struct NightChange {
    std::string night;
    double jd_utc = 0.0;
    ValueWithError before_mag, without_mag;  // errors: random and common together
    [[nodiscard]] double change_mag() const { return without_mag.value - before_mag.value; }
    [[nodiscard]] double change_in_errors() const { return change_mag() / before_mag.err; }
};

// Of weighted straight lines through the nights' magnitudes; errors with what the nights share. The same
// frames make both, so the change is known better than either: where the first line is the better one, its
// variance is the difference of theirs (Hausman 1978, Econometrica 46, 1251), else the larger error stands.
struct RateChange {
    ValueWithError before_mag_per_day, without_mag_per_day, change_mag_per_day;
};

struct RemovalEffect {
    std::vector<NightChange> nights;   // with a magnitude both times, by time
    std::size_t lost = 0, gained = 0;  // nights with a magnitude before, or without the star, only
    double mean_change_mag = 0.0, largest_change_mag = 0.0;  // the largest with its sign
    double largest_in_errors = 0.0;
    double harm = 0.0;               // root mean square of the nights' changes, each in its error
    double error_ratio = 1.0;        // without over before: the middle night's
    std::optional<RateChange> rate;  // of three nights and more
};

// Of one band and instrument.
[[nodiscard]] RemovalEffect removal_effect(const Solution& before, const Solution& without, const Band& band,
                                           const std::string& instrument);

}  // namespace emberline::night
