// SPDX-License-Identifier: MIT
// frame/master — one calibration file, opened: what it is, what it holds, and its pixels by cut-out. Private
// to this room.
#pragma once

#include <array>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "frame/fits_image.hpp"
#include "frame/frame_facts.hpp"
#include "frame/pixels.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// Of a flat's mean: a pixel that sees less is dead. Nothing is divided by less, so neither is the level at
// which saturated pixels are kept above all others.
inline constexpr double darkest_flat = 0.05;

enum class MasterRole { bias, dark, flat, defects };
[[nodiscard]] const char* word(MasterRole role);

// Read by several threads: plain files without a lock, packed ones one thread at a time.
struct Master {
    MasterRole role = MasterRole::bias;
    std::string name;  // the path as it was given
    std::string band;  // of a flat, as the campaign lists it; "" for every band
    std::shared_ptr<const FitsImage> image;
    FrameFacts facts;
    std::optional<double> egain;     // e-/ADU, by its header
    int left_px = 0, bottom_px = 0;  // of the sensor, where the picture's first pixel is
    bool bias_in = true;             // its pixels hold the bias; of a flat only where it is a raw exposure
    // From boxes all over it.
    double level_adu = 0.0;              // the middle one
    std::array<double, 4> phase_adu{};   // mean of each phase (x & 1) + 2 (y & 1)
    double lowest = 1.0, highest = 1.0;  // of a flat, over the mean
    double pixel_err = 0.0;              // of a flat: relative, one pixel
    mutable std::mutex one_at_a_time;

    [[nodiscard]] Result<std::vector<Cutout>> read(const std::vector<PixelBox>& boxes) const;
};

// Problem: cannot be read, says that it is something else, a flat that is saturated, empty or all noise.
[[nodiscard]] Result<std::shared_ptr<const Master>> open_master(MasterRole role, const std::string& path,
                                                                const std::string& band);

// Boxes spread evenly, at even columns and rows: 8 × 8 where there is room.
[[nodiscard]] std::vector<PixelBox> sample_boxes(int width_px, int height_px, int side_px);

}  // namespace emberline::frame
