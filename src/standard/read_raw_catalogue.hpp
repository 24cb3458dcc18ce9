// SPDX-License-Identifier: MIT
// standard/read_raw_catalogue — a file of stars, whatever its kind, as columns. Private to this room.
#pragma once

#include <string>

#include "quantities/problem.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

// The kind is told by the content. Of a VOTable the first table that is wanted, and only the columns that
// are; of other kinds all of them. Problem (file, line or column): no table, or one that is damaged.
[[nodiscard]] Result<RawCatalogue> read_raw_catalogue(const std::string& path, const WantedColumns& wanted);

}  // namespace emberline::standard
