// SPDX-License-Identifier: MIT
// standard/table_slips — comparison tables that were not saved as one, and columns under other names. Private
// to this room.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::standard {

// What is wrong with the text as a whole, before its fields are looked at: another kind of file, other
// separators, no line that names the columns.
[[nodiscard]] std::optional<Problem> table_slip(std::string_view text, const std::string& source);
// "name" of a column that could be meant by `needed` (label, ra, dec); empty: none.
[[nodiscard]] std::string column_alike(const std::vector<std::string>& columns, std::string_view needed);
// "V" for Vmag, "V_err" for e_Vmag; empty: not known.
[[nodiscard]] std::string band_column_meant(std::string_view name);

}  // namespace emberline::standard
