// SPDX-License-Identifier: MIT
// night/stack_members — frames made ready to be put together, and put together: on one grid of pixels, in one
// frame's light, outliers left out. What a night's stack and a host's template have in common. Private to
// this room.
#pragma once

#include <atomic>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "frame/header.hpp"
#include "night/campaign.hpp"
#include "photometry/frame_record.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

// The pixels that the stack is made on: the reference's own; where that is one colour of a mosaic, a picture
// of half the stored size in each direction, upright whatever the colour's lattice is.
struct StackGrid {
    int width_px = 0, height_px = 0;
    double area = 1.0;  // of its pixels, in the reference's
    std::optional<frame::Lattice> lattice;
    double phase_x = 0.0, phase_y = 0.0;

    [[nodiscard]] frame::PixelPosition on_reference(const frame::PixelPosition& p) const {
        return lattice ? lattice->picture({phase_x + 2.0 * p.x, phase_y + 2.0 * p.y}) : p;
    }
};
[[nodiscard]] StackGrid grid_of(const frame::FrameFacts& facts);

struct StackFrame {
    std::string path;
    frame::Frame frame;
    frame::Wcs wcs;
    photometry::FrameFluxes fluxes;
    double sky_adu = 0.0, scatter_adu = 1.0;  // of its own pixels
    double scale = 1.0;                       // its ADU for one of the reference's
    double weight = 0.0;                      // of all, 1 together: (scale / scatter)²
    // Above sky, in the reference's light: a pixel this bright may be saturated.
    double top_adu = std::numeric_limits<double>::infinity();

    [[nodiscard]] double fwhm_arcsec() const { return fluxes.fwhm_px * fluxes.scale_arcsec_per_px; }
};

// Measured by its plate solution. Problem: as measure_frame; trailed stars.
[[nodiscard]] Result<StackFrame> stack_frame(frame::Frame frame, const std::string& path,
                                             const std::string& fingerprint,
                                             const standard::Sequence& sequence, const Campaign& campaign);

struct StackOrder {
    // The reference comes first: the sharpest of all, or the one that shows most: (scale / scatter)² / FWHM².
    enum class First { sharpest, deepest } first = First::sharpest;
    std::string what;  // "template": what wide seeing would blur
    std::string mend;  // where fewer than two are left
};
// Of each frame what it lets through against the reference, by the stars of the sequence. Frames much wider
// than the sharpest, and those without a star in common with the others, go to `left_out`. Problem: fewer
// than two are left.
[[nodiscard]] Result<void> scale_and_weigh(std::vector<StackFrame>& members, const StackOrder& order,
                                           std::vector<LeftOut>& left_out);

struct CoAdded {
    std::vector<float> adu;            // above sky, in the reference's light; NaN: no frame reaches
    std::vector<float> variance_adu2;  // empty where not asked for
    std::size_t clipped_pixels = 0;    // frames' pixels that were left out
};
struct CoAddRequest {
    bool variance = false;
    const std::atomic<bool>* stop = nullptr;
    std::function<void(std::size_t done, std::size_t of)> progress;
};
// The weighted mean, pixel by pixel, each frame resampled with light conserved by both plate solutions and
// the stars' shifts against them. A pixel is left out that lies five sigma from the middle of the frames'
// (of two, from the fainter one), with what hangs on it; where the seeing differs, so do the stars, and that
// much of the brightest pixel nearby is allowed for. The variance is each kept frame's sky noise (read noise
// in it) and the photons of the pixel's own light: neighbours vary together, and it is what sums over
// apertures need, more than a single pixel scatters by. Works in strips of rows, whose height falls with the
// number of frames. Problem: a frame that cannot be read; stopped (kind interrupted).
[[nodiscard]] Result<CoAdded> co_add(const std::vector<StackFrame>& members, const StackGrid& grid,
                                     const CoAddRequest& request);

// What one ADU of the mean is worth: by the photons' noise of its light, and the read noise of a pixel.
struct EffectiveNoise {
    double gain_e_per_adu = 1.0, read_noise_e = 0.0;
};
[[nodiscard]] EffectiveNoise effective_noise(const std::vector<StackFrame>& members, const StackGrid& grid);

// The plate solution of the grid, as cards. Problem: distortions that cannot be halved.
[[nodiscard]] Result<std::vector<frame::Card>> plate_of(const StackFrame& reference, const StackGrid& grid,
                                                        const frame::Header& header);
// A colour of a mosaic has no filter of its own, and the mosaic's would tell another reader of a mosaic.
[[nodiscard]] frame::Card filter_card(const StackFrame& reference, const StackGrid& grid);

}  // namespace emberline::night
