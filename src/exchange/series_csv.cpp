// SPDX-License-Identifier: MIT
#include "exchange/series_formats.hpp"
#include "standard/catalogue_text.hpp"

namespace emberline::exchange {

Result<Series> series_of_csv(std::string_view text, const std::string& source) {
    const auto table = standard::parse_catalogue_text(text, source);
    if (!table) return fail(table.error());
    if (table->columns.size() == 1 && table->columns[0].name.find(' ') != std::string::npos) {
        return fail({.what = "The columns are not set apart by commas, tabs or semicolons.",
                     .where = source,
                     .mend = "Put a comma between them; the first line names them: jd, band, mag, mag_err."});
    }
    return series_of_columns(*table, source);
}

}  // namespace emberline::exchange
