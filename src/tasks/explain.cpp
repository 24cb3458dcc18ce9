// SPDX-License-Identifier: MIT
#include <algorithm>
#include <cmath>
#include <map>

#include "night/aperture_grid.hpp"
#include "numerics/robust.hpp"
#include "tasks/measure.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

std::vector<Surroundings> surroundings_of(const std::vector<FrameFluxes>& frames,
                                          const night::Solution& solution) {
    std::vector<Surroundings> out;
    for (const night::NightMeasurement& night : solution.nights) {
        std::vector<double> fwhm, sky, scatter, own, others;
        bool host = false;
        for (const FrameFluxes& frame : frames) {
            if (frame.night != night.night || frame.band != night.band ||
                frame.instrument != night.instrument)
                continue;
            fwhm.push_back(frame.fwhm_px * frame.scale_arcsec_per_px);
            for (const StarFlux& star : frame.stars) {
                if (star.label != photometry::transient_label) {
                    others.push_back(star.sky_unevenness);
                    continue;
                }
                own.push_back(star.sky_unevenness);
                sky.push_back(star.sky_e_per_px);
                scatter.push_back(star.sky_scatter_e);
                host = host || (!star.caveats.empty() && star.caveats.front().has(Caveat::host_unmodelled));
            }
        }
        if (own.empty()) continue;
        Surroundings s;
        s.night = night.night;
        s.band = night.band;
        s.aperture_arcsec = night.aperture_arcsec;
        s.fwhm_arcsec = numerics::median(fwhm);
        s.sky_e_per_px = numerics::median(sky);
        s.sky_scatter_e = numerics::median(scatter);
        s.unevenness = numerics::median(own);
        s.comparison_unevenness = others.empty() ? 0.0 : numerics::median(others);
        s.host_unmodelled = host;
        out.push_back(s);
    }
    return out;
}

std::vector<double> multiples_in(const std::vector<FrameFluxes>& frames) {
    std::vector<double> multiples;
    for (const auto& aperture : frames.front().apertures) {
        if (!aperture.fwhm_multiple) continue;
        const bool everywhere = std::all_of(frames.begin(), frames.end(), [&](const FrameFluxes& frame) {
            return night::find_multiple(frame.apertures, *aperture.fwhm_multiple).has_value();
        });
        if (everywhere) multiples.push_back(*aperture.fwhm_multiple);
    }
    return multiples;
}

}  // namespace

Result<Explanation> explain(const Workspace& workspace) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    const auto frames = ledger->frames();
    if (!frames) return fail(frames.error());
    const auto set_aside = set_aside_in(*ledger);
    if (!set_aside) return fail(set_aside.error());
    const auto chosen = night::solve_campaign(*frames, workspace.sequence, workspace.campaign, *set_aside);
    if (!chosen) return fail(chosen.error());
    Explanation out;
    out.surroundings = surroundings_of(*frames, chosen->solution);
    for (const double multiple : multiples_in(*frames)) {
        night::Campaign trial = workspace.campaign;
        trial.measure.aperture_arcsec.reset();
        trial.measure.aperture_fwhm = multiple;
        const auto solved = night::solve_campaign(*frames, workspace.sequence, trial, *set_aside);
        if (!solved) continue;
        for (const night::NightMeasurement& night : solved->solution.nights) {
            ApertureAnswer answer{night.night,         night.band,           night.instrument, multiple,
                                  night.magnitude_mag, night.random_err_mag, night.limit_mag,  false};
            for (const night::NightMeasurement& own : chosen->solution.nights) {
                if (own.night == night.night && own.band == night.band && own.instrument == night.instrument)
                    answer.chosen = std::abs(own.aperture_arcsec - night.aperture_arcsec) < 1e-6;
            }
            out.answers.push_back(answer);
        }
    }
    return out;
}

}  // namespace emberline::tasks
