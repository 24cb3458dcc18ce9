// SPDX-License-Identifier: MIT
// photometry/scene_prior — what is believed of a host before its pixels are fitted: an elliptical profile
// about its nucleus, with texture upon it whose strength and scale the host itself shows. Source: Emsellem,
// Monnet & Bacon 1994 (A&A 285, 723) for profiles as sums of Gaussians; Rasmussen & Williams 2006, chapter 5,
// for the choice by marginal likelihood.
#pragma once

#include <optional>
#include <vector>

#include "numerics/matrix.hpp"
#include "numerics/shared_unknowns.hpp"
#include "photometry/host_light.hpp"
#include "photometry/scene_optics.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

// Texture: at each node a fraction of the profile's light there, Gaussian, correlated by Matérn 3/2.
struct Texture {
    double fraction = 0.15;
    double length_arcsec = 0.0;
};

struct HostShape {
    std::vector<double> light;       // of each node by the smooth profile, on the common scale
    std::optional<SkyPoint> centre;  // the nucleus, where it is known
    std::optional<std::size_t> nucleus_node;
    double nucleus_light = 0.0;      // of a point source there
    double nucleus_light_err = 0.0;  // of the prior
};

// Profiles are fitted to what `data` say of the mean. Without a nucleus: a smooth positive surface.
[[nodiscard]] HostShape fit_shape(const SceneGrid& grid, const numerics::NormalEquations& data,
                                  const std::optional<SkyShift>& nucleus, double pixels);

// Of nodes and place; the place's variance is `place_err_arcsec`² an axis (0 where it is held).
[[nodiscard]] numerics::Matrix prior_covariance(const SceneGrid& grid, const HostShape& shape,
                                                const Texture& texture, double place_err_arcsec);
[[nodiscard]] std::vector<double> prior_mean(const HostShape& shape, const SkyPoint& place_before);

// How far from the prior's mean any texture may take each unknown: the scale of what counts as information.
[[nodiscard]] std::vector<double> prior_reach(const HostShape& shape, double place_err_arcsec);

// The strength and length that the host itself shows, by marginal likelihood with weak priors.
[[nodiscard]] Result<Texture> fit_texture(const SceneGrid& grid, const HostShape& shape,
                                          const numerics::WhitenedData& data, const Texture& start,
                                          double place_err_arcsec, const SkyPoint& place_before);

}  // namespace emberline::photometry
