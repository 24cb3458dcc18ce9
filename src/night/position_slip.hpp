// SPDX-License-Identifier: MIT
// night/position_slip — how positions are miswritten, and which slip would explain that they do not fit.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "quantities/instant.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::night {

struct PositionSlip {
    std::string words;  // "with right ascensions in hours (a plain number is read as degrees)"
    std::vector<SkyPosition> meant;
};

// The first common slip after which at least half of the positions fit (lie on the frame, say); nothing where
// none explains it. `taken`: when; positions may have been written for the equinox of that date.
[[nodiscard]] std::optional<PositionSlip> position_slip(const std::vector<SkyPosition>& written,
                                                        const std::optional<Instant>& taken,
                                                        const std::function<bool(const SkyPosition&)>& fits);

// " It would lie on it at 13:25:21.1 +37:16:12, with …": on the frame, for one position; empty: no slip
// explains it.
[[nodiscard]] std::string slip_sentence(const SkyPosition& written, const std::optional<Instant>& taken,
                                        const std::function<bool(const SkyPosition&)>& fits);

// "12.3″", "10.2′" or "105.1°".
[[nodiscard]] std::string apart_text(Angle separation);

}  // namespace emberline::night
