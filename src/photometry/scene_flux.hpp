// SPDX-License-Identifier: MIT
// photometry/scene_flux — the transient's light in the apertures of one frame once a fitted scene is known,
// and what of its error is the frame's own and what all frames share.
#pragma once

#include <vector>

#include "numerics/shared_unknowns.hpp"
#include "photometry/scene_frame.hpp"

namespace emberline::photometry {

struct SolvedScene {
    numerics::FieldPosterior field;  // of the nodes' light and of the transient's place
    SkyPoint place;                  // about which the place's unknowns count
    // The light of the host that a point source at the transient would take up, as a sum over the field.
    std::vector<double> zero;
    std::vector<double> field_by_zero;  // covariance of the field with it, over its sigma
    double zero_err = 0.0;              // its sigma
    // What a fade added (scene_zero): the field's shift along `field_by_zero`, and what is left of the sigma.
    double zero_shift_sigmas = 0.0, zero_err_left = 1.0;
};

struct FrameLights {
    HostLight lights;
    frame::Cutout model;  // ADU
};

// `response` with the place's columns; `full`, `host_only`: own responses; all as the solution used them.
[[nodiscard]] FrameLights measure_frame(const FrameScene& f, const numerics::Matrix& response,
                                        const numerics::Matrix& full, const numerics::Matrix& host_only,
                                        const numerics::EliminatedBlock& block, const SolvedScene& scene);

}  // namespace emberline::photometry
