// SPDX-License-Identifier: MIT
// tests/studies/curve_study_extras — two questions that are not of coverage: does BIC count breaks right, and
// do limits keep a rate honest? Both print, and return how many of their bounds are missed.
#pragma once

#include <cstddef>

namespace curve_study {

// Truths of 0 to 3 breaks, of changes that show and of changes that hardly do.
std::size_t study_breaks(std::size_t curves, unsigned threads);

// A fade whose last five nights are limits only: the rate with them, with their fluxes, and without.
std::size_t study_limits(std::size_t curves, unsigned threads);

}  // namespace curve_study
