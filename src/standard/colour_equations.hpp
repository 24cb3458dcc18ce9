// SPDX-License-Identifier: MIT
// standard/colour_equations — published polynomials between photometric systems, from
// data/colour_equations.csv, which names the source of each.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::standard {

// Magnitudes of one star as a survey gives them. Names tell the system: "G", "BP", "RP" of Gaia; "gP1",
// "rP1", "iP1", "zP1", "yP1" of Pan-STARRS; "u" to "z" of SDSS and "U" to "Ic" of Johnson and Cousins, which
// are bands.
using NativeMagnitudes = std::map<std::string, ValueWithError>;

// result = base + Σ c_k (blue − red)^k + limit_slope (limit_blue − limit_red), k from 0.
struct ColourEquation {
    std::string name;    // "Riello V": unique
    std::string system;  // of what goes in: "gaia-dr3", "ps1", "sdss", "johnson-cousins"
    Band result;
    std::string base, blue, red;  // native magnitudes
    std::vector<double> coefficients;
    double least_colour_mag = 0.0, most_colour_mag = 0.0;
    // A second condition of some: limit_blue − limit_red below limit_most_mag.
    std::string limit_blue, limit_red;  // empty: none
    double limit_most_mag = 0.0;
    double limit_slope = 0.0;  // of those that need two colours
    double scatter_mag = 0.0;  // published, of single stars about the relation
    int preference = 0;        // of several relations to one band from one system the least is taken
    std::string source;        // paper, table
    bool from_memory = false;  // coefficients or scatter were recalled, not read in the paper

    [[nodiscard]] double shift_mag(double colour_mag) const;  // the sum over k
    [[nodiscard]] double slope(double colour_mag) const;      // d(shift)/d(colour)
    [[nodiscard]] std::string formula() const;  // "V = G + 0.02704 - 0.01424 c … , c = BP - RP"
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
// By the preferred equation that the star's magnitudes allow. Problem: none; says of the nearest one why.
[[nodiscard]] Result<ConvertedMagnitude> convert(const Band& band, const NativeMagnitudes& star);

// For a person: each relation with its range, scatter and source, and one star worked through it.
struct WorkedEquation {
    const ColourEquation* equation = nullptr;
    NativeMagnitudes star;  // without errors
    double result_mag = 0.0;
    std::string arithmetic;  // "13.000 + 0.02704 - 0.01424 x 0.820 + …  = 13.152"
};
[[nodiscard]] std::vector<WorkedEquation> worked_equations();
// The same as lines of text.
[[nodiscard]] std::string colour_equation_table();

}  // namespace emberline::standard
