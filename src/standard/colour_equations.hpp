// SPDX-License-Identifier: MIT
// standard/colour_equations — published polynomials between photometric systems, from
// data/colour_equations.csv, which names the source of each.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::standard {

// Magnitudes of one star as a survey gives them, by its own names: "G", "BP", "RP"; "g", "r"; "V", "B".
using NativeMagnitudes = std::map<std::string, ValueWithError>;

// result = base + Σ c_k (blue − red)^k, k from 0.
struct ColourEquation {
    std::string name;    // "Riello 2021, V": set and result, unique
    std::string system;  // of what goes in: "gaia-dr3", "ps1", "sdss", "johnson-cousins"
    Band result;
    std::string base, blue, red;  // native magnitudes
    std::vector<double> coefficients;
    std::optional<double> least_colour_mag, most_colour_mag;  // published range; absent: not stated
    double scatter_mag = 0.0;                                 // published, of single stars about the relation
    int preference = 0;        // of several relations to one band from one system the least is taken
    std::string source;        // paper, table
    bool from_memory = false;  // coefficients or scatter were recalled, not read in the paper
};
[[nodiscard]] const std::vector<ColourEquation>& colour_equations();

struct ConvertedMagnitude {
    ValueWithError magnitude;  // error: the native errors through the equation and its scatter, in quadrature
    double colour_mag = 0.0;   // of the star, in the equation's index
    const ColourEquation* equation = nullptr;
};
// Problem: a native magnitude that is missing, a colour outside the published range (both named).
[[nodiscard]] Result<ConvertedMagnitude> convert(const ColourEquation& equation,
                                                 const NativeMagnitudes& star);
// By the preferred equation that the star's magnitudes allow. Problem: none; says what is missing.
[[nodiscard]] Result<ConvertedMagnitude> convert(std::string_view system, const Band& band,
                                                 const NativeMagnitudes& star);

}  // namespace emberline::standard
