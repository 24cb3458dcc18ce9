// SPDX-License-Identifier: MIT
// photometry/convolved_psf — the image of a point on a frame that a kernel blurred. Private to this room.
#pragma once

#include <vector>

#include "photometry/psf.hpp"

namespace emberline::photometry {

// `kernel`: (2 half + 1)² values, row-major, of whatever sum. The PSF is taken as it is at `place`; the new
// one does not vary. Problem: what Psf::make refuses.
[[nodiscard]] Result<Psf> convolved_psf(const Psf& psf, const std::vector<double>& kernel, int half,
                                        const frame::PixelPosition& place);

}  // namespace emberline::photometry
