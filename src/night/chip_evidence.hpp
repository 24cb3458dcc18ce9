// SPDX-License-Identifier: MIT
// night/chip_evidence — whether it is stars that a solution against another frame of the same camera stands
// on, or marks of the chip that both frames show. Private to this room.
#pragma once

#include <optional>
#include <vector>

#include "frame/wcs.hpp"
#include "night/plate_finder.hpp"
#include "stars/solve_plate.hpp"
#include "stars/star_patterns.hpp"

namespace emberline::night {

inline constexpr double chip_reach_px = 1.5;  // one place on the chip, stored pixels

// From the reference frame's stored pixels to this one's. Nothing where too few of its stars can be mapped.
[[nodiscard]] std::optional<stars::PlaneMap> map_from(const FieldReference& reference, const frame::Wcs& wcs);

// Whether the sky lies on the chip as it did there: no place of the frame moves by more than three reaches.
[[nodiscard]] bool stands_still(const stars::PlaneMap& map, int width_px, int height_px);

// Both sides without what lies on one place of the chip.
struct Unshared {
    std::vector<stars::PictureStar> here;
    std::vector<stars::ReferenceStar> there;
};
[[nodiscard]] Unshared without_shared_places(const std::vector<stars::PictureStar>& here,
                                             const FieldReference& reference);

// Stars of the sequence where the solution puts them, of those on the frame.
struct SequenceSeen {
    std::size_t on_frame = 0, seen = 0;
};
[[nodiscard]] SequenceSeen sequence_seen(const std::vector<stars::PictureStar>& here, const frame::Wcs& wcs,
                                         double reach_px, int width_px, int height_px,
                                         const standard::Sequence& sequence);

}  // namespace emberline::night
