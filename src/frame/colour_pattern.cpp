// SPDX-License-Identifier: MIT
#include "frame/colour_pattern.hpp"

namespace emberline::frame {

std::string ColourPattern::word() const {
    std::string word;
    for (const Colour c : cells)
        word += c == Colour::red ? 'R' : c == Colour::green ? 'G' : 'B';
    return word;
}

ColourPattern ColourPattern::shifted(int columns, int rows) const {
    return {{at(columns, rows), at(columns + 1, rows), at(columns, rows + 1), at(columns + 1, rows + 1)}};
}

std::optional<ColourPattern> parse_colour_pattern(std::string_view) {
    return std::nullopt;
}

Result<std::optional<Fact<ColourPattern>>> read_colour_pattern(const Header&, const Instrument&,
                                                               FrameFacts&) {
    return std::optional<Fact<ColourPattern>>();
}

std::array<Lattice, 3> lattices_of(const ColourPattern&, int, int) {
    return {};
}

}  // namespace emberline::frame
