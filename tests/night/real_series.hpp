// SPDX-License-Identifier: MIT
// What published results say of two real series, checked on any solution of them.
#pragma once

#include <cstdlib>
#include <string>
#include <vector>

#include "night/solve_campaign.hpp"

namespace emberline::test {

// HAT-P-32, 2017-12-20. T0 = BJD_TDB 2454420.447187 + 2.15000800 E (Tregloan-Reed et al. 2018, MNRAS 474,
// 5485), E = 1715. Depth: (Rp/R*)² = 2.27 % (Hartman et al. 2011, ApJ 742, 59: from memory), 0.024–0.026 mag
// with limb darkening; a small telescope's good reduction comes within 15 minutes and 0.020–0.032 mag.
void check_transit(const std::vector<night::FrameMeasurement>& frames);

// SN 2022yid at the core of its host, 2022-10-30, B and V: constant through the night to 30 mmag through a
// fixed aperture and without flats; the check star better.
void check_constant_supernova(const std::vector<night::FrameMeasurement>& frames);

// The folder of open data, or an empty text after a loud warning.
[[nodiscard]] std::string datasets_or_warn();

}  // namespace emberline::test
