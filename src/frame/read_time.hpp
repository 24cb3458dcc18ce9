// SPDX-License-Identifier: MIT
// frame/read_time — exposure, number of exposures, and the middle of the light, from the dialects of headers.
// Private to this room. Source: FITS standard 4.0, section 9; the rest is common practice, no source.
#pragma once

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

// exposure_s and stacked_exposures.
void read_exposure(const Header& header, const Instrument& instrument, FrameFacts& facts);
// mid_exposure; needs exposure_s.
void read_time(const Header& header, FrameFacts& facts);

}  // namespace emberline::frame
