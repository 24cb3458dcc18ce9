// SPDX-License-Identifier: MIT
// quantities/sky_position — a direction in ICRS, and small distances between two of them.
#pragma once

#include "quantities/angle.hpp"

namespace emberline {
inline namespace quantities {

struct SkyPosition {
    Angle ra;   // ICRS
    Angle dec;  // ICRS
    bool operator==(const SkyPosition&) const = default;
};

// Great-circle distance; Vincenty's form, exact for tiny and for antipodal separations.
[[nodiscard]] Angle separation(const SkyPosition& a, const SkyPosition& b);

// Where `to` lies as seen from `from`, in the tangent plane: east and north positive. Of places less than 90
// degrees apart: the plane does not reach the others.
struct SkyOffset {
    Angle east;
    Angle north;
};
[[nodiscard]] SkyOffset offset(const SkyPosition& from, const SkyPosition& to);

// The position at that tangent-plane offset from `from`: the inverse of offset().
[[nodiscard]] SkyPosition displaced(const SkyPosition& from, const SkyOffset& by);

}  // namespace quantities
}  // namespace emberline
