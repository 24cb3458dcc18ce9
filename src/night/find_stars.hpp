// SPDX-License-Identifier: MIT
// night/find_stars — where the stars of the sequence are on this frame. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "night/campaign.hpp"
#include "night/frame_needs.hpp"
#include "standard/sequence.hpp"
#include "stars/centroid.hpp"
#include "stars/profile.hpp"
#include "stars/registration.hpp"

namespace emberline::night {

// What to do where the plate solution itself may be wrong; such refusals are known by it.
inline constexpr const char* lost_transient_mend =
    "Check the frame's plate solution, and the position in campaign.toml.";
inline constexpr const char* lost_stars_mend =
    "Cloud, a lost field or a wrong plate solution: look at the frame.";

struct StarOnFrame {
    std::string label;
    SkyPosition place;
    bool transient = false;
    bool comparison = false;  // counts among the stars expected: role comparison, a magnitude in the band
    frame::PixelPosition predicted;  // by the plate solution
    frame::Cutout cutout;
    std::optional<stars::Centroid> centroid;
    std::optional<stars::StarProfile> profile;
    frame::PixelPosition position;  // where its aperture goes
    double position_err_px = 0.0;   // one axis
    bool forced = false;            // at its catalogue position through the registration
};

struct StarField {
    std::vector<StarOnFrame> stars;  // the transient first
    stars::FrameProfile profile;
    stars::Registration registration;
    int expected = 0, found = 0;  // comparison stars
};

// The square of pixels that holds everything within `half_px` of a place; it may reach beyond the frame.
[[nodiscard]] frame::PixelBox box_around(const frame::PixelPosition& place, double half_px);

// What gathers the light of the frame's pixels.
[[nodiscard]] stars::PixelSquare gathering_square(const frame::FrameFacts& facts);

// The settings' check star wins over a role of ignore.
[[nodiscard]] bool takes_part(const standard::ComparisonStar& star, const Campaign& campaign);

// Problem: the transient off the frame, no sequence star on it, a frame without a picture, too few stars.
[[nodiscard]] Result<StarField> find_stars(const frame::Frame& frame, const frame::Wcs& wcs,
                                           const FrameNeeds& needs, const standard::Sequence& sequence,
                                           const Campaign& campaign);

}  // namespace emberline::night
