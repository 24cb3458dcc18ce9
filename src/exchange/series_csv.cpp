// SPDX-License-Identifier: MIT
#include "exchange/series_formats.hpp"
#include "standard/catalogue_text.hpp"

namespace emberline::exchange {

Result<Series> series_of_csv(std::string_view text, const std::string& source) {
    const auto table = standard::parse_catalogue_text(text, source);
    if (!table) return fail(table.error());
    return series_of_columns(*table, source);
}

}  // namespace emberline::exchange
