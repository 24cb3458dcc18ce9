// SPDX-License-Identifier: MIT
// night/site_doubt — whether it was night there, with the target up: a site or a clock that is wrong shows.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::night {

// No stars show with the Sun higher than this, and next to nothing comes through below the least altitude;
// true altitudes. common practice, no source
inline constexpr double most_sun_altitude_deg = -2.0;
inline constexpr double least_target_altitude_deg = 3.0;

struct SkyThen {
    double sun_deg = 0.0, target_deg = 0.0;  // altitudes
    [[nodiscard]] bool possible() const {
        return sun_deg <= most_sun_altitude_deg && target_deg >= least_target_altitude_deg;
    }
};
[[nodiscard]] SkyThen sky_then(const Instant& instant, const SkyPosition& target, const sky::Site& site);

struct TimedFrame {
    std::string frame;
    Instant middle;  // of the exposure
};
struct SiteDoubt {
    std::size_t frames = 0;  // that cannot have been taken there and then
    std::size_t of = 0;
    std::string first;
    std::string what;  // sentences
    std::string mend;
};
// `source`: where the site is from, "campaign.toml, site" or keywords of the header. Nothing: all is
// possible.
[[nodiscard]] std::optional<SiteDoubt> site_doubt(const std::vector<TimedFrame>& frames,
                                                  const SkyPosition& target, const sky::Site& site,
                                                  const std::string& source);

}  // namespace emberline::night
