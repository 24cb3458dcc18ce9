// SPDX-License-Identifier: MIT
#include <numeric>

#include "exchange/series_columns.hpp"
#include "exchange/series_formats.hpp"
#include "standard/votable.hpp"

namespace emberline::exchange {

Result<Series> series_of_votable(std::string_view text, const std::string& source) {
    // The first table that has times and magnitudes, all of its columns.
    const auto wanted =
        [](const std::vector<standard::RawColumn>& headings) -> std::optional<std::vector<std::size_t>> {
        if (!are_of_a_series(headings)) return std::nullopt;
        std::vector<std::size_t> all(headings.size());
        std::iota(all.begin(), all.end(), std::size_t{0});
        return all;
    };
    const auto table = standard::parse_votable(text, source, wanted);
    if (!table) return fail(table.error());
    return series_of_columns(*table, source);
}

}  // namespace emberline::exchange
