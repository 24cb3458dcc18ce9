// SPDX-License-Identifier: MIT
// night/transient_place — the transient has one position for the whole campaign: where the differences of its
// best frames show it. Private to this room.
#pragma once

#include <optional>
#include <vector>

#include "photometry/frame_record.hpp"
#include "photometry/host_light.hpp"

namespace emberline::night {

// From the catalogue position. Absent where fewer than three frames show the transient clearly on their
// differences, or where they do not agree.
[[nodiscard]] std::optional<photometry::SkyShift> place_on_differences(
    const std::vector<const photometry::FrameFluxes*>& frames);

// What moving the aperture by `shift` changes in the difference's flux, in electrons, one an aperture; and
// what the place's error is worth there. Empty without a difference.
struct MovedLight {
    std::vector<double> change_e, err_e;
};
[[nodiscard]] std::optional<MovedLight> moved_light(const photometry::FrameFluxes& frame,
                                                    const photometry::SkyShift& shift);

}  // namespace emberline::night
