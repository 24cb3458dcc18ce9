// SPDX-License-Identifier: MIT
// photometry/scene — many frames of one band fitted at once: one host in sky coordinates, convolved with each
// frame's PSF, and the transient's light free in each frame at one common place.
// Within one epoch only differences of flux are determined; the zero comes from the prior (an elliptical
// profile about the nucleus, and smoothness learned from the host itself), and its uncertainty is common to
// all frames until some of them are from after the fade.
#pragma once

#include <optional>
#include <vector>

#include "frame/pixels.hpp"
#include "photometry/host_light.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

struct SceneFrame {
    const Surroundings* around = nullptr;  // with a PSF
    FluxGrid grid;
    double scale = 1.0;      // electrons here for one unit of light on the common scale (10^(0.4 zero point))
    double scale_err = 0.0;  // relative, random
    bool after_fade = false;  // known to hold no light of the transient: fixes the zero of all
};

struct SceneOptions {
    std::optional<SkyShift> nucleus;   // from the transient's catalogue position
    std::optional<SkyShift> position;  // of the transient, held; absent: refitted where the light allows
};

struct SceneFit {
    std::vector<HostLight> lights;      // one a frame
    std::vector<frame::Cutout> models;  // ADU: host and sky of each frame, on its own pixels, no transient
    SkyShift position;                  // of the transient
    double host_common_err = 0.0;       // one sigma of the zero, on the common scale (units of light)
    double chi2 = 0.0;
    std::size_t pixels = 0;
    std::vector<std::string> remarks;
};

// Problem: no frame with a PSF; frames too small for their seeing; a system that cannot be solved.
[[nodiscard]] Result<SceneFit> fit_scene(const std::vector<SceneFrame>& frames, const SceneOptions& options);

}  // namespace emberline::photometry
