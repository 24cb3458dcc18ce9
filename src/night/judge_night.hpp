// SPDX-License-Identifier: MIT
// night/judge_night — how good each frame of a night was, and what the meridian flip did to it.
// Needs: fluxes and the campaign's solution, both as the ledger keeps them.  Feeds: tables and plots.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "photometry/star_flux.hpp"
#include "quantities/band.hpp"
#include "quantities/caveat.hpp"

namespace emberline::night {

struct JudgedExposure {
    std::string frame;
    int plane = 0;
    std::string night;
    Band band;
    std::string instrument;
    double jd_utc = 0.0;
    double fwhm_arcsec = 0.0;
    double elongation = 1.0, direction_deg = 0.0;  // of the long axis, from +x towards +y
    std::optional<double> sky_mag_arcsec2;         // by the clear zero point of its night; absent without one
    double sky_e_per_px = 0.0;           // by the noise of its pixels: their level holds the camera's offset
    std::optional<double> transparency;  // of the night's best, 0 to 1
    int stars_found = 0, stars_expected = 0;
    // Against the night's first frame of that instrument: of the frame's middle, and of its +y.
    double shift_east_arcsec = 0.0, shift_north_arcsec = 0.0, rotation_deg = 0.0;
    bool flipped = false;  // turned by 180° against it, within 10°
    bool solved_here = false;
    bool used = true;
    double weight = 0.0;  // in its night and band, the best frame's is 1; 0 where not used
    std::string reason;   // why not used, or why with little weight
    Caveats caveats;
};

// How one star's brightness changes from before the flip to after it, both in its band's zero points.
struct FlipStep {
    std::string night;
    Band band;
    std::string instrument;
    std::string label;                     // or photometry::transient_label
    double step_mag = 0.0, err_mag = 0.0;  // after − before
    double before_x_px = 0.0, before_y_px = 0.0, after_x_px = 0.0, after_y_px = 0.0;  // mean places
    int before = 0, after = 0;                                                        // frames
};

struct FlipOfNight {
    std::string night;
    Band band;
    std::string instrument;
    double jd_utc = 0.0;  // between the last frame before it and the first after
    std::vector<FlipStep> steps;
    double scatter_mag = 0.0;  // of the comparison stars' steps beyond their errors
    bool stands_out = false;   // beyond chance: the flat field is not right
};

struct JudgedNights {
    std::vector<JudgedExposure> exposures;  // by time
    std::vector<FlipOfNight> flips;
    std::vector<std::string> remarks;  // sentences for a person
};

[[nodiscard]] JudgedNights judge_nights(const std::vector<photometry::FrameFluxes>& frames,
                                        const Solution& solution);

}  // namespace emberline::night
