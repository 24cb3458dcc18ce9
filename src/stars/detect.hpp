// SPDX-License-Identifier: MIT
// stars/detect — point sources of a picture nobody has pointed at: where light stands out of the sky by a
// matched filter, blends parted, and what is no star told from what is.
// Needs: pixels.  Feeds: plate solutions, the judging of frames, stacks.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "quantities/angle.hpp"
#include "quantities/problem.hpp"

namespace emberline::stars {

struct DetectionSettings {
    double threshold_sigma = 5.0;   // of the matched filter's noise
    std::optional<double> fwhm_px;  // absent: found from the picture
    double gain_e_per_adu = 1.0;
    double saturation_adu = 65535.0;
    int mesh_px = 64;
    std::size_t most = 0;  // brightest so many; 0: all
    int threads = 1;
};

struct Detection {
    frame::PixelPosition position;  // windowed centroid, frame coordinates
    double err_px = 0.1;            // one axis
    // Above sky, by the matched filter.
    double flux_adu = 0.0, flux_err_adu = 0.0;
    double peak_adu = 0.0;      // above sky
    double significance = 0.0;  // of the matched filter's peak, sigma
    double fwhm_px = 0.0;
    double elongation = 1.0;
    Angle direction;  // of the long axis, from +x towards +y, [0, 180) degrees
    bool saturated = false;
    bool parted = false;  // shares its light's outline with others
    bool edge = false;
    bool extended = false;  // wider than the frame's stars: a galaxy, a blend that could not be parted
};

// A line of light across the picture: a satellite, an aeroplane. Not a trailed star.
struct LightTrail {
    frame::PixelPosition from, to;
    double width_px = 0.0;
};

struct DetectionField {
    int width_px = 0, height_px = 0;
    std::vector<Detection> stars;  // brightest first
    std::vector<LightTrail> trails;
    std::size_t hot_pixels = 0;  // sharper than any star: single pixels, cosmic rays; left out
    double fwhm_px = 0.0;        // of its stars: median of the brighter ones
    double elongation = 1.0;     // of the mean of its stars' ellipses: random directions do not add up
    Angle direction;
    bool trailed = false;  // all stars alike are drawn out: elongation above 1.5
    bool doubled = false;  // all stars alike are seen twice, one step apart
    double sky_adu = 0.0, sky_scatter_adu = 0.0;
    std::vector<std::string> remarks;  // sentences
};

// Problem: a frame without a picture (one value, undefined, saturated all over), pixels that cannot be read.
// No star at all is a field without stars, not a problem.
[[nodiscard]] Result<DetectionField> detect_stars(const frame::Cutout& picture,
                                                  const DetectionSettings& settings);
// Reads the frame strip by strip: memory does not grow with its size. Of a mosaic's colour, in the picture of
// that colour.
[[nodiscard]] Result<DetectionField> detect_stars(const frame::Frame& frame,
                                                  const DetectionSettings& settings);

}  // namespace emberline::stars
