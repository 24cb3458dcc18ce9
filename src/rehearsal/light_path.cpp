// SPDX-License-Identifier: MIT
#include "rehearsal/light_path.hpp"

#include <algorithm>

#include "photometry/noise.hpp"
#include "quantities/magnitude.hpp"
#include "sky/horizon.hpp"

namespace emberline::rehearsal {
namespace {

double zero_point_mag(const InventedInstrument& instrument, const Band& band) {
    const auto found = instrument.zero_point_mag.find(band);
    return found == instrument.zero_point_mag.end() ? usual_zero_point_mag : found->second;
}

}  // namespace

double expected_flux_e(const InventedInstrument& instrument, const Band& band, double standard_mag,
                       std::optional<double> colour_mag, double lost_mag, double exposure_s) {
    const auto term = instrument.colour_term.find(band);
    const double coloured_mag =
        term == instrument.colour_term.end() ? 0.0 : -term->second * colour_mag.value_or(0.0);
    return exposure_s * flux_ratio(standard_mag + coloured_mag + lost_mag - zero_point_mag(instrument, band));
}

PointSpread spread_of(const InventedAir& air, const InventedInstrument& instrument) {
    return {.fwhm_px = air.fwhm_arcsec / instrument.scale_arcsec_per_px,
            .moffat_beta = air.moffat_beta,
            .elongation = air.elongation,
            .direction_deg = air.direction_deg,
            .defocus_px = air.defocus_px,
            .trail_px = air.trail_px,
            .trail_direction_deg = air.trail_direction_deg};
}

LightPath::LightPath(const InventedInstrument& instrument, const InventedAir& air, const sky::Site& site,
                     const Band& band, const Instant& middle, double exposure_s)
    : instrument_(instrument),
      air_(air),
      site_(site),
      band_(band),
      middle_(middle),
      exposure_s_(exposure_s) {}

std::optional<double> LightPath::airmass(const SkyPosition& place) const {
    return sky::airmass(middle_, place, site_);
}

double LightPath::flux_e(double standard_mag, std::optional<double> colour_mag,
                         std::optional<double> airmass) const {
    if (!airmass) return 0.0;
    return expected_flux_e(instrument_, band_, standard_mag, colour_mag,
                           air_.extinction_mag_per_airmass * *airmass + air_.cloud_mag, exposure_s_);
}

HostLight LightPath::host_light(const InventedHost& host, std::optional<double> airmass,
                                double factor) const {
    const auto found = host.colour_offset_mag.find(sequence_band(band_));
    const double offset_mag = found == host.colour_offset_mag.end() ? 0.0 : found->second;
    const auto light_e = [&](double mag) { return flux_e(mag + offset_mag, std::nullopt, airmass) * factor; };
    return {.disk_e = light_e(host.disk_mag),
            .bulge_e = light_e(host.bulge_mag),
            .nucleus_e = host.nucleus_mag ? light_e(*host.nucleus_mag) : 0.0};
}

LightPath::Chance LightPath::chance(numerics::Random random, std::optional<double> airmass) const {
    const double cloud_mag = random.gaussian(0.0, air_.cloud_unevenness_mag);
    const double g = random.gaussian();
    if (!air_.scintillation || !airmass) return {flux_ratio(cloud_mag), 1.0};
    const double sigma =
        photometry::scintillation(instrument_.aperture_m, exposure_s_, *airmass, site_.elevation_m);
    return {flux_ratio(cloud_mag), std::max(0.0, 1.0 + sigma * g)};
}

double LightPath::sky_e_per_px() const {
    const double area_arcsec2 = instrument_.scale_arcsec_per_px * instrument_.scale_arcsec_per_px;
    return area_arcsec2 * exposure_s_ *
           flux_ratio(air_.sky_mag_per_arcsec2 - zero_point_mag(instrument_, band_));
}

}  // namespace emberline::rehearsal
