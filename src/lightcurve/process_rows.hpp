// SPDX-License-Identifier: MIT
// lightcurve/process_rows — each point of a curve as a Gaussian in magnitude that touches its likelihood, so
// that what is exact for Gaussians serves fluxes, limits and outliers too.
#pragma once

#include <optional>
#include <vector>

#include "lightcurve/light_curve.hpp"

namespace emberline::lightcurve {

struct ProcessRow {
    enum class Kind { magnitude, flux, limit };
    std::size_t point = 0;  // index into the curve
    double days = 0.0;      // since the reference epoch
    Kind kind = Kind::magnitude;
    double value = 0.0, err = 0.0;  // measured, or the limit as a flux and its one sigma
};
// Of those points, the earliest first.
[[nodiscard]] std::vector<ProcessRow> process_rows(const LightCurve& curve,
                                                   const std::vector<std::size_t>& used,
                                                   double reference_bjd_tdb);

// What the rows' likelihoods have in common.
struct RowNoise {
    double extra_scatter_mag = 0.0;
    std::optional<double> student_nu;  // absent: Gaussian
    double mistaken_limit_probability = 0.0;
};

// −2 ln L(m) ≈ (value − m)²/v + ln 2πv + correction, with v = (variance + σ_x²)/weight.
struct Touch {
    double value = 0.0, variance = 0.0;  // mag, mag²; before weight and extra scatter
    double weight = 1.0;                 // of a Student-t; for limits, the trust in them
    double correction = 0.0;
    double z2 = 0.0;        // squared residual from the curve over the squared scale, σ_x in it; limits: 0
    bool is_limit = false;  // σ_x is no part of it, nor the weight of v
    [[nodiscard]] double total_variance(double extra_scatter_mag) const {
        return is_limit ? variance : (variance + extra_scatter_mag * extra_scatter_mag) / weight;
    }
};

// Fluxes and limits are taken to second order at that magnitude. A Student-t is bounded from below by the
// Gaussian that touches it where the mean square residual is, which counts the curve's own variance: a point
// that the curve follows only because it stands alone is not made surer by that.
[[nodiscard]] Touch touch(const ProcessRow& row, double curve_mag, double curve_variance,
                          const RowNoise& noise);

// Magnitudes to begin with, one a row: running medians of five detections, which one bad point cannot move;
// between detections on straight lines.
[[nodiscard]] std::vector<double> running_medians(const std::vector<ProcessRow>& rows);

}  // namespace emberline::lightcurve
