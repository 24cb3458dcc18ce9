// SPDX-License-Identifier: MIT
// frame/read_sensor — gain, read noise, saturation, binning. Private to this room. GAIN is e-/ADU at
// observatories and a setting of the camera in many other headers: decided by EGAIN, then by plausibility,
// then by the campaign, and said which.
#pragma once

#include <optional>
#include <string>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

// The highest level that the pixel type holds, ADU, with BSCALE and BZERO; absent for types wider than any
// camera's converter.
[[nodiscard]] std::optional<double> top_of_type(const std::string& pixel_type, const Header& header);

void read_sensor(const Header& header, const Instrument& instrument, FrameFacts& facts);

}  // namespace emberline::frame
