// SPDX-License-Identifier: MIT
// stars/find_peaks — where a picture, seen through a filter of its stars' shape, stands out of its noise.
// Private to this room. Source: the matched filter of a Gaussian, King (1983), PASP 95, 163.
#pragma once

#include <vector>

#include "frame/wcs.hpp"
#include "quantities/problem.hpp"
#include "stars/background.hpp"
#include "stars/pixel_source.hpp"

namespace emberline::stars {

struct Peak {
    frame::PixelPosition position;  // of the highest filtered pixel, frame coordinates
    float sigmas = 0.0F;            // of the filtered noise, as if pixels were independent
};

struct PeakSettings {
    double fwhm_px = 3.0;
    double threshold_sigma = 5.0;
    int binning = 1;  // 1 or 2: sums of so many × so many pixels are filtered
    int threads = 1;
};

struct PeakField {
    std::vector<Peak> peaks;  // by rows, the same whatever the number of threads
    // What the filtered sky scatters by, over what independent pixels would give: above 1 where neighbours
    // vary together (debayered, resampled).
    double noise_factor = 1.0;
    bool varies = false;           // two pixels differ
    double saturated_share = 0.0;  // of the defined pixels, at or above `saturation_adu`
};

[[nodiscard]] Result<PeakField> find_peaks(const PixelSource& source, const Background& background,
                                           const PeakSettings& settings, double saturation_adu);

}  // namespace emberline::stars
