// SPDX-License-Identifier: MIT
// night/stack_evidence — what level and noise of a picture say about the electrons behind a stored pixel.
// Private to this room.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "frame/frame_facts.hpp"
#include "night/find_stars.hpp"
#include "quantities/band.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// The sky about the stars of the sequence, far from them.
struct SkyNoise {
    double level_adu = 0.0;            // of a pixel, offset included
    double pixel_variance_adu2 = 0.0;  // of single pixels
    double variance_adu2 = 0.0;  // a pixel's share of that of large areas: what smoothing leaves as it is
    double relative_err = 0.0;   // of that variance, one sigma
    double neighbours = 0.0;     // correlation of pixels side by side
    std::size_t pixels = 0;
    bool whole_numbers = false;  // every pixel is an integer
};
// Of a few stars' cut-outs for a first look at single pixels, of more with blocks as well. Nothing where they
// hold too little sky. `unit`: one ADU in the picture's own numbers. `scales`:
// also of blocks; else of single pixels alone.
[[nodiscard]] std::optional<SkyNoise> sky_noise(const StarField& field, double unit, bool scales);

// Squares of what stars leave beyond their own fitted profiles, by the light that the profiles have there.
struct LightNoise {
    struct Bin {
        double light_adu = 0.0, light2_adu2 = 0.0;  // means over its pixels: of the model above the sky
        double square_adu2 = 0.0;  // mean of (pixel − model)², corrected for what was fitted
        double pixels = 0.0;       // that are independent
    };
    std::vector<Bin> bins;
    double sky_variance_adu2 = 0.0;  // of single pixels
    double smoothing = 1.0;          // of single pixels' variance, by interpolation
    double weight = 1.0;  // below 1: chance alone makes too much of them, no star is a perfect Moffat
    // ln L of variance = s² + smoothing light/g + (ε light)², the best ε taken, times the weight.
    [[nodiscard]] double log_likelihood(double gain_e_per_adu) const;
};
[[nodiscard]] std::optional<LightNoise> light_noise(const StarField& field, const SkyNoise& sky, double unit,
                                                    double saturation_adu);

// Light of the sequence's stars over what a telescope of that aperture would gather without any loss, for the
// time and gain as they stand: one exposure's lies between a twentieth and three quarters. Nothing without
// stars of known magnitude.
[[nodiscard]] std::optional<double> light_share(const StarField& field, const standard::Sequence& sequence,
                                                const Band& band, double gain_e_per_adu, double exposure_s,
                                                double aperture_mm);

struct Camera {  // one exposure's
    double gain_e_per_adu = 1.0, read_noise_e = 0.0;
    bool read_noise_known = false;
    std::optional<double> offset_adu;
};

// ln L of the picture as a stack of n exposures of that kind (n need not be whole), the offset and the read
// noise taken for what fits best within what is known of them.
[[nodiscard]] double log_likelihood(frame::StackKind kind, double n, const Camera& camera,
                                    const SkyNoise& sky, const std::optional<LightNoise>& light);

// Over a ladder of n from well below 1 to thousands: where the likelihood is greatest, and the natural
// logarithm's mean and error by it.
struct CountFit {
    double log_n = 0.0, err = 0.0;
    double best = 0.0;  // ln L there
    double n() const;
};
[[nodiscard]] CountFit fit_count(frame::StackKind kind, const Camera& camera, const SkyNoise& sky,
                                 const std::optional<LightNoise>& light);

}  // namespace emberline::night
