// SPDX-License-Identifier: MIT
// sky/barycentre — when the light of a star would have passed the Sun, or the Solar System's barycentre.
// Source: ERFA epv00; the observer's place on the Earth is included when the site is known (21 ms at most).
#pragma once

#include <optional>

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"
#include "sky/site.hpp"

namespace emberline::sky {

inline constexpr double light_time_accuracy_s = 0.1;

[[nodiscard]] double heliocentric_correction_s(const Instant& instant, const SkyPosition& star,
                                               const std::optional<Site>& site);
[[nodiscard]] double barycentric_correction_s(const Instant& instant, const SkyPosition& star,
                                              const std::optional<Site>& site);
[[nodiscard]] double hjd_utc(const Instant& instant, const SkyPosition& star,
                             const std::optional<Site>& site);
[[nodiscard]] double bjd_tdb(const Instant& instant, const SkyPosition& star,
                             const std::optional<Site>& site);

}  // namespace emberline::sky
