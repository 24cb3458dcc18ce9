// SPDX-License-Identifier: MIT
// standard/votable — a VOTable as services hand it out: versions 1.0 to 1.5, cells as XML, BINARY or BINARY2.
// Nothing outside the file is ever fetched, and no entity of the file's own making is followed. For this
// room and for exchange.
// Source: IVOA VOTable 1.4 (2019).
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

// The first table that is wanted; the headings of the first one, without rows, where none is. Problem: no
// XML, no VOTable, no table, what the service says went wrong, cells that are missing or cut short (row
// named), data kept elsewhere.
[[nodiscard]] Result<RawCatalogue> parse_votable(std::string_view text, const std::string& source,
                                                 const WantedColumns& wanted);

}  // namespace emberline::standard
