// SPDX-License-Identifier: MIT
// tasks/curve_parts — the steps of curve() that follow the fits.
#pragma once

#include "picture/curve_picture.hpp"
#include "tasks/curve.hpp"

namespace emberline::tasks {

// Colours, absolute magnitudes and hints, from the figures and the facts.
void derive(CurveOutcome& outcome);

// Profiles, bootstrap and sample of the chosen fit, as asked.
[[nodiscard]] CheckedErrors check_errors(const BandCurve& band, const lightcurve::AnalysisOptions& options,
                                         const ErrorChecks& checks);

[[nodiscard]] picture::CurvePicture curve_on_paper(const CurveOutcome& outcome);

// One line a figure, for paper and for people: "Δm15(B)", "1.12 ± 0.03 mag".
[[nodiscard]] std::vector<picture::FigureLine> figure_lines(const CurveOutcome& outcome);

}  // namespace emberline::tasks
