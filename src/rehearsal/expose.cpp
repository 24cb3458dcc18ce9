// SPDX-License-Identifier: MIT
// From an invented sky to a frame: what each star sends, what the air and the sensor do to it.
#include <cmath>

#include "numerics/random.hpp"
#include "photometry/noise.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/detector.hpp"
#include "rehearsal/extended.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/light_map.hpp"
#include "rehearsal/moffat.hpp"
#include "rehearsal/plate.hpp"
#include "sky/barycentre.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t transient_stream = 10;
constexpr std::uint64_t first_star_stream = 100;
// Stars farther from the middle are on no frame, and the tangent plane folds beyond 90 degrees.
constexpr double farthest_deg = 20.0;

double zero_point_mag(const InventedInstrument& instrument, const Band& band) {
    const auto found = instrument.zero_point_mag.find(band);
    return found == instrument.zero_point_mag.end() ? usual_zero_point_mag : found->second;
}

std::optional<double> magnitude_in(const std::map<Band, double>& magnitudes, const Band& band) {
    const auto found = magnitudes.find(sequence_band(band));
    if (found == magnitudes.end()) return std::nullopt;
    return found->second;
}

// One frame's air and instrument: what becomes of a star's light on its way into the electrons.
class LightPath {
  public:
    LightPath(const InventedInstrument& instrument, const InventedAir& air, const sky::Site& site,
              const Band& band, const Instant& middle, double exposure_s)
        : instrument_(instrument),
          air_(air),
          site_(site),
          band_(band),
          middle_(middle),
          exposure_s_(exposure_s) {}

    [[nodiscard]] std::optional<double> airmass(const SkyPosition& place) const {
        return sky::airmass(middle_, place, site_);
    }
    // Before scintillation and the cloud's unevenness.
    [[nodiscard]] double flux_e(double standard_mag, std::optional<double> colour_mag,
                                std::optional<double> airmass) const {
        if (!airmass) return 0.0;
        return expected_flux_e(instrument_, band_, standard_mag, colour_mag,
                               air_.extinction_mag_per_airmass * *airmass + air_.cloud_mag, exposure_s_);
    }
    // Factors of chance, one star's own in this frame.
    struct Chance {
        double cloud = 1.0, scintillation = 1.0;
    };
    [[nodiscard]] Chance chance(numerics::Random random, std::optional<double> airmass) const {
        const double cloud_mag = random.gaussian(0.0, air_.cloud_unevenness_mag);
        const double g = random.gaussian();
        if (!air_.scintillation || !airmass) return {flux_ratio(cloud_mag), 1.0};
        const double sigma =
            photometry::scintillation(instrument_.aperture_m, exposure_s_, *airmass, site_.elevation_m);
        return {flux_ratio(cloud_mag), std::max(0.0, 1.0 + sigma * g)};
    }
    [[nodiscard]] double sky_e_per_px() const {
        const double area_arcsec2 = instrument_.scale_arcsec_per_px * instrument_.scale_arcsec_per_px;
        return area_arcsec2 * exposure_s_ *
               flux_ratio(air_.sky_mag_per_arcsec2 - zero_point_mag(instrument_, band_));
    }

  private:
    const InventedInstrument& instrument_;
    const InventedAir& air_;
    const sky::Site& site_;
    const Band& band_;
    Instant middle_;
    double exposure_s_;
};

std::optional<double> colour_of(const InventedStar& star, const Band& band) {
    const auto index = usual_colour(band);
    if (!index) return std::nullopt;
    const auto blue = star.true_mag.find(index->blue);
    const auto red = star.true_mag.find(index->red);
    if (blue == star.true_mag.end() || red == star.true_mag.end()) return std::nullopt;
    return blue->second - red->second;
}

double host_offset_mag(const InventedHost& host, const Band& band) {
    const auto found = host.colour_offset_mag.find(sequence_band(band));
    return found == host.colour_offset_mag.end() ? 0.0 : found->second;
}

}  // namespace

double expected_flux_e(const InventedInstrument& instrument, const Band& band, double standard_mag,
                       std::optional<double> colour_mag, double lost_mag, double exposure_s) {
    const auto term = instrument.colour_term.find(band);
    const double coloured_mag =
        term == instrument.colour_term.end() ? 0.0 : -term->second * colour_mag.value_or(0.0);
    return exposure_s * flux_ratio(standard_mag + coloured_mag + lost_mag - zero_point_mag(instrument, band));
}

InventedFrame expose(const InventedSky& sky, const InventedInstrument& instrument, const InventedAir& air,
                     const InventedPointing& pointing, const sky::Site& site, const Band& band,
                     const Instant& start_utc, double exposure_s, std::uint64_t seed) {
    const Instant middle = sky::later_by(start_utc, 0.5 * exposure_s);
    const LightPath path(instrument, air, site, band, middle, exposure_s);
    const Plate plate(instrument, pointing);
    const Moffat spread({.fwhm_px = air.fwhm_arcsec / instrument.scale_arcsec_per_px,
                         .moffat_beta = air.moffat_beta,
                         .elongation = air.elongation,
                         .direction_deg = air.direction_deg});
    const numerics::Random random(seed);
    LightMap light(instrument.width_px, instrument.height_px, path.sky_e_per_px());
    InventedFrame frame{.width_px = instrument.width_px, .height_px = instrument.height_px};

    for (std::size_t i = 0; i < sky.stars.size(); ++i) {
        const InventedStar& star = sky.stars[i];
        frame.star_flux_e.push_back(0.0);
        const auto magnitude = magnitude_in(star.true_mag, band);
        if (!magnitude || separation(pointing.centre, star.position).degrees() > farthest_deg) continue;
        const auto airmass = path.airmass(star.position);
        const double flux_e = path.flux_e(*magnitude, colour_of(star, band), airmass);
        const auto chance = path.chance(random.stream(first_star_stream + i), airmass);
        frame.star_flux_e.back() = flux_e;
        spread.add_star(light, plate.truth(star.position), flux_e * chance.cloud * chance.scintillation);
    }

    const SkyPosition& place = sky.transient.position;
    const double bjd_tdb = sky::bjd_tdb(middle, place, site);
    const auto airmass = path.airmass(place);
    const auto chance = path.chance(random.stream(transient_stream), airmass);
    frame.airmass = airmass.value_or(*sky::airmass(Angle::degrees(0.0)));
    frame.transient_mag = sky.transient.magnitude(band, bjd_tdb);
    frame.transient_flux_e = path.flux_e(frame.transient_mag, sky.transient.colour(band, bjd_tdb), airmass);
    if (separation(pointing.centre, place).degrees() < farthest_deg) {
        spread.add_star(light, plate.truth(place),
                        frame.transient_flux_e * chance.cloud * chance.scintillation);
    }
    if (sky.host && separation(pointing.centre, sky.host->nucleus).degrees() < farthest_deg) {
        // The host lies under the same cloud as the transient; so large a thing does not scintillate.
        const double offset_mag = host_offset_mag(*sky.host, band);
        add_host(
            light, *sky.host,
            {.disk_e = path.flux_e(sky.host->disk_mag + offset_mag, std::nullopt, airmass) * chance.cloud,
             .bulge_e = path.flux_e(sky.host->bulge_mag + offset_mag, std::nullopt, airmass) * chance.cloud},
            plate, spread);
    }
    frame.adu = detect(std::move(light), instrument, exposure_s, random);
    return frame;
}

}  // namespace emberline::rehearsal
