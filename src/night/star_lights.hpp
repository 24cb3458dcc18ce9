// SPDX-License-Identifier: MIT
// night/star_lights — the comparison stars' magnitudes in the frames that count, of one band and instrument:
// what the audit of a sequence starts from. Private to this room.
#pragma once

#include <map>
#include <set>
#include <string>
#include <vector>

#include "night/campaign.hpp"
#include "night/solution.hpp"
#include "photometry/frame_record.hpp"
#include "standard/sequence.hpp"
#include "standard/zero_points.hpp"

namespace emberline::night {

// Of one star in one frame.
struct StarMagnitude {
    std::size_t frame = 0, star = 0;
    double magnitude_mag = 0.0;  // instrumental − catalogue, brought to the transient's airmass
    double noise_mag2 = 0.0;     // its variance: photons, sky, scintillation
};

struct LightFrame {
    const photometry::FrameFluxes* fluxes = nullptr;
    std::size_t aperture = 0;  // that the solution used
    std::size_t night = 0;
    double log_width = 0.0;  // ln(FWHM / the frames' middle FWHM), as angles
};

struct StarLights {
    Band band;
    std::string instrument;
    ValueWithError colour_term;  // what it may be
    std::vector<std::string> nights;
    std::vector<LightFrame> frames;
    std::vector<standard::SolveStar> stars;
    std::vector<StarMagnitude> lights;
    std::vector<bool> faint;  // of each star: too few photons to be judged, and left out of `lights`
};

// One for each band and instrument with frames in use. `labels`: the stars to look at.
[[nodiscard]] std::vector<StarLights> star_lights(const std::vector<photometry::FrameFluxes>& frames,
                                                  const Solution& solution,
                                                  const standard::Sequence& sequence,
                                                  const std::set<std::string>& labels,
                                                  const Campaign& campaign);

}  // namespace emberline::night
