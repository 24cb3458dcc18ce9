// SPDX-License-Identifier: MIT
// picture/curve_picture — the light curve on paper, by gnuplot: SVG, PDF or PNG by the file's ending.
// Looks (design section 6): bright up; error bars; limits as open downward arrows; fit with its band; panels
// of residuals and of colours; Julian date below, days since maximum or calendar date above; bands by colour
// and by shape, other observers' points open; outliers crossed; what would ruin the scale at its edge, with
// its value; the figures in a column at the right, fourteen at most. Of more than 4000 points only so many
// are drawn as cover the same paper, and the legend says so.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/colour_curve.hpp"
#include "lightcurve/fit.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

// A time that the fit found: a break, the peak, the end of a plateau.
struct MarkedTime {
    double bjd_tdb = 0.0;
    double err_d = 0.0;
    std::string words;  // "break", "maximum"
};

struct CurveOnPaper {
    lightcurve::LightCurve curve;  // the points of its first series are drawn full, those of others lighter
    std::optional<lightcurve::CurveFit> fit;  // its line and one-sigma band are drawn over its interval
    std::vector<double> series_offset_mag;    // one a series, taken off before drawing; empty: none
    double shift_mag = 0.0;                   // bands are drawn apart: "B + 1.0"
    std::vector<MarkedTime> marks;
};

struct FigureLine {
    std::string name, value;  // "Δm15(B)", "1.12 ± 0.03 mag"
};

struct CurvePicture {
    std::string title;                  // "DEMO SN 1"
    std::vector<std::string> subtitle;  // "V: 0.0512 ± 0.0011 mag/d"
    std::vector<CurveOnPaper> bands;
    std::optional<double> maximum_bjd_tdb;         // days since it run above the panel, instead of the date
    std::string maximum_of;                        // "B"
    std::vector<lightcurve::ColourCurve> colours;  // a panel of their own
    std::vector<FigureLine> figures;               // a plain panel of the numbers
};

// Chooses `shift_mag`: half magnitudes that keep bands apart at all times they share, the reddest above (as
// most transients have it when they fade), V (else the middle one) where it is. Bands apart already stay.
void spread_bands(CurvePicture& picture);

// Problem (storage): gnuplot is missing or fails (its message), or the file cannot be written.
[[nodiscard]] Result<void> draw_curve(const CurvePicture& picture, const std::string& path);

}  // namespace emberline::picture
