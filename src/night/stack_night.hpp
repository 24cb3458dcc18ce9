// SPDX-License-Identifier: MIT
// night/stack_night — one deep frame of a night's good ones, with the variance of each pixel.
#pragma once

#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "frame/frame.hpp"
#include "frame/header.hpp"
#include "night/campaign.hpp"
#include "quantities/band.hpp"
#include "quantities/instant.hpp"
#include "quantities/problem.hpp"
#include "standard/sequence.hpp"

namespace emberline::night {

struct StackMember {
    std::string path, fingerprint;
    double weight = 0.0;        // of all, 1 together
    double transparency = 1.0;  // against the reference
    double fwhm_arcsec = 0.0;
};

struct NightStack {
    int width_px = 0, height_px = 0;
    std::vector<float> adu;  // on the pixels and the scale of the reference frame; NaN: none reaches
    std::vector<float> variance_adu2;  // of each pixel, its own light's noise included
    std::vector<frame::Card>
        cards;  // plate solution, band, effective gain and read noise, mid-time, provenance
    std::vector<frame::Card> variance_cards;
    std::vector<StackMember> used;
    std::vector<LeftOut> left_out;
    Band band;
    Instant mid_exposure;     // UTC, weighted as the light is
    double exposure_s = 0.0;  // open shutter, of all together
    double gain_e_per_adu = 1.0, read_noise_e = 0.0;
    double fwhm_arcsec = 0.0;
    std::size_t clipped_pixels = 0;
};

struct StackCandidate {
    std::string path, fingerprint;
    frame::Frame frame;                  // with a usable plate solution: its own, or one found for it
    std::optional<frame::Header> plate;  // of a solution that is not its header's: that one's cards
};
// `candidates`: frames of one band. The pixels and the light are those of the frame that shows most. A stack,
// a second copy, a trailed or much blurred frame, and one that cannot be measured, is left out. Problem:
// fewer than two that can be used; several bands (kind request); stopped (kind interrupted).
[[nodiscard]] Result<NightStack> stack_night(
    const std::vector<StackCandidate>& candidates, const standard::Sequence& sequence,
    const Campaign& campaign, const std::function<void(std::size_t done, std::size_t of)>& progress = {},
    const std::atomic<bool>* stop = nullptr);

}  // namespace emberline::night
