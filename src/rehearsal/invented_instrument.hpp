// SPDX-License-Identifier: MIT
// rehearsal/invented_instrument — a telescope, a camera and a night's air, with every number known.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/instant.hpp"
#include "rehearsal/field_troubles.hpp"
#include "rehearsal/invented_sky.hpp"
#include "sky/site.hpp"

namespace emberline::rehearsal {

// Where an instrument says nothing of a band: a 28-cm telescope's.
inline constexpr double usual_zero_point_mag = 20.4;

struct InventedInstrument {
    int width_px = 800, height_px = 600;
    double scale_arcsec_per_px = 1.2;
    double gain_e_per_adu = 0.9, read_noise_e = 6.0;
    double offset_adu = 300.0, full_adu = 65535.0;
    double aperture_m = 0.28;
    double flat_err = 0.0;  // pixel response, one sigma, the same for every frame
    double dark_e_per_s = 0.02;
    int hot_pixels = 60;
    double cosmic_rays_per_minute = 3.0;
    std::map<Band, double> zero_point_mag;  // magnitude giving 1 e/s outside the atmosphere
    std::map<Band, double> colour_term;  // m_instrumental = m_standard + … − T (C − 0): T of zero_points.hpp
    // A colour mosaic: the pattern at its first stored pixel, "RGGB"; each pixel sees one of TR, TG, TB.
    std::string pattern;
    bool top_down = false;          // ROWORDER: rows are stored from the top, pattern and all
    double vignetting = 0.0;        // share of the light lost in the corners
    int dust_rings = 0;             // shadows of dust, each a ring of a few per cent
    double amp_glow_e_per_s = 0.0;  // where it is brightest, at the middle of the right edge
    int dead_pixels = 0;            // that see a tenth of the light
    double column_err_adu = 0.0;  // of the offset from column to column, one sigma, the same for every frame
    double unstable_share = 0.0;  // of the hot pixels that are hot in half of the frames only
    std::uint64_t sensor_seed = 1;  // which pixels are hot, and how each responds
};

struct InventedAir {                                 // one frame's air
    double fwhm_arcsec = 3.0, moffat_beta = 3.5;     // width: geometric mean of the axes
    double elongation = 1.05, direction_deg = 30.0;  // long axis, from +x towards +y
    double defocus_px = 0.0;  // radius of the disk that a point is blurred to, before the air
    double trail_px = 0.0, trail_direction_deg = 0.0;  // even drift from first to last; from +x towards +y
    double sky_mag_per_arcsec2 = 20.0;
    double extinction_mag_per_airmass = 0.2;
    double cloud_mag = 0.0;             // grey
    double cloud_unevenness_mag = 0.0;  // one sigma, from star to star, anew in each frame
    bool scintillation = true;
    Jump jump;                 // of the mount, within the exposure
    SatelliteTrail satellite;  // that passed
};

struct InventedPointing {
    SkyPosition centre;               // at the middle of the frame, by the header's WCS
    double dx_px = 0.0, dy_px = 0.0;  // true pointing minus what the WCS in the header says
    double rotation_deg = 0.0;        // position angle of +y; of rows stored from the top, of −y
    bool mirrored = false;
};

struct InventedColour {  // the truth of one colour of a mosaic, as InventedFrame has it
    Band band;
    double transient_mag = 0.0, transient_flux_e = 0.0;  // electrons as if all pixels saw that colour
    std::vector<double> star_flux_e;
};

struct InventedFrame {
    std::vector<std::uint16_t> adu;
    int width_px = 0, height_px = 0;
    double transient_mag = 0.0;       // truth, standard system, at mid-exposure
    double transient_flux_e = 0.0;    // truth, with extinction and grey cloud: before noise, scintillation
                                      // and the cloud's unevenness
    double airmass = 1.0;             // of the transient; the horizon's below it
    std::vector<double> star_flux_e;  // the same truth of each star of the sky, in its order
    std::vector<InventedColour> colours;  // of a mosaic: TR, TG, TB; the numbers above are then TG's
};

// The electrons that a star of this standard magnitude gives, above the atmosphere's losses `lost_mag`
// (extinction, cloud), by the colour in its band's index where both are known.
[[nodiscard]] double expected_flux_e(const InventedInstrument& instrument, const Band& band,
                                     double standard_mag, std::optional<double> colour_mag, double lost_mag,
                                     double exposure_s);

// Deterministic for a seed. Stars and transient are Moffat profiles integrated over pixels; photon noise,
// read noise, digitisation and clipping follow. A star without a magnitude in the band's sequence band is
// not there; what is below the horizon gives no light. Sizes, exposure and gain must be positive.
// An instrument with a pattern takes a mosaic whatever the band; `air` is then what TG sees of it, and the
// other colours differ from it as they usually do. Flux truths are of light that no vignetting, dust or
// dead pixel has taken from.
[[nodiscard]] InventedFrame expose(const InventedSky& sky, const InventedInstrument& instrument,
                                   const InventedAir& air, const InventedPointing& pointing,
                                   const sky::Site& site, const Band& band, const Instant& start_utc,
                                   double exposure_s, std::uint64_t seed);

}  // namespace emberline::rehearsal
