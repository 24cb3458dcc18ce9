// SPDX-License-Identifier: MIT
// photometry/image_part — pixels of a frame made ready for convolution, and the stars that two images have in
// common. Private to this room.
#pragma once

#include <string>
#include <vector>

#include "photometry/match_kernel.hpp"
#include "photometry/resample.hpp"
#include "photometry/template_difference.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

inline constexpr double endless_doubt_adu = 1e30;  // of a pixel that nothing is known of

// The image's own, or a usual one of its width where its stars gave none.
[[nodiscard]] Result<Psf> own_psf(const ImagePart& part);

// Light above sky where every pixel has a number: undefined ones are filled by the median of their
// neighbours. `doubt_adu` says by how much a filled or saturated pixel may be wrong, 0 elsewhere.
struct ReadyPixels {
    PixelPlane light;
    std::vector<double> variance_adu2;
    std::vector<double> doubt_adu;
    std::vector<bool> saturated;
};
[[nodiscard]] ReadyPixels ready_pixels(const frame::Cutout& cutout, double sky_adu, const PixelNoise& noise,
                                       double saturation_adu);

// A part of such pixels on another box; what it does not cover is 0 with endless doubt.
[[nodiscard]] ReadyPixels on_box(const ReadyPixels& pixels, const frame::PixelBox& box);

// The template's pixels on a box of the frame's.
[[nodiscard]] ReadyPixels resampled(const ReadyPixels& pixels, const ResampleMap& map);

// The plate solutions' mapping with the stars' mean shift against it, on the template.
struct TemplateRegistration {
    PixelMapping to_template;
    double scale = 1.0;                                                // template pixels a frame pixel
    double shift_x_px = 0.0, shift_y_px = 0.0, scatter_px = 0.0;       // on the template
    std::vector<std::pair<const StarStamp*, const StarStamp*>> pairs;  // frame, template
};
// Problem: no star in common, no answer of the mapping at the transient, stars that do not fall together.
[[nodiscard]] Result<TemplateRegistration> registered(const ImagePart& frame, const ImagePart& host_template,
                                                      const PixelMapping& to_template);

// One star on both images, on the frame's pixels.
struct StarPair {
    std::string label;
    frame::PixelPosition position;
    ReadyPixels frame, host_template;     // on the same box
    std::vector<double> correlation;      // of the resampled template's neighbouring pixels
    double ratio = 0.0, ratio_err = 0.0;  // of aperture sums
};
struct StarPairs {
    std::vector<StarPair> stars;
    std::vector<std::string> left_out;
    double ratio = 0.0, ratio_err = 0.0;  // robust mean over stars
};
// Stamps of `radius_px`, and `margin_px` more for a kernel. Problem: no star is bright and whole in both.
[[nodiscard]] Result<StarPairs> star_pairs(const ImagePart& frame, const ImagePart& host_template,
                                           const TemplateRegistration& registration, double radius_px,
                                           int margin_px);

inline constexpr int correlation_reach_px = 3;

}  // namespace emberline::photometry
