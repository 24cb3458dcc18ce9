// SPDX-License-Identifier: MIT
#include "exchange/series.hpp"

#include <algorithm>

#include "exchange/network_format.hpp"
#include "exchange/series_formats.hpp"
#include "frame/file_marks.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

// The value of #TYPE=… among the lines that begin with '#' at the top; empty where there is none.
std::string report_type(std::string_view text) {
    while (!text.empty()) {
        const auto end = std::min(text.find_first_of("\r\n"), text.size());
        std::string_view line = trimmed(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
        if (line.empty()) continue;
        if (line.front() != '#') break;
        line.remove_prefix(1);
        const auto equals = line.find('=');
        if (equals != std::string_view::npos && same_word(trimmed(line.substr(0, equals)), "TYPE"))
            return upper_case(trimmed(line.substr(equals + 1)));
    }
    return {};
}

}  // namespace

Result<Series> read_series(const std::string& path) {
    const auto text = read_text_file(path);
    if (!text) return fail(text.error());
    return parse_series(*text, path);
}

Result<Series> parse_series(std::string_view text, const std::string& source) {
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    const std::string_view content = trimmed(text);
    if (content.starts_with('<')) return series_of_votable(content, source);
    if (content.starts_with("# %ECSV")) return series_of_ecsv(content, source);
    if (content.starts_with(frame::fits_mark)) {
        return fail({.what = "This is a FITS file, not a table of points.",
                     .where = source,
                     .mend = "Save the table as VOTable, ECSV or CSV."});
    }
    const std::string type = report_type(text);
    if (type == "EXTENDED") return series_of_network(text, source);
    if (type == "VISUAL") {
        return fail({.what = "This is a report of visual estimates, which have no passband.",
                     .where = source,
                     .mend = "Give a report in the Extended format, or CSV with a column of bands."});
    }
    return series_of_csv(text, source);
}

}  // namespace emberline::exchange
