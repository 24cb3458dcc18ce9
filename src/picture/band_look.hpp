// SPDX-License-Identifier: MIT
// picture/band_look — how a band is told from another: by colour, and by shape where there is no colour.
// Source: the palette of Okabe & Ito 2008, "Color Universal Design", safe for colour-blind readers.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace emberline::picture {

// The six shapes that gnuplot fills in all of our terminals; the number before each is the same shape, open.
enum class Shape {
    square = 5,
    circle = 7,
    triangle = 9,
    inverted_triangle = 11,
    diamond = 13,
    pentagon = 15
};

struct BandLook {
    std::string colour;  // "#009e73"
    Shape shape = Shape::circle;
};

// How a point is drawn: gnuplot's point type, and a smaller one inside it (0: none).
struct SymbolLook {
    std::string colour;
    int type = 7;
    int inner_type = 0;
    double size = 1.0;
};
// The observer's own points (series 0) are filled; those of others are smaller, lighter and open, the second
// with a dot inside, the third and later with a cross.
[[nodiscard]] SymbolLook symbol_of(const BandLook& band, std::size_t series);

// A deeper tone of it, for words.
[[nodiscard]] std::string darker(const std::string& colour);

// One look for each band name, in order. A band looks the same in every picture unless another of the same
// picture has taken its shape.
[[nodiscard]] std::vector<BandLook> looks_of(const std::vector<std::string>& bands);

}  // namespace emberline::picture
