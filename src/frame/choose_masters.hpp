// SPDX-License-Identifier: MIT
// frame/choose_masters — which calibration file fits a frame, by what both headers say. Private to this room.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/master.hpp"

namespace emberline::frame {

using MasterList = std::vector<std::shared_ptr<const Master>>;

// What of a frame decides.
struct Wanted {
    int width_px = 0, height_px = 0;  // stored
    int left_px = 0, bottom_px = 0;   // of the sensor, where its first pixel is
    bool cut = false;                 // its header says so
    std::optional<int> binning;
    std::optional<double> gain_setting, egain, temperature_c, exposure_s;
    std::optional<std::string> filter, band, pattern;
    bool mosaic = false;
};
[[nodiscard]] Wanted wanted_of(const FrameFacts& facts, const Header& header);

// Why the master does not fit, as a clause: "it is 640 × 480 pixels, the frame 1280 × 960". Absent: it does.
// Size and binning, then the role's own: gain setting and temperature of biases and darks, filter and pattern
// of flats. Exposure is not judged here.
[[nodiscard]] std::optional<std::string> misfit(const Wanted& frame, const Master& master);

// How a dark of another exposure may serve, or not.
inline constexpr double unscaled_within = 0.01;    // relative; headers round
inline constexpr double most_scaled_up = 4.0;      // its noise grows with it
inline constexpr double short_of_exposure = 0.02;  // of the frame's: holds no more than the bias

// The one of a role that fits, the lowest cost of several; `cost_of` gives a clause where it does not.
struct Pick {
    std::shared_ptr<const Master> master;
    std::vector<std::string> passed_over;  // "masters/a.fits: it is …"
};
struct Cost {
    double value = 0.0;
    std::optional<std::string> misfit;
};
[[nodiscard]] Pick pick(const MasterList& masters, MasterRole role, const Wanted& frame,
                        const std::function<Cost(const Master&)>& cost_of);

[[nodiscard]] double degrees_apart(const Wanted& frame, const Master& master);  // 0 where not known

}  // namespace emberline::frame
