// SPDX-License-Identifier: MIT
// standard/sequence — the comparison stars: comparison.csv.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/band.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"
#include "quantities/value_with_error.hpp"

namespace emberline::standard {

enum class Role { comparison, check, ignore };
[[nodiscard]] std::string_view word(Role role);

// Where a table gives no error, this one is taken: typical of charts made from all-sky surveys.
// common practice, no source
inline constexpr double assumed_catalogue_err_mag = 0.05;

struct ComparisonStar {
    std::string label;  // "126", "131b"
    SkyPosition position;
    std::map<Band, ValueWithError> magnitudes;
    Role role = Role::comparison;
    std::size_t line = 0;  // in the table, for messages
    [[nodiscard]] std::optional<ValueWithError> magnitude(const Band& band) const;
    // In that index, when both bands are known; its error is the quadrature sum.
    [[nodiscard]] std::optional<ValueWithError> colour(const ColourIndex& index) const;
};

struct Sequence {
    std::string source;
    std::vector<ComparisonStar> stars;
    std::vector<Band> bands;           // columns of the table
    std::vector<std::string> remarks;  // e.g. "no column V_err: 0.05 mag assumed"
    [[nodiscard]] const ComparisonStar* find(std::string_view label) const;
};

// `label,ra,dec,<BAND>,<BAND>_err,…,role`. Problem (file, line, column): a missing column, a duplicated
// label, a position or magnitude that cannot be read, a magnitude outside −30..40, an error that is negative,
// an unknown role, a column that is no band.
[[nodiscard]] Result<Sequence> read_sequence(const std::string& path);
[[nodiscard]] Result<Sequence> parse_sequence(std::string_view text, std::string source);
[[nodiscard]] std::string write_sequence(const Sequence& sequence);

}  // namespace emberline::standard
