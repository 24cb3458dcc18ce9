// SPDX-License-Identifier: MIT
#include "tasks/measured_frame.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "night/aperture_grid.hpp"

namespace emberline::tasks {
namespace {

using photometry::FrameFluxes;
using picture::StarMark;

bool holds(const std::vector<std::string>& labels, const std::string& label) {
    return std::find(labels.begin(), labels.end(), label) != labels.end();
}

}  // namespace

Result<frame::Frame> open_as_measured(const photometry::FrameRecord& measured, const Workspace& workspace,
                                      const frame::Masters& masters) {
    const std::string path = workspace.campaign.path(measured.frame);
    std::error_code error;
    if (std::filesystem::status(path, error).type() == std::filesystem::file_type::not_found) {
        return fail({.what = "The frame's file is not there any more.",
                     .where = path,
                     .mend =
                         "Put it back; or, where it was moved, measure it where it lies now: it keeps its "
                         "measurement."});
    }
    const auto print = frame::fingerprint(path);
    if (!print) return fail(print.error());
    if (*print != measured.fingerprint) {
        return fail({.what = "The file holds something else than when it was measured.",
                     .where = path,
                     .mend = "Measure it anew, or put the file back that was measured."});
    }
    const auto frames = frame::open_frames(path, workspace.campaign.instruments, &masters);
    if (!frames) return fail(frames.error());
    const auto plane = std::find_if(frames->begin(), frames->end(), [&](const frame::Frame& one) {
        return one.facts().plane == measured.plane;
    });
    if (plane != frames->end()) return *plane;
    return fail({.what = "The file has no such plane any more.",
                 .where = path,
                 .mend = "Was the colour pattern in campaign.toml changed? Measure the frame anew."});
}

std::optional<ApertureInUse> aperture_of(const night::FrameInSolution& frame,
                                         const night::MeasureSettings& settings) {
    const FrameFluxes& f = *frame.fluxes;
    const auto k = night::aperture_in_use(f, *frame.measured);
    if (!k) return std::nullopt;
    const photometry::Annulus annulus =
        night::annulus_around(f.apertures, f.fwhm_px, f.scale_arcsec_per_px, settings);
    return ApertureInUse{f.apertures[*k].radius_px, annulus.inner_px, annulus.outer_px,
                         f.apertures[*k].is_psf()};
}

StarMark mark_in(const night::Measurement& measured, const std::string& label) {
    if (label == measured.check.label) return StarMark::check;
    return holds(measured.comparison_labels, label) ? StarMark::comparison : StarMark::unused;
}

std::string role_word(StarMark mark) {
    switch (mark) {
        case StarMark::check:
            return "check";
        case StarMark::comparison:
            return "comparison";
        case StarMark::unused:
            break;
    }
    return "unused";
}

std::string why_unused(const std::string& label, const night::Measurement& measured,
                       std::span<const FrameFluxes> frames, const std::vector<ledger::Exclusion>& exclusions,
                       bool was_measured) {
    for (const ledger::Exclusion& e : exclusions) {
        if (e.kind == ledger::SetAside::star && e.key == label)
            return e.reason.empty() ? "set aside" : fmt::format("set aside: {}", e.reason);
    }
    if (was_measured) return {};
    Caveats caveats;
    bool seen = false;
    for (const FrameFluxes& frame : frames) {
        if (frame.band != measured.band || frame.instrument != measured.instrument) continue;
        const photometry::StarFlux* star = frame.find(label);
        if (star == nullptr) continue;
        seen = true;
        for (const Caveats& one : star->caveats)
            caveats.add(one);
    }
    if (!seen) return "not on the frames";
    return caveats.empty() ? "no light that could be measured" : caveats.words();
}

const night::StarVerdict* verdict_of(const std::string& label, const night::Measurement& measured,
                                     const std::vector<night::StarVerdict>& verdicts) {
    for (const night::StarVerdict& verdict : verdicts) {
        if (verdict.label == label && verdict.band == measured.band &&
            verdict.instrument == measured.instrument)
            return &verdict;
    }
    return nullptr;
}

}  // namespace emberline::tasks
