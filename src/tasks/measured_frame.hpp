// SPDX-License-Identifier: MIT
// tasks/measured_frame — one frame of the ledger: its file as it was measured, the aperture in use, and what
// each star was in it. Private to this room.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "ledger/ledger.hpp"
#include "night/campaign.hpp"
#include "night/flip_step.hpp"
#include "picture/finder_image.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// Only if the file holds what it held when it was measured. Problem: it is gone, was overwritten since, or
// cannot be read; each says what to do.
[[nodiscard]] Result<frame::Frame> open_as_measured(const photometry::FrameRecord& measured,
                                                    const Workspace& workspace,
                                                    const frame::Masters& masters);

struct ApertureInUse {
    double radius_px = 0.0, inner_px = 0.0, outer_px = 0.0;  // inner, outer: of the annulus
    bool psf = false;  // the radius is that of a circle with as much sky noise as the fit
};
// Nothing for a frame that was refused before an aperture was chosen.
[[nodiscard]] std::optional<ApertureInUse> aperture_of(const night::FrameInSolution& frame,
                                                       const night::MeasureSettings& settings);

// What the star was for that measurement, of a frame or of a night.
[[nodiscard]] picture::StarMark mark_in(const night::Measurement& measured, const std::string& label);
// "comparison", "check", "unused": of documents.
[[nodiscard]] std::string role_word(picture::StarMark mark);
// Why a star that has a magnitude in the band does not count, as far as the ledger tells; empty where it was
// measured and nobody set it aside.
[[nodiscard]] std::string why_unused(const std::string& label, const night::Measurement& measured,
                                     std::span<const photometry::FrameFluxes> frames,
                                     const std::vector<ledger::Exclusion>& exclusions, bool was_measured);
// Null where the solution says nothing of it.
[[nodiscard]] const night::StarVerdict* verdict_of(const std::string& label,
                                                   const night::Measurement& measured,
                                                   const std::vector<night::StarVerdict>& verdicts);

}  // namespace emberline::tasks
