// SPDX-License-Identifier: MIT
// standard/catalogue_stars — from columns to stars: units, systems, epochs, and what is missing. Private to
// this room.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "quantities/problem.hpp"
#include "standard/catalogue_columns.hpp"
#include "standard/field_catalogue.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

// A cell that says that there is nothing: empty, dashes, "null", "nan" and the like.
[[nodiscard]] bool is_blank(std::string_view cell);

inline constexpr const char* no_magnitudes_remark =
    "The table gives no magnitudes: its stars are not known by brightness.";

// Problem (line or row, and column named): a position that cannot be read or lies outside the sky, axes other
// than the equator's, an impossible epoch.
[[nodiscard]] Result<FieldCatalogue> stars_of(const RawCatalogue& raw, const ChosenColumns& chosen,
                                              const std::string& source, std::optional<double> epoch_jyear);

}  // namespace emberline::standard
