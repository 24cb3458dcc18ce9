// SPDX-License-Identifier: MIT
// picture/curve_picture — the light curve on paper, by gnuplot: SVG, PDF or PNG by the file's ending.
// Looks (design section 6): bright up; error bars; limits as open downward arrows; fit with its band; a panel
// of residuals; Julian date below and calendar date above; bands by colour and by shape.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/fit.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

struct CurveOnPaper {
    lightcurve::LightCurve curve;
    std::optional<lightcurve::CurveFit> fit;
    std::vector<double> fit_bjd_tdb, fit_mag, fit_err_mag;  // the line and its one-sigma band, sampled
};

struct CurvePicture {
    std::string title;                  // "DEMO SN 1"
    std::vector<std::string> subtitle;  // "V: 0.0512 ± 0.0011 mag/d"
    std::vector<CurveOnPaper> bands;
};

// Problem (storage): gnuplot is missing or fails (its message), or the file cannot be written.
[[nodiscard]] Result<void> draw_curve(const CurvePicture& picture, const std::string& path);

}  // namespace emberline::picture
