// SPDX-License-Identifier: MIT
// Fluxes as frames would give them, made from a known sky without any frame: Gaussian stars over a flat sky.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "night/solve_campaign.hpp"
#include "numerics/random.hpp"
#include "standard/sequence.hpp"

namespace emberline::test {

struct SyntheticStar {
    std::string label;
    double v_mag = 14.0, colour_mag = 0.7;  // B−V, true
    standard::Role role = standard::Role::comparison;
    double catalogue_off_mag = 0.0;  // catalogue − true, in V and B alike
};

// Eight comparison stars of 12.0 to 13.4 mag and a check star "131".
[[nodiscard]] std::vector<SyntheticStar> synthetic_stars();
inline constexpr double synthetic_catalogue_err_mag = 0.02;
[[nodiscard]] standard::Sequence catalogue_of(const std::vector<SyntheticStar>& stars,
                                              const std::string& bands = "BV");

struct SyntheticFrame {
    std::string name;
    std::string night = "2024-02-03";
    std::string band = "V";
    double jd = 2460344.5;
    double exposure_s = 60.0;
    double cloud_mag = 0.0;
    double fwhm_px = 3.0;
    double elongation = 1.1;
    double airmass = 1.2;
    double transient_mag = 14.0;  // in the band; 99 and more: no light
    double transient_colour_mag = 0.7;
    bool host = false;  // flagged as light that nothing models
    std::set<std::string> missing;
};

struct SyntheticCamera {
    double zero_point_mag = 22.0;  // of one second
    double sky_scatter_e = 20.0;   // of one pixel
    double colour_term = 0.0;      // V; of B −2 times that
    double scale_arcsec_per_px = 1.0;
};

[[nodiscard]] photometry::FrameFluxes synthetic_fluxes(const SyntheticFrame& frame,
                                                       const std::vector<SyntheticStar>& stars,
                                                       const SyntheticCamera& camera,
                                                       const night::MeasureSettings& settings,
                                                       numerics::Random& random);

// `count` frames ten minutes apart, all like the example, their names "V-0", "V-1" …
[[nodiscard]] std::vector<SyntheticFrame> series_of(const SyntheticFrame& example, int count);

[[nodiscard]] std::vector<photometry::FrameFluxes> synthetic_fluxes(const std::vector<SyntheticFrame>& frames,
                                                                    const std::vector<SyntheticStar>& stars,
                                                                    const SyntheticCamera& camera,
                                                                    const night::MeasureSettings& settings,
                                                                    std::uint64_t seed);

}  // namespace emberline::test
