// SPDX-License-Identifier: MIT
// night/flip_step — how the stars' magnitudes change where the field turns round on the sensor: with a right
// flat field they do not.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "night/judge_night.hpp"
#include "night/solution.hpp"
#include "photometry/frame_record.hpp"

namespace emberline::night {

// A frame as it was measured, and what became of it.
struct FrameInSolution {
    const photometry::FrameFluxes* fluxes = nullptr;
    const FrameMeasurement* measured = nullptr;
};
// By time; a frame that the solution does not know is not among them.
[[nodiscard]] std::vector<FrameInSolution> frames_in_solution(
    const std::vector<photometry::FrameFluxes>& frames, const Solution& solution);
// The one that the frame was measured with; nothing for a frame that was refused before one was chosen.
[[nodiscard]] std::optional<std::size_t> aperture_in_use(const photometry::FrameFluxes& fluxes,
                                                         const FrameMeasurement& measured);
// By 180° within 10°: what a meridian flip does, and no camera that was touched.
[[nodiscard]] bool turned_round(double turn_deg);

// One a night, band and instrument whose frames lie on both sides of a flip. A night with the transient alone
// has none.
[[nodiscard]] std::vector<FlipOfNight> flips_of(const std::vector<photometry::FrameFluxes>& frames,
                                                const Solution& solution);
[[nodiscard]] std::string flip_sentence(const FlipOfNight& flip);

// Flags the nights whose flip stands out. Returns their sentences.
std::vector<std::string> flag_flip_steps(const std::vector<photometry::FrameFluxes>& frames,
                                         Solution& solution);

}  // namespace emberline::night
