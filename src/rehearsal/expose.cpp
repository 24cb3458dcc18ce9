// SPDX-License-Identifier: MIT
// From an invented sky to a frame: what each star sends, what the air and the sensor do to it.
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/random.hpp"
#include "rehearsal/detector.hpp"
#include "rehearsal/extended.hpp"
#include "rehearsal/invented_instrument.hpp"
#include "rehearsal/light_map.hpp"
#include "rehearsal/light_path.hpp"
#include "rehearsal/moffat.hpp"
#include "rehearsal/mosaic.hpp"
#include "rehearsal/plate.hpp"
#include "sky/barycentre.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t transient_stream = 10;
constexpr std::uint64_t first_star_stream = 100;

std::optional<double> magnitude_in(const std::map<Band, double>& magnitudes, const Band& band) {
    const auto found = magnitudes.find(sequence_band(band));
    if (found == magnitudes.end()) return std::nullopt;
    return found->second;
}

std::optional<double> colour_of(const InventedStar& star, const Band& band) {
    const auto index = usual_colour(band);
    if (!index) return std::nullopt;
    const auto blue = star.true_mag.find(index->blue);
    const auto red = star.true_mag.find(index->red);
    if (blue == star.true_mag.end() || red == star.true_mag.end()) return std::nullopt;
    return blue->second - red->second;
}

// Where light falls: at one place, or at two where the mount jumped.
class FallingLight {
  public:
    FallingLight(const InventedInstrument& instrument, const InventedAir& air,
                 const InventedPointing& pointing)
        : spread_(spread_of(air, instrument)) {
        plates_.push_back({Plate(instrument, pointing), 1.0 - air.jump.share});
        if (!(air.jump.share > 0.0)) return;
        InventedPointing jumped = pointing;
        jumped.dx_px += air.jump.dx_px;
        jumped.dy_px += air.jump.dy_px;
        plates_.push_back({Plate(instrument, jumped), air.jump.share});
    }
    void add_star(LightMap& light, const SkyPosition& place, double flux_e) const {
        for (const auto& [plate, share] : plates_)
            spread_.add_star(light, plate.truth(place), share * flux_e);
    }
    void add_host(LightMap& light, const InventedHost& host, const HostLight& of_host) const {
        for (const auto& [plate, share] : plates_) {
            rehearsal::add_host(light, host,
                                {.disk_e = share * of_host.disk_e,
                                 .bulge_e = share * of_host.bulge_e,
                                 .nucleus_e = share * of_host.nucleus_e},
                                plate, spread_);
        }
    }

  private:
    struct Place {
        Plate plate;
        double share;
    };
    Moffat spread_;
    std::vector<Place> plates_;
};

// A Gaussian across, even along.
void add_trail(LightMap& light, const SatelliteTrail& trail, double fwhm_px) {
    const double sigma_px = fwhm_px / (2.0 * std::sqrt(2.0 * std::numbers::ln2));
    const double angle = Angle::degrees(trail.direction_deg).radians();
    const double nx = -std::sin(angle), ny = std::cos(angle);
    const double peak_e = trail.e_per_px / (sigma_px * std::sqrt(2.0 * std::numbers::pi));
    for (int y = 0; y < light.height_px; ++y) {
        for (int x = 0; x < light.width_px; ++x) {
            const double off = ((x - trail.x_px) * nx + (y - trail.y_px) * ny) / sigma_px;
            if (std::abs(off) < 6.0) light.e[light.index(x, y)] += peak_e * std::exp(-0.5 * off * off);
        }
    }
}

// One band's light on every pixel, and its truth.
struct Lit {
    LightMap light;
    InventedColour truth;
    double airmass = 1.0;
};

// What chance does to a star follows from its number and the frame's seed: it is alike in all colours.
Lit light_in(const InventedSky& sky, const InventedInstrument& instrument, const InventedAir& air,
             const InventedPointing& pointing, const sky::Site& site, const Band& band,
             const Instant& start_utc, double exposure_s, const numerics::Random& random) {
    const Instant middle = sky::later_by(start_utc, 0.5 * exposure_s);
    const LightPath path(instrument, air, site, band, middle, exposure_s);
    const FallingLight image(instrument, air, pointing);
    Lit lit{.light = LightMap(instrument.width_px, instrument.height_px, path.sky_e_per_px()),
            .truth = {.band = band}};

    const double bjd_tdb = sky::bjd_tdb(middle, sky.transient.position, site);
    for (std::size_t i = 0; i < sky.stars.size(); ++i) {
        const InventedStar& star = sky.stars[i];
        lit.truth.star_flux_e.push_back(0.0);
        auto magnitude = magnitude_in(star.true_mag, band);
        if (!magnitude || separation(pointing.centre, star.position).degrees() > farthest_deg) continue;
        if (star.pulsation) *magnitude += star.pulsation->at(bjd_tdb);
        const auto airmass = path.airmass(star.position);
        const double flux_e = path.flux_e(*magnitude, colour_of(star, band), airmass);
        const auto chance = path.chance(random.stream(first_star_stream + i), airmass);
        lit.truth.star_flux_e.back() = flux_e;
        image.add_star(lit.light, star.position, flux_e * chance.cloud * chance.scintillation);
    }

    const SkyPosition& place = sky.transient.position;
    const auto airmass = path.airmass(place);
    const auto chance = path.chance(random.stream(transient_stream), airmass);
    lit.airmass = airmass.value_or(*sky::airmass(Angle::degrees(0.0)));
    lit.truth.transient_mag = sky.transient.magnitude(band, bjd_tdb);
    lit.truth.transient_flux_e =
        sky.transient.light_share *
        path.flux_e(lit.truth.transient_mag, sky.transient.colour(band, bjd_tdb), airmass);
    if (separation(pointing.centre, place).degrees() < farthest_deg) {
        image.add_star(lit.light, place, lit.truth.transient_flux_e * chance.cloud * chance.scintillation);
    }
    if (sky.host && separation(pointing.centre, sky.host->nucleus).degrees() < farthest_deg) {
        // The host lies under the same cloud as the transient; so large a thing does not scintillate.
        image.add_host(lit.light, *sky.host, path.host_light(*sky.host, airmass, chance.cloud));
    }
    if (air.satellite.e_per_px > 0.0) add_trail(lit.light, air.satellite, spread_of(air, instrument).fwhm_px);
    return lit;
}

void keep(LightMap& mosaic, const LightMap& light, const frame::ColourPattern& pattern,
          frame::Colour colour) {
    for (int y = 0; y < mosaic.height_px; ++y) {
        for (int x = 0; x < mosaic.width_px; ++x) {
            if (pattern.at(x, y) == colour) mosaic.e[mosaic.index(x, y)] = light.e[mosaic.index(x, y)];
        }
    }
}

}  // namespace

InventedFrame expose(const InventedSky& sky, const InventedInstrument& instrument, const InventedAir& air,
                     const InventedPointing& pointing, const sky::Site& site, const Band& band,
                     const Instant& start_utc, double exposure_s, std::uint64_t seed) {
    const numerics::Random random(seed);
    const auto lit_in = [&](const Band& colour, const InventedAir& colour_air) {
        return light_in(sky, instrument, colour_air, pointing, site, colour, start_utc, exposure_s, random);
    };
    InventedFrame frame{.width_px = instrument.width_px, .height_px = instrument.height_px};
    const auto finish = [&](LightMap light, const InventedColour& truth, double airmass) {
        frame.transient_mag = truth.transient_mag;
        frame.transient_flux_e = truth.transient_flux_e;
        frame.star_flux_e = truth.star_flux_e;
        frame.airmass = airmass;
        frame.adu = detect(std::move(light), instrument, exposure_s, random);
    };
    const auto pattern = pattern_of(instrument);
    if (!pattern) {
        Lit lit = lit_in(band, air);
        finish(std::move(lit.light), lit.truth, lit.airmass);
        return frame;
    }
    LightMap mosaic(instrument.width_px, instrument.height_px, 0.0);
    double airmass = 1.0;
    for (const auto colour : {frame::Colour::red, frame::Colour::green, frame::Colour::blue}) {
        const Band& of_colour = mosaic_bands()[static_cast<std::size_t>(colour)];
        Lit lit = lit_in(of_colour, air_in(air, of_colour));
        keep(mosaic, lit.light, *pattern, colour);
        airmass = lit.airmass;
        frame.colours.push_back(std::move(lit.truth));
    }
    finish(std::move(mosaic), frame.colours[static_cast<std::size_t>(frame::Colour::green)], airmass);
    return frame;
}

}  // namespace emberline::rehearsal
