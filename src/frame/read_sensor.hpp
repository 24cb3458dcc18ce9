// SPDX-License-Identifier: MIT
// frame/read_sensor — gain, read noise, saturation, binning. Private to this room. GAIN is e-/ADU at
// observatories and a setting of the camera in many other headers: decided by EGAIN, then by plausibility,
// then by the campaign, and said which.
#pragma once

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

void read_sensor(const Header& header, const Instrument& instrument, FrameFacts& facts);

}  // namespace emberline::frame
