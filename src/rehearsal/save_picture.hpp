// SPDX-License-Identifier: MIT
// rehearsal/save_picture — how a picture gets from the camera to the disk: debayered, processed, in whole
// numbers or not. Private to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/colour_pattern.hpp"
#include "frame/header.hpp"
#include "quantities/problem.hpp"
#include "rehearsal/processed_save.hpp"

namespace emberline::rehearsal {

struct CameraPicture {
    std::vector<float> adu;
    int width_px = 0, height_px = 0;
    bool whole_numbers = true;  // to be saved with 16 bits
};

struct Saving {
    std::optional<frame::ColourPattern> debayer;  // of the mosaic that is to become three planes
    Processing processing = Processing::none;
};

// Its folder is made. Problem (storage): the disk.
[[nodiscard]] Result<void> save_picture(const std::string& path, CameraPicture picture, const Saving& saving,
                                        const std::vector<frame::Card>& cards);

// Folders on the way are made.
[[nodiscard]] Result<void> make_folder(const std::string& folder);

}  // namespace emberline::rehearsal
