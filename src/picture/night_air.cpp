// SPDX-License-Identifier: MIT
#include "picture/night_air.hpp"

namespace emberline::picture {

std::span<const AirQuantity> air_quantities() {
    using night::JudgedExposure;
    static constexpr AirQuantity all[] = {
        {"light let through (%)", "light (%)", true, false,
         [](const JudgedExposure& e) {
             return e.transparency ? std::optional<double>(100.0 * *e.transparency) : std::nullopt;
         }},
        {"width of stars (″)", "FWHM (″)", true, false,
         [](const JudgedExposure& e) { return std::optional<double>(e.fwhm_arcsec); }},
        {"sky (mag/arcsec²)", "sky (mag/arcsec²)", false, true,
         [](const JudgedExposure& e) { return e.sky_mag_arcsec2; }},
    };
    return all;
}

}  // namespace emberline::picture
