// SPDX-License-Identifier: MIT
// frame/read_calibration_facts — what kind of exposure it is, how the camera was set, and what was done to it
// before. Private to this room.
#pragma once

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

// By IMAGETYP, OBSTYPE or FRAME. Before read_exposure.
void read_kind(const Header& header, FrameFacts& facts);
// By the same keywords: a master, or a map of defects, and no exposure.
[[nodiscard]] bool is_made(const Header& header);

// Where a sub-frame begins on the sensor, by XORGSUBF and YORGSUBF; the sensor's corner where they do not
// say, or say what no sensor has.
struct SubFrameOrigin {
    int left_px = 0, bottom_px = 0;
    bool stated = false;
};
[[nodiscard]] SubFrameOrigin sub_frame_origin(const Header& header);

// Temperature by CCD-TEMP, else what it was set to; GAIN where it is a setting; the offset by the campaign,
// else by PEDESTAL; CALSTAT, and the words of HISTORY. Common practice, no source. After read_sensor.
void read_calibration_facts(const Header& header, const Instrument& instrument, FrameFacts& facts);

}  // namespace emberline::frame
