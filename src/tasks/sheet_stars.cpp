// SPDX-License-Identifier: MIT
#include <algorithm>
#include <map>

#include "night/star_residuals.hpp"
#include "tasks/measured_frame.hpp"
#include "tasks/night_sheet_parts.hpp"

namespace emberline::tasks {
namespace {

using picture::SheetStar;
using picture::StarMark;

SheetStar sheet_star(const standard::ComparisonStar& star, const ValueWithError& catalogue,
                     const std::map<std::string, night::StarResidual>& residuals, const NightInLedger& night,
                     const night::NightMeasurement& m) {
    SheetStar out{.label = star.label, .catalogue_mag = catalogue};
    const auto found = residuals.find(star.label);
    if (found != residuals.end()) {
        const night::StarResidual& r = found->second;
        out.measured_mag = r.measured_mag;
        out.residual_mag = r.residual_mag;
        out.err_mag = r.err_mag;
        out.frames = r.frames;
    }
    out.mark = mark_in(m, star.label);
    if (out.mark == StarMark::unused) {
        out.remark = why_unused(star.label, m, night.frames, night.exclusions, found != residuals.end());
    }
    const night::StarVerdict* verdict = verdict_of(star.label, m, night.solution.stars);
    if (verdict != nullptr && verdict->suspect) {
        out.suspect = true;
        out.remark = verdict->why;
    }
    return out;
}

}  // namespace

std::vector<picture::SheetBand> sheet_bands(const NightInLedger& night, const Workspace& workspace) {
    std::vector<picture::SheetBand> bands;
    for (const night::NightMeasurement& m : night.solution.nights) {
        if (m.night != night.night) continue;
        picture::SheetBand band{.measured = m};
        std::map<std::string, night::StarResidual> residuals;
        for (night::StarResidual& r :
             night::night_residuals(night.frames, night.solution, workspace.sequence, m))
            residuals.emplace(r.label, std::move(r));
        for (const standard::ComparisonStar& star : workspace.sequence.stars) {
            const auto catalogue = star.magnitude(sequence_band(m.band));
            if (catalogue && star.role != standard::Role::ignore)
                band.stars.push_back(sheet_star(star, *catalogue, residuals, night, m));
        }
        std::stable_sort(band.stars.begin(), band.stars.end(), [](const SheetStar& a, const SheetStar& b) {
            return a.catalogue_mag.value < b.catalogue_mag.value;
        });
        band.stars_remark =
            "Measured with the zero points that the transient was measured with. The error is of the night's "
            "frames; "
            "the catalogue's own comes on top.";
        bands.push_back(std::move(band));
    }
    std::stable_sort(bands.begin(), bands.end(),
                     [](const picture::SheetBand& a, const picture::SheetBand& b) {
                         return facts(a.measured.band).wavelength_nm < facts(b.measured.band).wavelength_nm;
                     });
    return bands;
}

std::vector<picture::SheetFrame> sheet_frames(const NightInLedger& night) {
    std::map<std::pair<std::string, int>, const photometry::FrameFluxes*> by_name;
    for (const photometry::FrameFluxes& frame : night.frames)
        by_name[{frame.frame, frame.plane}] = &frame;
    std::vector<picture::SheetFrame> out;
    for (const night::JudgedExposure& e : night.judged.exposures) {
        picture::SheetFrame frame{.judged = e};
        if (const auto found = by_name.find({e.frame, e.plane}); found != by_name.end()) {
            frame.exposure_s = found->second->exposure_s;
            frame.airmass = found->second->airmass;
            frame.fingerprint = found->second->fingerprint;
        }
        out.push_back(std::move(frame));
    }
    return out;
}

}  // namespace emberline::tasks
