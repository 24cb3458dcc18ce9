// SPDX-License-Identifier: MIT
// photometry/psf_fit — the light of one star, or of several that overlap, by fitting the frame's PSF.
// Source: King 1983 (PASP 95, 163); Naylor 1998 (MNRAS 296, 339).
#pragma once

#include <optional>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "numerics/matrix.hpp"
#include "photometry/pixel_noise.hpp"
#include "photometry/psf.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct PsfSource {
    frame::PixelPosition position;
    bool free_position = false;
};

enum class PsfWeights {
    equal,    // every pixel alike: the flux is linear in the pixels whatever the star's brightness
    optimal,  // by the pixels' variance, light of the model included: the least error for bright stars
};

struct PsfFitOptions {
    double radius_px = 0.0;         // pixels this near a source take part; 0: 1.5 FWHM
    std::optional<double> sky_adu;  // given: held; absent: one level is fitted beside the sources
    PsfWeights weights = PsfWeights::optimal;
    double most_shift_px = 1.0;  // a free position may wander this far
};

struct PsfSourceFit {
    double flux_adu = 0.0, flux_err_adu = 0.0;
    frame::PixelPosition position;
    double x_err_px = 0.0, y_err_px = 0.0;  // 0 where held
};
struct PsfFit {
    std::vector<PsfSourceFit> sources;
    double sky_adu = 0.0;
    numerics::Matrix covariance;  // flux of each source, then x and y of each free one, then a free sky
    double chi2 = 0.0;
    std::size_t dof = 0;
    std::size_t masked = 0;  // undefined pixels, and pixels rejected as cosmic rays
};
// `variance_adu2`: the sky's and other images' variance a pixel on top of `noise`; empty: none.
// The covariance is that of the weights used, whichever they are (for `equal` propagated, not assumed).
// A pixel far above the model of all its surroundings is taken for a cosmic ray: masked and counted.
// Problem: no source, one off the cut-out, sources that cannot be told apart, fewer pixels than unknowns.
[[nodiscard]] Result<PsfFit> fit_psf(const frame::Cutout& cutout, const Psf& psf,
                                     const std::vector<PsfSource>& sources, const PixelNoise& noise,
                                     const PsfFitOptions& options = {},
                                     const std::vector<double>& variance_adu2 = {});

}  // namespace emberline::photometry
