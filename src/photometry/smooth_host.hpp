// SPDX-License-Identifier: MIT
// photometry/smooth_host — the host under the transient from one frame and nothing else: an elliptical
// profile about the nucleus, or a smooth surface where no nucleus is known, fitted with the transient masked.
#pragma once

#include <optional>

#include "frame/pixels.hpp"
#include "photometry/host_light.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct SmoothFit {
    HostLight light;
    frame::Cutout model;              // ADU: host and sky, no transient
    double surface_adu_per_px = 0.0;  // of the host under the transient, above the sky
    double surface_err_adu_per_px = 0.0;
};

// `nucleus`: from the transient's catalogue position. `shift`: where the transient is.
// The model's error is measured: apertures laid elsewhere at the same distance from the nucleus, with the
// same mask fitted out, tell how far such a model misses (a fit alone would believe itself). Problem: too few
// pixels beside the mask; a transient on the nucleus, where nothing tells the two apart (it says what
// accuracy a template would give).
[[nodiscard]] Result<SmoothFit> fit_smooth_host(const Surroundings& around, const FluxGrid& grid,
                                                const std::optional<SkyShift>& nucleus,
                                                const SkyShift& shift = {});

}  // namespace emberline::photometry
