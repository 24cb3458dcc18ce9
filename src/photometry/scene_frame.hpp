// SPDX-License-Identifier: MIT
// photometry/scene_frame — one frame of a scene: its pixels about the transient in electrons, and how each of
// them answers to the scene's unknowns.
#pragma once

#include <array>
#include <vector>

#include "numerics/matrix.hpp"
#include "numerics/shared_unknowns.hpp"
#include "photometry/scene.hpp"
#include "photometry/scene_optics.hpp"

namespace emberline::photometry {

// A frame's own unknowns, in this order in every block: the transient's light (e), the sky left over (e/px),
// a shift on both axes (px), and the error of its scale (relative).
enum Own : std::size_t { transient_light = 0, sky_left, shift_x, shift_y, scale_error, own_unknowns };

struct FramePixels {
    std::vector<std::array<int, 2>> at;  // column and row; a rim of 1.5 px about the circle fitted included
    std::vector<bool> fitted;            // inside the circle, defined, not saturated, no cosmic ray
    std::vector<bool> defined;           // as `fitted`, the rim too
    std::vector<double> light_e;         // above the frame's sky
    std::vector<double> variance_e2;
    std::vector<std::array<int, 4>> beside;  // indices of left, right, below, above; −1: none
};

struct FrameScene {
    const SceneFrame* frame = nullptr;
    std::size_t number = 0;  // in the caller's list
    PointImage points;
    FramePixels pixels;
    double gain = 1.0, scale = 1.0, sky_sigma_e = 0.0, fwhm_px = 1.0, noise_area_px = 1.0;
    bool host_from_it = true;  // takes part in fitting the host
    double distrust = 1.0;     // variances are multiplied by it
    bool cosmic_on_transient = false;

    // By the last solution, on the pixels: e.
    std::vector<double> host_e, point, point_dx, point_dy;  // point: per electron; d: by the star's position
    std::array<double, own_unknowns> own{};
    std::array<double, 2> star_shift_px{};  // with which the point's images were made
    double chi2 = 0.0;
    std::size_t dof = 0;
};

// Problem: no PSF, nothing of the sky about the transient on the cut-out, a scale that is none.
[[nodiscard]] Result<FrameScene> open_frame(const SceneFrame& frame, std::size_t number,
                                            const SceneGrid& grid);

// Response of every pixel to every node (electrons for a unit of light), zeros at the place's columns.
[[nodiscard]] numerics::Matrix node_response(const FrameScene& f, const SceneGrid& grid);
// Images of a point at the transient's place, and their change with it.
void point_images(FrameScene& f, const SkyPoint& place);

// Gradient of an image on the pixels, by the pixels beside.
[[nodiscard]] std::array<std::vector<double>, 2> gradient(const FramePixels& pixels,
                                                          const std::vector<double>& image);

// Columns of the frame's own unknowns. `host_only`: how host and sky alone answer, without the transient.
[[nodiscard]] numerics::Matrix own_response(const FrameScene& f, bool host_only);
// What the images already hold of the shift that the own unknowns count again, to be added to every model: a
// shift of 0.1 px is not linear for a bright star.
[[nodiscard]] std::vector<double> shift_made_good(const FrameScene& f);
// Fills the place's columns of the response.
void add_place(const FrameScene& f, numerics::Matrix& response);

// The block of equations of the pixels fitted.
[[nodiscard]] numerics::DataBlock equations(const FrameScene& f, const numerics::Matrix& response,
                                            const numerics::Matrix& own, bool movable);

}  // namespace emberline::photometry
