// SPDX-License-Identifier: MIT
// frame/colour_pattern — which colour each pixel of a mosaic sees, from the dialects of headers, and the
// lattice of each colour. Common practice, no source: BAYERPAT is the pattern as it is seen, the top row
// first, with the offsets XBAYROFF, YBAYROFF added. Where ROWORDER is TOP-DOWN or absent the first stored row
// is the top one, and the pattern holds at the first stored pixel. Where it is BOTTOM-UP the last stored row
// is the top one: the pattern at the first stored pixel has its rows exchanged, if the number of rows is
// even, and is the same if it is odd.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"
#include "frame/instrument.hpp"
#include "frame/lattice.hpp"
#include "frame/pixels.hpp"

namespace emberline::frame {

enum class Colour { red, green, blue };

// Colours of the stored pixels (x even, y even), (x odd, y even), (x even, y odd), (x odd, y odd).
struct ColourPattern {
    std::array<Colour, 4> cells{};
    [[nodiscard]] Colour at(int x, int y) const { return cells[phase_of(x, y)]; }
    [[nodiscard]] std::string word() const;                            // "RGGB"
    [[nodiscard]] ColourPattern shifted(int columns, int rows) const;  // as seen from pixel (columns, rows)
    // Of the same frame with its rows in reverse: BAYERPAT of a BOTTOM-UP frame from the pattern at its first
    // stored pixel, and back.
    [[nodiscard]] ColourPattern upside_down(int rows) const { return shifted(0, rows - 1); }
    bool operator==(const ColourPattern&) const = default;
};
// RGGB, BGGR, GRBG, GBRG in any case. Absent for anything else.
[[nodiscard]] std::optional<ColourPattern> parse_colour_pattern(std::string_view word);

// Of a frame of one plane: its pattern at the first stored pixel, by the campaign (`pattern` under
// [instrument]; "none" for no mosaic), which wins, or the header. Absent: not a mosaic. What contradicts or
// cannot be read becomes a remark in `facts`, whose height must be known. Problem: a pattern that is there
// and means nothing (where, how to mend).
[[nodiscard]] Result<std::optional<Fact<ColourPattern>>> read_colour_pattern(const Header& header,
                                                                             const Instrument& instrument,
                                                                             FrameFacts& facts);

// Red, green, blue. The frame has two rows and two columns at least.
[[nodiscard]] std::array<Lattice, 3> lattices_of(const ColourPattern& pattern, int width_px, int height_px);

}  // namespace emberline::frame
