// SPDX-License-Identifier: MIT
// Notation: θ position angle of +y, east of north; s scale. North up and east left is θ = 0, not mirrored.
// Rows that are stored from the top turn +y over: the solution is that of the stored pixels.
#include "rehearsal/plate.hpp"

#include <fmt/format.h>

#include <cmath>

namespace emberline::rehearsal {

Plate::Plate(const InventedInstrument& instrument, const InventedPointing& pointing)
    : pointing_(pointing),
      middle_x_px_(0.5 * (instrument.width_px - 1)),
      middle_y_px_(0.5 * (instrument.height_px - 1)) {
    const double theta = Angle::degrees(pointing.rotation_deg).radians();
    const double s = instrument.scale_arcsec_per_px / 3600.0;
    const double hand = pointing.mirrored ? -1.0 : 1.0;
    cd_deg_per_px_ = {-hand * s * std::cos(theta), s * std::sin(theta), hand * s * std::sin(theta),
                      s * std::cos(theta)};
    if (instrument.top_down) {
        cd_deg_per_px_[1] = -cd_deg_per_px_[1];
        cd_deg_per_px_[3] = -cd_deg_per_px_[3];
    }
}

frame::PixelPosition Plate::by_header(const SkyPosition& star) const {
    const SkyOffset away = offset(pointing_.centre, star);
    const auto [a, b, c, d] = cd_deg_per_px_;
    const double determinant = a * d - b * c;
    const double east = away.east.degrees();
    const double north = away.north.degrees();
    return {middle_x_px_ + (d * east - b * north) / determinant,
            middle_y_px_ + (a * north - c * east) / determinant};
}

frame::PixelPosition Plate::truth(const SkyPosition& star) const {
    const frame::PixelPosition said = by_header(star);
    return {said.x + pointing_.dx_px, said.y + pointing_.dy_px};
}

SkyOffset Plate::on_sky(double dx_px, double dy_px) const {
    const auto [a, b, c, d] = cd_deg_per_px_;
    return {Angle::degrees(a * dx_px + b * dy_px), Angle::degrees(c * dx_px + d * dy_px)};
}

std::vector<frame::Card> Plate::cards() const {
    const auto number = [](const char* keyword, double value, const char* comment) {
        return frame::Card{keyword, fmt::format("{:.10G}", value), comment, false};
    };
    const auto words = [](const char* keyword, const char* value, const char* comment) {
        return frame::Card{keyword, value, comment, true};
    };
    return {words("CTYPE1", "RA---TAN", "tangent projection"),
            words("CTYPE2", "DEC--TAN", "tangent projection"),
            words("RADESYS", "ICRS", ""),
            number("CRVAL1", pointing_.centre.ra.degrees(), "[deg] right ascension of the reference"),
            number("CRVAL2", pointing_.centre.dec.degrees(), "[deg] declination of the reference"),
            number("CRPIX1", middle_x_px_ + 1.0, "[px] counted from 1"),
            number("CRPIX2", middle_y_px_ + 1.0, "[px] counted from 1"),
            words("CUNIT1", "deg", ""),
            words("CUNIT2", "deg", ""),
            number("CD1_1", cd_deg_per_px_[0], ""),
            number("CD1_2", cd_deg_per_px_[1], ""),
            number("CD2_1", cd_deg_per_px_[2], ""),
            number("CD2_2", cd_deg_per_px_[3], "")};
}

}  // namespace emberline::rehearsal
