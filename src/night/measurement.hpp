// SPDX-License-Identifier: MIT
// night/measurement — one magnitude of the transient, of a frame or of a night, with its two kinds of error.
// Random: what another frame would change. Common: what measurements share, kept as named components so that
// the covariance of any set of them is diag(random²) + Σ_k v_k v_kᵀ, k running over the names.
#pragma once

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::night {

struct CommonComponent {
    std::string name;      // "V main: star 126": the same name is the same unknown in every measurement
    double err_mag = 0.0;  // signed: d(mag) for one sigma of it
    bool operator==(const CommonComponent&) const = default;
};

// In the name of the component that a host's model is: "V main: host by scene".
inline constexpr const char* host_component_mark = ": host by ";

struct CheckStar {
    std::string label;
    std::optional<double> magnitude_mag;  // measured, standard system
    std::optional<double> err_mag;
    std::optional<double> residual_mag;  // measured − catalogue
    std::optional<double> instrumental_mag;
    std::optional<double> catalogue_mag;
    bool operator==(const CheckStar&) const = default;
};

// What frames and nights have in common.
struct Measurement {
    std::string night;  // YYYY-MM-DD of the evening
    Band band;
    std::string instrument;
    double jd_utc = 0.0;  // mid-exposure; of a night: weighted as its flux
    double bjd_tdb = 0.0;
    double exposure_s = 0.0;  // of a night: summed
    std::optional<double> airmass;
    Flux flux_e;                      // electrons at `zero_point_mag`; random error only
    double zero_point_mag = 0.0;      // mag = zero_point − 2.5 log10(flux_e), colour term included
    double zero_point_err_mag = 0.0;  // random part
    bool is_limit = false;
    std::optional<double> magnitude_mag;   // absent for a limit
    std::optional<double> random_err_mag;  // zero-point noise included; absent for a limit
    std::optional<double> common_err_mag;  // quadrature sum of `common`
    // max(F,0) + n σ_F, n the settings' limit_sigma; for a detection the depth: n σ at F = 0.
    std::optional<double> limit_mag;
    std::vector<CommonComponent> common;
    std::string method;  // "aperture", "psf"; beside a host "template-psf", "scene-aperture" …
    bool transformed = false;
    int n_comparison = 0;
    std::vector<std::string> comparison_labels;
    std::optional<double> comparison_instrumental_mag;  // mean over the stars used
    std::optional<double> comparison_catalogue_mag;     // mean over the stars used
    std::optional<double> colour_mag;                   // of the transient, where used
    std::optional<double> colour_term;
    std::string colour_index;
    CheckStar check;
    double aperture_arcsec = 0.0;
    Caveats caveats;
    bool operator==(const Measurement&) const = default;

    [[nodiscard]] std::optional<double> total_err_mag() const {
        if (!random_err_mag) return std::nullopt;
        return std::hypot(*random_err_mag, common_err_mag.value_or(0.0));
    }
};

struct FrameMeasurement : Measurement {
    std::string frame;  // path as in the ledger
    int plane = 0;
    std::string fingerprint;
    double fwhm_px = 0.0;
    double aperture_px = 0.0;
    bool used = true;                    // false: refused or excluded, kept to be seen
    std::string reason;                  // why not used, one sentence
    double relative_transparency = 1.0;  // 10^(0.4 (z_f − best of its night))
    bool operator==(const FrameMeasurement&) const = default;
};

struct NightMeasurement : Measurement {
    int n_frames = 0;  // used
    int n_rejected = 0;
    double chi2 = 0.0;  // of the frames about their mean
    bool operator==(const NightMeasurement&) const = default;
};

}  // namespace emberline::night
