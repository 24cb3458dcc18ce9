// SPDX-License-Identifier: MIT
// frame/build_master — one bias, dark or flat out of many exposures, in memory that neither their number nor
// their size makes grow: strips of rows go through, and the file is written as they are done.
// The file: the primary image holds the master (float32, ADU; a flat: mean 1, on a mosaic in each phase), an
// extension VARIANCE the variance of that mean (float32), an extension NUSED how many frames are in each
// pixel (16 bits). A dark keeps its bias in (BIASSUB = F).
// Estimator: numerics/clip_columns, κ = 4. Variance of the mean: that of the kept values over their number;
// with fewer than eight frames it is filled up to seven degrees of freedom with the usual scatter of the
// sensor, as two or three values of one pixel tell little. Of one frame alone: the scatter of neighbours.
#pragma once

#include <array>
#include <cstddef>
#include <functional>
#include <limits>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// From so many frames on, a pixel's own scatter is its variance.
inline constexpr double frames_of_own_scatter = 8.0;

struct MasterInput {
    std::string path;
    int pedestal = -1;  // number in MasterPlan::pedestals; −1: none. Subtracted from a flat first
    double exposure_s = 0.0;
};

struct MasterPlan {
    FrameKind kind = FrameKind::dark;
    std::string output;
    std::vector<MasterInput> frames;     // at least one
    std::vector<std::string> pedestals;  // masters of bias or dark
    int width_px = 0, height_px = 0;
    bool mosaic = false;  // flat: each phase (x & 1) + 2 (y & 1) for itself
    double saturation_adu = std::numeric_limits<double>::infinity();
    double gain_e_per_adu = 1.0;
    std::vector<Card> cards;  // what the frames have in common: FILTER, GAIN, CCD-TEMP …
    double kappa = 4.0;
    std::size_t memory_bytes = std::size_t{256} << 20U;
    int threads = 2;
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct Defect {  // sorted by place where in a list
    int x = 0, y = 0;
    int bits = 0;
    bool operator==(const Defect&) const = default;
};
inline constexpr int defect_hot = 1, defect_dead = 2, defect_unstable = 4;

struct BuiltMaster {
    std::string path;
    std::vector<std::string> used;
    std::vector<LeftOut> left_out;
    double level_adu = 0.0;       // mean of the sample; of a flat, of the light
    double scatter_adu = 0.0;     // of one pixel of one frame (a flat: at the common level)
    double clipped_share = 0.0;   // of all values
    double pixel_err = 0.0;       // typical, of the master's pixels, in its own unit
    std::vector<Defect> defects;  // hot and unstable from darks and biases, dead from flats
};

// Where no frame is left to combine, `used` is empty and nothing is written. Problem: a pedestal that cannot
// be read; the disk, or no memory (storage).
[[nodiscard]] Result<BuiltMaster> build_master(const MasterPlan& plan);

}  // namespace emberline::frame
