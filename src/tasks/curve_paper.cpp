// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cmath>

#include "tasks/curve_parts.hpp"

namespace emberline::tasks {
namespace {

using picture::CurveOnPaper;

void mark_breaks(const lightcurve::CurveFit& fit, CurveOnPaper& paper) {
    for (std::size_t j = 0; j < fit.parameter_info.size(); ++j) {
        if (!fit.parameter_info[j].name.starts_with("break_")) continue;
        paper.marks.push_back(
            {fit.reference_bjd_tdb + fit.parameters[j], std::sqrt(fit.covariance(j, j)), "break"});
    }
}

CurveOnPaper on_paper(const BandCurve& band) {
    CurveOnPaper paper;
    paper.curve = band.curve;
    const lightcurve::Analysis& a = band.analysis;
    if (const lightcurve::CurveFit* chosen = a.chosen()) {
        paper.fit = *chosen;
        mark_breaks(*chosen, paper);
    }
    if (a.peak) paper.marks.push_back({a.peak->bjd_tdb.value, a.peak->bjd_tdb.err, "maximum"});
    if (a.plateau)
        paper.marks.push_back({a.plateau->end_bjd_tdb.value, a.plateau->end_bjd_tdb.err, "end of plateau"});
    if (!a.offsets.empty()) {
        paper.series_offset_mag.assign(band.curve.series.size(), 0.0);
        for (const lightcurve::SeriesOffset& offset : a.offsets) {
            for (std::size_t s = 0; s < band.curve.series.size(); ++s) {
                if (band.curve.series[s] == offset.series) paper.series_offset_mag[s] = offset.mag.value;
            }
        }
    }
    return paper;
}

// Days count from the maximum of B, as is usual, else of V, else of what has one.
const BandCurve* band_to_count_from(const CurveOutcome& outcome) {
    const BandCurve* found = nullptr;
    for (const BandCurve& band : outcome.bands) {
        if (!band.analysis.peak) continue;
        const std::string& name = band.curve.band.name();
        if (name == "B") return &band;
        if (found == nullptr || name == "V") found = &band;
    }
    return found;
}

}  // namespace

picture::CurvePicture curve_on_paper(const CurveOutcome& outcome) {
    picture::CurvePicture drawing;
    drawing.title = outcome.title;
    for (const BandCurve& band : outcome.bands) {
        drawing.bands.push_back(on_paper(band));
        if (const auto& decline = band.analysis.decline) {
            drawing.subtitle.push_back(
                fmt::format("{}: {} mag/d", band.curve.band.name(), with_error(decline->mag_per_day)));
        }
    }
    if (const BandCurve* band = band_to_count_from(outcome)) {
        drawing.maximum_bjd_tdb = band->analysis.peak->bjd_tdb.value;
        drawing.maximum_of = band->curve.band.name();
    }
    drawing.colours = outcome.colours;
    drawing.figures = figure_lines(outcome);
    picture::spread_bands(drawing);
    return drawing;
}

}  // namespace emberline::tasks
