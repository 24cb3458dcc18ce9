// SPDX-License-Identifier: MIT
// exchange/series_formats — one function a kind of file. Private to this room; see exchange/series.
#pragma once

#include <string>
#include <string_view>

#include "exchange/series.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::exchange {

[[nodiscard]] Result<Series> series_of_network(std::string_view text, const std::string& source);
[[nodiscard]] Result<Series> series_of_csv(std::string_view text, const std::string& source);
[[nodiscard]] Result<Series> series_of_ecsv(std::string_view text, const std::string& source);
[[nodiscard]] Result<Series> series_of_votable(std::string_view text, const std::string& source);

// What all tables share, once they are columns.
[[nodiscard]] Result<Series> series_of_columns(const standard::RawCatalogue& table,
                                               const std::string& source);

}  // namespace emberline::exchange
