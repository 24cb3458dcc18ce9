// SPDX-License-Identifier: MIT
#include "rehearsal/mosaic.hpp"

#include <algorithm>

namespace emberline::rehearsal {
namespace {

// Fainter than green through the same telescope, magnitudes: dyes let less through, and sensors see less.
constexpr double red_below_green_mag = 0.6, blue_below_green_mag = 0.4;
// Skies are as much bluer or redder as this part of a star of B−V = 1.
constexpr double sky_colour_mag = 0.7;

}  // namespace

const std::array<Band, 3>& mosaic_bands() {
    static const std::array<Band, 3> bands = {*parse_band("TR"), *parse_band("TG"), *parse_band("TB")};
    return bands;
}

const Band& green_band() {
    return mosaic_bands()[1];
}

std::optional<frame::ColourPattern> pattern_of(const InventedInstrument& instrument) {
    return frame::parse_colour_pattern(instrument.pattern);
}

InventedAir air_in(const InventedAir& air_in_green, const Band& colour) {
    InventedAir air = air_in_green;
    air.extinction_mag_per_airmass +=
        facts(colour).extinction_mag_per_airmass - facts(green_band()).extinction_mag_per_airmass;
    air.sky_mag_per_arcsec2 += sky_colour_mag * (colour_slope(colour) - colour_slope(green_band()));
    return air;
}

void give_dye_filters(InventedInstrument& instrument, double green_zero_point_mag) {
    const auto& [red, green, blue] = mosaic_bands();
    instrument.zero_point_mag[red] = green_zero_point_mag - red_below_green_mag;
    instrument.zero_point_mag[green] = green_zero_point_mag;
    instrument.zero_point_mag[blue] = green_zero_point_mag - blue_below_green_mag;
    instrument.colour_term[red] = -0.10;
    instrument.colour_term[green] = -0.05;
    instrument.colour_term[blue] = 0.20;
}

std::vector<float> debayered(std::span<const float> adu, int width_px, int height_px,
                             const frame::ColourPattern& pattern) {
    const auto index = [&](int x, int y) {
        return static_cast<std::size_t>(y) * static_cast<std::size_t>(width_px) + static_cast<std::size_t>(x);
    };
    // Bilinear on each lattice: of the eight neighbours those that saw the colour, the four beside the pixel
    // before those at its corners.
    const auto interpolated = [&](int x, int y, frame::Colour colour) {
        double beside = 0.0, corners = 0.0;
        int number_beside = 0, number_corners = 0;
        for (int v = std::max(0, y - 1); v <= std::min(height_px - 1, y + 1); ++v) {
            for (int u = std::max(0, x - 1); u <= std::min(width_px - 1, x + 1); ++u) {
                if (pattern.at(u, v) != colour) continue;
                const bool at_corner = u != x && v != y;
                (at_corner ? corners : beside) += static_cast<double>(adu[index(u, v)]);
                ++(at_corner ? number_corners : number_beside);
            }
        }
        if (number_beside > 0) return beside / number_beside;
        return number_corners > 0 ? corners / number_corners : 0.0;
    };
    std::vector<float> planes;
    planes.reserve(3 * adu.size());
    for (const auto colour : {frame::Colour::red, frame::Colour::green, frame::Colour::blue}) {
        for (int y = 0; y < height_px; ++y) {
            for (int x = 0; x < width_px; ++x) {
                const bool seen = pattern.at(x, y) == colour;
                planes.push_back(seen ? adu[index(x, y)] : static_cast<float>(interpolated(x, y, colour)));
            }
        }
    }
    return planes;
}

}  // namespace emberline::rehearsal
