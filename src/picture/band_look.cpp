// SPDX-License-Identifier: MIT
#include "picture/band_look.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>

namespace emberline::picture {
namespace {

constexpr const char* black = "#000000";
constexpr const char* orange = "#e69f00";
constexpr const char* sky_blue = "#56b4e9";
constexpr const char* bluish_green = "#009e73";
constexpr const char* blue = "#0072b2";
constexpr const char* vermilion = "#d55e00";
constexpr const char* reddish_purple = "#cc79a7";

struct KnownLook {
    std::string_view band;
    const char* colour;
    Shape shape;
};

// Colours run with the wavelength as far as the palette does.
constexpr std::array known_looks = {
    KnownLook{"U", sky_blue, Shape::inverted_triangle},
    KnownLook{"B", blue, Shape::square},
    KnownLook{"V", bluish_green, Shape::circle},
    KnownLook{"Rc", vermilion, Shape::triangle},
    KnownLook{"Ic", reddish_purple, Shape::diamond},
    KnownLook{"RJ", vermilion, Shape::triangle},
    KnownLook{"IJ", reddish_purple, Shape::diamond},
    KnownLook{"u", sky_blue, Shape::inverted_triangle},
    KnownLook{"g", blue, Shape::pentagon},
    KnownLook{"r", vermilion, Shape::triangle},
    KnownLook{"i", reddish_purple, Shape::diamond},
    KnownLook{"z", black, Shape::inverted_triangle},
    KnownLook{"TB", blue, Shape::square},
    KnownLook{"TG", bluish_green, Shape::pentagon},
    KnownLook{"TR", vermilion, Shape::triangle},
    KnownLook{"CV", black, Shape::circle},
    KnownLook{"CR", orange, Shape::circle},
};
constexpr std::array all_colours = {bluish_green, blue, vermilion, reddish_purple, black, sky_blue, orange};
constexpr std::array all_shapes = {Shape::circle,  Shape::square,   Shape::triangle,
                                   Shape::diamond, Shape::pentagon, Shape::inverted_triangle};

BandLook usual_look(const std::string& band) {
    for (const KnownLook& known : known_looks) {
        if (known.band == band) return {known.colour, known.shape};
    }
    return {orange, Shape::diamond};
}

// `share` of the way to white (255) or black (0), as "#rrggbb".
std::string mixed_with(const std::string& colour, int grey, double share) {
    std::string mixed = "#";
    for (std::size_t i = 1; i + 1 < colour.size(); i += 2) {
        const double part = std::stoi(colour.substr(i, 2), nullptr, 16);
        mixed += fmt::format("{:02x}", static_cast<int>(part + (grey - part) * share));
    }
    return mixed;
}

}  // namespace

SymbolLook symbol_of(const BandLook& band, std::size_t series) {
    const int filled = static_cast<int>(band.shape);
    if (series == 0) return {.colour = band.colour, .type = filled};
    constexpr int dot = 7, cross = 1;
    return {.colour = mixed_with(band.colour, 255, 0.3),
            .type = filled - 1,
            .inner_type = series == 1   ? 0
                          : series == 2 ? dot
                                        : cross,
            .size = 0.85};
}

std::string darker(const std::string& colour) {
    return mixed_with(colour, 0, 0.3);
}

std::vector<BandLook> looks_of(const std::vector<std::string>& bands) {
    std::vector<BandLook> looks;
    std::vector<bool> own_shape, own_colour;
    for (const std::string& band : bands) {
        const BandLook look = usual_look(band);
        own_shape.push_back(std::none_of(looks.begin(), looks.end(),
                                         [&](const BandLook& l) { return l.shape == look.shape; }));
        own_colour.push_back(std::none_of(looks.begin(), looks.end(),
                                          [&](const BandLook& l) { return l.colour == look.colour; }));
        looks.push_back(look);
    }
    // Whoever comes second takes what nobody in the picture has.
    for (std::size_t i = 0; i < looks.size(); ++i) {
        const auto has_shape = [&](Shape s) {
            return std::any_of(looks.begin(), looks.end(), [&](const BandLook& l) { return l.shape == s; });
        };
        const auto has_colour = [&](std::string_view c) {
            return std::any_of(looks.begin(), looks.end(), [&](const BandLook& l) { return l.colour == c; });
        };
        if (!own_shape[i]) {
            const auto free = std::find_if_not(all_shapes.begin(), all_shapes.end(), has_shape);
            if (free != all_shapes.end()) looks[i].shape = *free;
        }
        if (!own_colour[i]) {
            const auto free = std::find_if_not(all_colours.begin(), all_colours.end(), has_colour);
            if (free != all_colours.end()) looks[i].colour = *free;
        }
        // With more bands than colours and shapes, at least no two share both.
        const auto taken = [&](Shape shape) {
            for (std::size_t k = 0; k < looks.size(); ++k) {
                if (k != i && looks[k].shape == shape && looks[k].colour == looks[i].colour) return true;
            }
            return false;
        };
        if (taken(looks[i].shape)) {
            const auto free = std::find_if_not(all_shapes.begin(), all_shapes.end(), taken);
            if (free != all_shapes.end()) looks[i].shape = *free;
        }
    }
    return looks;
}

}  // namespace emberline::picture
