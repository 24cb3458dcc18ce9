// SPDX-License-Identifier: MIT
// Pictures that count light and pictures that do not, made of rehearsals.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "rehearsal/invented_campaign.hpp"

namespace study {

struct Picture {
    std::vector<float> adu;
    int width_px = 0, height_px = 0;
    bool floating = false;    // saved as such; else with 16 bits
    bool eight_bits = false;  // saved as bytes
};

struct PictureCase {
    std::string name;
    bool linear = true;
    emberline::rehearsal::RehearsalOptions options;
    std::function<void(emberline::rehearsal::InventedCampaign&)>
        change;  // before it is exposed; may be empty
    std::function<Picture(const emberline::rehearsal::InventedCampaign&)> take;  // of its first frame
};

[[nodiscard]] std::vector<PictureCase> linear_cases(std::uint64_t first_seed);
[[nodiscard]] std::vector<PictureCase> processed_cases(std::uint64_t first_seed);

}  // namespace study
