// SPDX-License-Identifier: MIT
// stars/plate_polynomial — from pixels to the tangent plane by polynomials, and the same said in FITS cards.
// Source: Shupe et al. (2005), ASPC 347, 491 (SIP).
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "frame/header.hpp"
#include "frame/wcs.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::stars {

inline constexpr int most_plate_order = 5;
// From where a tangent plane touches: beyond, it is stretched so much that it tells little.
inline constexpr double farthest_on_plane_deg = 40.0;
inline constexpr double inverse_px = 0.01;  // SIP's inverse polynomial is as good over the frame

// Of total degree up to `order`, in the order 1; u, v; u², u v, v²; …
[[nodiscard]] constexpr std::size_t terms_of(int order) {
    return static_cast<std::size_t>((order + 1) * (order + 2) / 2);
}
void fill_terms(int order, double u, double v, std::vector<double>& out);

struct PlatePolynomial {
    int order = 1;
    SkyPosition centre;  // where the plane touches
    int width_px = 0, height_px = 0;
    std::vector<double> east, north;  // arcsec, by terms of u, v: from the frame's middle in half diagonals

    [[nodiscard]] frame::PixelPosition middle() const {
        return {(width_px - 1) / 2.0, (height_px - 1) / 2.0};
    }
    [[nodiscard]] double reach_px() const;                                           // half diagonal
    [[nodiscard]] std::array<double, 2> plane(const frame::PixelPosition& p) const;  // arcsec east, north
    [[nodiscard]] SkyPosition sky(const frame::PixelPosition& p) const;
    // Of the linear part, arcsec by pixel.
    [[nodiscard]] std::array<std::array<double, 2>, 2> matrix() const;
};

// Whether places lie on a line, or so nearly that a mirror image could be meant: a hundredth of their length.
[[nodiscard]] bool on_one_line(const std::vector<std::array<double, 2>>& places);

// WCSAXES to RADESYS and SIP with its inverse. CRPIX is the frame's middle, CRVAL the centre: so the
// polynomial must send the one to the other. Nothing where no inverse polynomial is good to `inverse_px`
// over the frame, or the matrix is singular.
[[nodiscard]] std::optional<std::vector<frame::Card>> plate_cards_of(const PlatePolynomial& polynomial);

}  // namespace emberline::stars
