// SPDX-License-Identifier: MIT
// night/choose_stack — where a night has both frames and a stack of them, one of the two counts and never
// both: they are the same light.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "photometry/frame_record.hpp"

namespace emberline::night {

// What single frames and a stack of them show of the transient, in the aperture nearest to 1.2 FWHM.
struct StackEvidence {
    std::size_t frames = 0;               // of the night, measured one by one
    std::size_t stacked = 0;              // in the stack
    std::size_t stacked_unmeasured = 0;   // of those, not measured one by one
    double frames_signal_to_noise = 0.0;  // of all frames together
    double stack_signal_to_noise = 0.0;
    double frames_place_err_fwhm = 0.0;  // of the registration, the frames' middle; in FWHM
    double stack_place_err_fwhm = 0.0;
};
[[nodiscard]] StackEvidence stack_evidence(const std::vector<const photometry::FrameFluxes*>& frames,
                                           const photometry::FrameFluxes& stack);

struct StackChoice {
    bool stack = false;
    std::string reason;  // one sentence
};
// The stack where single frames show too little: most of its frames could not be measured one by one; the
// stars do not tell within a tenth of the FWHM where the transient is; the transient is a limit in the
// frames' combination and the stack is deeper. Else the frames, whose noise is better known: outliers among
// them are seen, and cloud and seeing are each frame's own.
[[nodiscard]] StackChoice choose(const StackEvidence& evidence, double limit_sigma);

// How the refusal of a frame begins that a stack stands for: nothing is wrong with it.
inline constexpr const char* replaced_by_stack = "The stack ";

struct StacksAndFrames {
    std::map<const photometry::FrameFluxes*, std::string> refusals;  // not used, and why
    std::vector<std::string> remarks;                                // nights that a stack would help
};
// `frames`: those in use, of the whole campaign. `set_aside`: fingerprint -> name, of frames that are not to
// be used: a stack that holds one of them is not used either. Of several stacks of a night and band the one
// of most frames counts.
[[nodiscard]] StacksAndFrames choose_stacks(const std::vector<const photometry::FrameFluxes*>& frames,
                                            const std::map<std::string, std::string>& set_aside,
                                            double limit_sigma);

}  // namespace emberline::night
