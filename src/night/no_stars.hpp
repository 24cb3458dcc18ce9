// SPDX-License-Identifier: MIT
// night/no_stars — a frame without a single comparison star of its band: which of the reasons it is. Private
// to this room.
#pragma once

#include <optional>

#include "frame/frame_facts.hpp"
#include "frame/wcs.hpp"
#include "night/campaign.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

[[nodiscard]] Problem no_stars(const frame::FrameFacts& facts, const frame::Wcs& wcs, const Band& band,
                               const standard::Sequence& sequence, const Campaign& campaign);

[[nodiscard]] bool lies_on(const frame::FrameFacts& facts, const frame::Wcs& wcs, const SkyPosition& place);
// Mid-exposure, where it is known.
[[nodiscard]] std::optional<Instant> taken(const frame::FrameFacts& facts);

}  // namespace emberline::night
