// SPDX-License-Identifier: MIT
// numerics/gaussian — the numbers of a Gaussian that many rooms need.
#pragma once

namespace emberline::numerics {

// Full width at half maximum over sigma: 2 √(2 ln 2).
inline constexpr double fwhm_per_sigma = 2.3548200450309493;

}  // namespace emberline::numerics
