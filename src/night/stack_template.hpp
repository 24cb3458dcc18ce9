// SPDX-License-Identifier: MIT
// night/stack_template — a template of the host from the campaign's own frames, from when the transient had
// faded, or from before it rose.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "frame/header.hpp"
#include "night/campaign.hpp"
#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct TemplateStack {
    int width_px = 0, height_px = 0;
    std::vector<float> adu;  // on the pixels and the scale of the sharpest frame; NaN where none reaches
    std::vector<frame::Card> cards;  // its plate solution, band, effective gain and read noise, provenance
    std::vector<std::string> used;
    std::vector<LeftOut> left_out;
    double fwhm_arcsec = 0.0;  // of the sharpest frame
    std::size_t clipped_pixels = 0;
};

// All frames of one band (`band` says which, of colour cameras' files), each brought onto the sharpest one's
// pixels (resampled with light conserved, by both plate solutions and the stars' shift against them), onto
// its sky and its light by the stars of the sequence; weighted by light and sky noise; a pixel far from the
// others' middle is left out. Works in strips of rows, so that memory does not grow with the frames' size.
// Problem: fewer than two frames that can be used, frames of several bands (kind request). A colour of a
// mosaic comes out upright at half the stored size.
[[nodiscard]] Result<TemplateStack> stack_template(
    const std::vector<std::string>& paths, const standard::Sequence& sequence, const Campaign& campaign,
    const std::optional<Band>& band = std::nullopt,
    const std::function<void(std::size_t done, std::size_t of)>& progress = {});

}  // namespace emberline::night
