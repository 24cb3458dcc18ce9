// SPDX-License-Identifier: MIT
// standard/survey_columns — which survey a table of magnitudes comes from, and which of its columns are
// magnitudes, errors and marks. Private to this room.
// The names of columns are those of the surveys' own archives and of the catalogue services that mirror them:
// common practice, no source.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "quantities/problem.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

// One native magnitude of every star. A colour is given beside another magnitude: V and B−V make B.
struct MagnitudeColumn {
    std::string native;  // "G", "gP1", "V"
    std::size_t column = 0;
    std::optional<std::size_t> err;             // a column of errors …
    std::optional<std::size_t> flux_over_err;   // … or of signal-to-noise …
    std::optional<std::size_t> flux, flux_err;  // … or both parts of it
    double unit_mag = 1.0, err_unit_mag = 1.0;  // magnitudes in one of the columns' units
    // native = sign · value + the magnitude of that name; empty: the value itself.
    std::string beside;
    double sign = 1.0;
};

// What a column says against its stars.
enum class MarkKind { variable, several, extended, doubtful };
enum class MarkTest {
    above,     // a number above `limit`
    below,     // a number below it
    bright,    // a magnitude below it
    equals,    // that number
    has_bits,  // a whole number that has one of the bits of `limit`
    says_yes,  // 1, true, t, yes, y, or the word itself ("VARIABLE")
};
struct MarkColumn {
    std::size_t column = 0;
    std::optional<std::size_t> minus;  // another column taken off first
    MarkKind kind = MarkKind::doubtful;
    MarkTest test = MarkTest::says_yes;
    double limit = 0.0;
    std::string why;  // "the survey says that it varies"
};

struct SurveyColumns {
    std::string survey, system;
    std::vector<MagnitudeColumn> magnitudes;  // those that others lean on first
    std::vector<MarkColumn> marks;
    std::optional<std::size_t> excess;  // Gaia's flux of BP and RP over that of G
    // What the survey's zero point wanders by over the sky, added to the error of every magnitude: common
    // practice, no source.
    double floor_mag = 0.0;
    std::vector<std::string> remarks;
};

// Problem: no magnitude of a known system; names the columns that are there and what is needed.
[[nodiscard]] Result<SurveyColumns> survey_columns(const std::vector<RawColumn>& columns);

}  // namespace emberline::standard
