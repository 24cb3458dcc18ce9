// SPDX-License-Identifier: MIT
// rehearsal/stack_options — how an invented live stack is made, and what its header tells.
#pragma once

#include "frame/frame_facts.hpp"

namespace emberline::rehearsal {

// What the header of a stack tells.
enum class StackHeader {
    all,    // count, how, total exposure, begin and end, dropped
    count,  // count alone; EXPTIME is one exposure's
    silent  // EXPTIME of one exposure, DATE-OBS of the first, and nothing of a stack
};

struct StackOptions {
    int exposures = 20;                              // in the stack
    int dropped = 0;                                 // taken besides, and left out (cloud, trails)
    frame::StackKind kind = frame::StackKind::mean;  // sum, mean or median
    double between_s = 1.0;                          // from the end of one exposure to the next
    double drift_px = 4.0;        // of the field from first to last; each is shifted back before it is added
    bool interpolated = true;     // … by parts of a pixel; false: by whole pixels
    bool offset_removed = false;  // a bias or dark was taken away from each exposure
    bool whole_numbers = true;    // rounded to 16 bits when saved, sums clipped at the top
    StackHeader header = StackHeader::all;
};

}  // namespace emberline::rehearsal
