// SPDX-License-Identifier: MIT
// frame/read_stack — how many exposures are in a frame and how they were put together, from the families of
// keywords that capture and stacking programs write; and what that makes of gain, noise and saturation.
// Source of the keywords: common practice, none; TELAPSE: FITS standard 4.0, section 9.
#pragma once

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"

namespace emberline::frame {

// The share of a mean's weight that a median of n values of Gaussian noise has: 1 for one and two, 2/π for
// many, 2/π (1 + (4 − π)/2n) for odd n and 2/π (1 + (6 − π)/2n) for even ones between: within 3 per cent of
// the order statistics' exact variances.
[[nodiscard]] double median_efficiency(double n);

// What putting n exposures together makes of one pixel. A mean of n stores 1/n of all electrons: n g of them
// an ADU, with a sum's read noise. A median has π/2 of a mean's variance, of photons as of read noise: as if
// fewer electrons had been counted, 2/π n g an ADU, with √(2/π n) r.
struct StackScale {
    double gain = 1.0;        // times a single exposure's e-/ADU: what noise follows
    double read_noise = 1.0;  // times a single exposure's, in those electrons
    double level = 1.0;       // times a single exposure's ADU: offset and saturation
    bool operator==(const StackScale&) const = default;
};
[[nodiscard]] StackScale stack_scale(StackKind kind, double n);

// stacked_exposures, stack_kind, dropped_exposures: by the header, else the campaign, or the reverse where it
// overrides; else 1, "assumed". What contradicts itself or makes no measurement is remarked.
void read_stack(const Header& header, const Instrument& instrument, FrameFacts& facts);
// Gain, read noise, saturation, linear_to and offset become those of the stored pixels. After all of them
// were read as one exposure's.
void apply_stack(const Header& header, FrameFacts& facts);
[[nodiscard]] const char* word(StackKind kind);  // "sum", "mean", "median", "single exposure"

// A mean or sum hides that some of its exposures were clipped where a star moved or sharpened: a pixel is
// trusted up to this share of one exposure's limit only. Common practice, no source; rehearsed with drifts of
// some pixels and seeing that changes by a tenth.
inline constexpr double trusted_of_a_stack = 0.75;

}  // namespace emberline::frame
