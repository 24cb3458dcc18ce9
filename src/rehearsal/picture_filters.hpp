// SPDX-License-Identifier: MIT
// rehearsal/picture_filters — what picture programs do to neighbouring pixels: blur, sharpen, restore, clean.
// Private to this room.
#pragma once

#include <vector>

namespace emberline::rehearsal {

// Row-major; beyond the edges the picture goes on as its mirror image.
struct Picture {
    std::vector<float> adu;
    int width_px = 0, height_px = 0;
};

[[nodiscard]] Picture blurred(const Picture& picture, double sigma_px);
// The picture and `amount` times what a blur takes from it.
[[nodiscard]] Picture unsharp_masked(const Picture& picture, double sigma_px, double amount);
// Richardson 1972 (JOSA 62, 55), Lucy 1974 (AJ 79, 745) with a Gaussian, the sky left where it is.
[[nodiscard]] Picture restored(const Picture& picture, double sigma_px, int rounds);
// Median of the square of side 2 reach + 1; of a pixel and its four neighbours with reach 0.
[[nodiscard]] Picture middle_of_neighbours(const Picture& picture, int reach_px);
// Each scale of the "à trous" transform (Starck & Murtagh 1994, A&A 288, 342) with what lies below
// `threshold` times its own scatter taken out, and the rest made smaller by as much.
[[nodiscard]] Picture shrunk(const Picture& picture, double threshold, int scales);
// The picture less medians of tiles, joined by straight lines.
[[nodiscard]] Picture background_removed(const Picture& picture, int tile_px);

}  // namespace emberline::rehearsal
