// SPDX-License-Identifier: MIT
// photometry/template_difference — a frame minus a deep frame of the same field without the transient, made
// alike in place, light and sharpness.
// Source: Alard & Lupton 1998 (ApJ 503, 325); Alard 2000 (A&AS 144, 363).
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "photometry/host_light.hpp"
#include "photometry/match_kernel.hpp"
#include "photometry/pixel_noise.hpp"
#include "photometry/psf.hpp"
#include "photometry/resample.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct StarStamp {
    std::string label;
    frame::Cutout cutout;           // ADU
    frame::PixelPosition position;  // measured where the star is bright enough
    double sky_adu = 0.0;
};

// What is needed of each of the two images.
struct ImagePart {
    frame::Cutout target;            // ADU, about the transient
    frame::PixelPosition transient;  // its place on this image
    double sky_adu = 0.0;            // under the target
    std::vector<StarStamp> stars;    // of the field; the same labels stand for the same stars in both
    PixelNoise noise;
    double saturation_adu = 65535.0;
    double fwhm_px = 0.0;
    std::optional<Psf> psf;  // absent: the image's stars gave none
};

// What is needed to carry the noise of both images' own, independent pixels through resampling and
// convolution to any weighted sum of the difference's pixels. Planes lie on the frame's target box.
struct DifferenceParts {
    MatchKernel kernel;
    // D's change with each of the kernel's coefficients, in the frame's ADU.
    std::vector<PixelPlane> gradient;
    // Onto the target box, grown where the template is convolved.
    std::shared_ptr<const ResampleMap> resampled;
    std::vector<double> template_variance_adu2;  // of the template's target pixels, in its own ADU
    std::vector<double> host_adu;                // what was taken away, above sky
    std::vector<double> background_weights;      // Σ = 1: where the sky's zero was taken
    double background_adu = 0.0;
    std::vector<bool> saturated;   // light of a saturated pixel reaches here
    std::vector<bool> cosmic_ray;  // the frame was hit here, and the pixel left out or filled
};

struct Difference {
    frame::Cutout image;                // on the frame's pixels, in the frame's ADU: transient alone, sky 0
    std::vector<double> variance_adu2;  // a pixel, of both images; neighbours vary together: see `parts`
    Psf psf;                            // of the difference: the frame's own, or convolved
    bool template_convolved = true;     // else the frame was, since the template is the blurrier
    double ratio = 0.0;                 // light of the frame over the template's, ADU: the kernel's sum
    double ratio_err = 0.0;
    double expected_ratio = 0.0, expected_ratio_err = 0.0;  // from aperture sums of the stars
    std::size_t stamps = 0;                                 // that shaped the kernel
    std::vector<std::string> remarks;
    Caveats caveats;
    DifferenceParts parts;
};

// `to_template`: where a pixel position of the frame lies on the template, by both plate solutions; a mean
// shift of the stars against it is taken out here. The template is resampled onto the frame's pixels by the
// exact area that pixels share, so that light is conserved; the kernel (Gaussians times polynomials, a
// constant or a plane of sky beside it) is solved from the stars' stamps in both directions of convolution,
// and the direction with the sharper side convolved is taken unless its stamps are left worse.
// Problem: no overlap at the transient; the stars do not match (another field); too few stars for a kernel; a
// kernel whose sum is far from the stars' ratio; stamps that are left with far more than noise.
[[nodiscard]] Result<Difference> subtract_template(const ImagePart& frame, const ImagePart& host_template,
                                                   const PixelMapping& to_template);

// The transient on the difference, by apertures and by PSF, in the frame's own terms: an aperture's flux is
// what the frame's PSF would put there, so that the frame's stars calibrate it. `variance_e2` holds what the
// difference's pixels add to the frame's own noise; `common_err_e` the template's noise, which every frame
// shares. `host_e` is the light of the template in the aperture.
[[nodiscard]] Result<HostLight> measure_difference(const Difference& difference, const ImagePart& frame,
                                                   const FluxGrid& grid,
                                                   const frame::PixelPosition& position);

// Is the transient in the template? Its light there (frame's ADU) by a PSF on a smooth local host, with what
// that model cannot know in the error.
struct LightInTemplate {
    double flux_adu = 0.0, err_adu = 0.0;
};
[[nodiscard]] Result<LightInTemplate> transient_in_template(const ImagePart& host_template, double ratio);

}  // namespace emberline::photometry
