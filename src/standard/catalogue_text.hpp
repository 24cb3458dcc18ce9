// SPDX-License-Identifier: MIT
// standard/catalogue_text — catalogues as lines of text: values between commas, tabs or semicolons, with or
// without the lines of units and dashes that services put below the names; and ECSV. For this room and for
// exchange.
// Source: astropy APE 6 (ECSV 1.0).
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::standard {

[[nodiscard]] Result<RawCatalogue> parse_catalogue_text(std::string_view text, const std::string& source);
[[nodiscard]] Result<RawCatalogue> parse_ecsv(std::string_view text, const std::string& source);

}  // namespace emberline::standard
