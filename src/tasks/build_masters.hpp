// SPDX-License-Identifier: MIT
// tasks/build_masters — calibration masters and a map of defects from folders of exposures.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "frame/build_master.hpp"
#include "quantities/problem.hpp"

namespace emberline::tasks {

// So short a dark is hardly more than a bias, and stands in for one. Common practice, no source.
inline constexpr double longest_as_bias_s = 5.0;

struct MastersRequest {
    std::vector<std::string> places;  // files and folders
    std::string campaign = ".";       // its folder, where there is one: instruments, and where masters/ goes
    std::string output;               // folder; empty: masters/ beside campaign.toml, else here
    bool replace = false;             // existing files
    std::size_t memory_bytes = std::size_t{256} << 20U;
    int threads = 2;
    std::function<void(std::size_t done, std::size_t of)> progress;
};

struct MasterMade {
    std::string path;
    frame::FrameKind kind = frame::FrameKind::dark;
    bool for_flats = false;  // a dark as long as a set of flats
    std::string filter, band;
    std::size_t frames = 0, refused = 0;
    double exposure_s = 0.0;
    std::optional<double> temperature_c, gain_setting;
    double level_adu = 0.0, scatter_adu = 0.0, clipped_share = 0.0;
    double pixel_err = 0.0;  // ADU; of a flat relative
    std::string pedestal;    // of a flat: the file that was taken off it first
};
struct DefectMapMade {
    std::string path;
    int width_px = 0, height_px = 0;
    std::size_t hot = 0, dead = 0, unstable = 0;
};

struct MastersOutcome {
    std::string folder;
    std::vector<MasterMade> masters;
    std::vector<DefectMapMade> defects;
    std::vector<LeftOut> left_out;
    std::vector<std::string> lights, made_before;  // passed over
    std::vector<std::string> remarks;              // sentences
    std::string settings;                          // [masters] for campaign.toml
};

// Problem: nothing named, an existing file without `replace`, a campaign that cannot be read (request);
// nothing that could be combined (input, with all reasons in `left_out` of none); the disk (storage).
[[nodiscard]] Result<MastersOutcome> build_masters(const MastersRequest& request);

}  // namespace emberline::tasks
