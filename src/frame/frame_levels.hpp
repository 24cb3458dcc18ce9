// SPDX-License-Identifier: MIT
// frame/frame_levels — what a sample of pixels tells of frames that shall be combined: how bright each is,
// which does not belong, and how far values of one pixel scatter. Private to this room.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

#include "frame/build_master.hpp"
#include "frame/frame_rows.hpp"
#include "frame/pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// The same pixels of every frame: pairs of columns in pairs of rows, so that each phase of a mosaic has its
// share. Rows y and columns x of entry i: see `places`.
struct PixelSample {
    struct Place {
        int x = 0, y = 0;
        [[nodiscard]] std::size_t phase() const { return phase_of(x, y); }
    };
    std::vector<Place> places;
    std::vector<std::vector<float>> adu;        // of each frame; empty where it could not be read
    std::vector<std::vector<float>> pedestals;  // of each pedestal
};

struct FrameLevels {
    std::vector<std::array<double, 4>> level;  // of each frame and phase, ADU, less its pedestal
    std::array<double, 4> common{};            // the level that flats are scaled to
    std::array<double, 4> typical{};           // scatter of one value about its pixel's mean, after scaling
    [[nodiscard]] double mean_level(std::size_t frame) const;
};

// Problems (one a frame) go to `left_out`, and that frame's entry is empty.
[[nodiscard]] Result<PixelSample> sample_pixels(FrameRows& frames, FrameRows& pedestals, int threads,
                                                std::vector<LeftOut>& left_out);

// What does not belong: saturated, too faint, of another level. Its sample becomes empty.
[[nodiscard]] FrameLevels judge_levels(PixelSample& sample, const MasterPlan& plan,
                                       std::vector<LeftOut>& left_out);

}  // namespace emberline::frame
