// SPDX-License-Identifier: MIT
#include "quantities/sky_position.hpp"

#include <cmath>

namespace emberline {
inline namespace quantities {

Angle separation(const SkyPosition& a, const SkyPosition& b) {
    const double dra = b.ra.radians() - a.ra.radians();
    const double sa = std::sin(a.dec.radians());
    const double ca = std::cos(a.dec.radians());
    const double sb = std::sin(b.dec.radians());
    const double cb = std::cos(b.dec.radians());
    const double across = cb * std::sin(dra);
    const double along = ca * sb - sa * cb * std::cos(dra);
    return Angle::radians(std::atan2(std::hypot(across, along), sa * sb + ca * cb * std::cos(dra)));
}

SkyOffset offset(const SkyPosition& from, const SkyPosition& to) {
    const double dra = to.ra.radians() - from.ra.radians();
    const double s0 = std::sin(from.dec.radians());
    const double c0 = std::cos(from.dec.radians());
    const double s = std::sin(to.dec.radians());
    const double c = std::cos(to.dec.radians());
    const double depth = s0 * s + c0 * c * std::cos(dra);
    return {Angle::radians(c * std::sin(dra) / depth),
            Angle::radians((c0 * s - s0 * c * std::cos(dra)) / depth)};
}

SkyPosition displaced(const SkyPosition& from, const SkyOffset& by) {
    const double east = by.east.radians();
    const double north = by.north.radians();
    const double s0 = std::sin(from.dec.radians());
    const double c0 = std::cos(from.dec.radians());
    const double depth = c0 - north * s0;
    const Angle ra = from.ra + Angle::radians(std::atan2(east, depth));
    const Angle dec = Angle::radians(std::atan2(s0 + north * c0, std::hypot(east, depth)));
    return {ra.wrapped_positive(), dec};
}

}  // namespace quantities
}  // namespace emberline
