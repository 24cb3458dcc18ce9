// SPDX-License-Identifier: MIT
// frame/own_stack — the stacks that this program makes, known again by their header: gain, read noise and
// saturation there are those of the stored pixels, the exposure is that of all frames together, and nothing
// that the campaign says of single frames holds for them.
// Keywords of our own: STKCOUNT frames in the mean; STKFnnnn, STKNnnnn, STKWnnnn each one's fingerprint, name
// and share of the weight; STKCLIP pixel values left out; STKSKY the level that stands for no light. There is
// no NCOMBINE: by custom it multiplies the gain of one frame, and this gain is the mean's already.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

struct StackedFrame {
    std::string name, fingerprint;
    double weight = 0.0;  // of all, 1 together
};
struct OwnStack {
    std::vector<StackedFrame> frames;
    double gain_e_per_adu = 1.0, read_noise_e = 0.0;  // of the stored pixels
    double exposure_s = 0.0;                          // open shutter, all together
    double saturation_adu = 0.0;
    double sky_adu = 0.0;
    std::size_t clipped_pixels = 0;
};

// At most this many frames have numbers of four digits.
inline constexpr std::size_t most_stacked_frames = 9999;

[[nodiscard]] std::vector<Card> own_stack_cards(const OwnStack& stack);
// Absent for any header that is not of such a stack, or lacks a number that it must have.
[[nodiscard]] std::optional<OwnStack> read_own_stack(const Header& header);
// Exposure, count, gain, read noise and saturation, as they are written there.
void take_own_stack(const OwnStack& stack, FrameFacts& facts);
// What still holds of the instrument: its name, its telescope and its bands.
[[nodiscard]] Instrument instrument_of_stack(const Instrument& instrument);

}  // namespace emberline::frame
