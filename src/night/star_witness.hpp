// SPDX-License-Identifier: MIT
// night/star_witness — what the other stars say of each star: its light against theirs, frame by frame and
// night by night, no star being its own witness. Private to this room.
// Model: m_if − M_i = δ_i − z_f + noise, for star i in frame f; δ_i and z_f are solved from the witnesses
// alone but for star i, so that a star's own fault does not hide in the zero points that it helped to make.
#pragma once

#include <vector>

#include "night/star_lights.hpp"

namespace emberline::night {

struct WitnessedNight {
    std::size_t night = 0;
    double jd_utc = 0.0;  // of the middle of its frames
    double magnitude_mag = 0.0;
    double variance_mag2 = 0.0;  // from noise, the witnesses' included; not what nights vary by
    double log_width = 0.0;      // as LightFrame's, of the same mean
    std::size_t frames = 0;
};

struct WitnessedFrame {
    std::size_t frame = 0;
    double magnitude_mag = 0.0, variance_mag2 = 0.0;
    double share = 1.0;  // of its weight that is left to it as an outlier
};

struct WitnessedStar {
    std::vector<WitnessedFrame> frames;
    std::vector<WitnessedNight> nights;  // by time
    double within_chi2 = 0.0;            // of frames about the means of their nights
    std::size_t within_dof = 0;
    double scatter_mag = 0.0, expected_scatter_mag = 0.0;  // of a frame about the mean of its night
    double level_mag = 0.0;  // δ_i on a zero point that all stars of the round share
};

struct Witnesses {
    std::vector<WitnessedStar> stars;  // as in the lights
    double night_floor_mag = 0.0;      // beyond noise, of one night: the middle star's
};

// `trusted`: the stars that bear witness.
[[nodiscard]] Witnesses hear_witnesses(const StarLights& group, const std::vector<bool>& trusted);

// χ² of a star's nights about their mean, and how many degrees of freedom it has.
struct NightScatter {
    double chi2 = 0.0;
    std::size_t dof = 0;
    double rms_mag = 0.0, expected_mag = 0.0;  // of one night
};
[[nodiscard]] NightScatter night_scatter(const std::vector<WitnessedNight>& nights, double night_floor_mag);

}  // namespace emberline::night
