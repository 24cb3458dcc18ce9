// SPDX-License-Identifier: MIT
#include "standard/read_raw_catalogue.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <string_view>
#include <utility>

#include "frame/file_marks.hpp"
#include "frame/fits_table.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "standard/catalogue_text.hpp"
#include "standard/votable.hpp"

namespace emberline::standard {
namespace {

// As a tree in memory XML takes some ten times its length.
constexpr std::size_t most_xml_bytes = std::size_t{128} << 20U;

Problem no_catalogue(std::string what, const std::string& path) {
    return {.what = std::move(what),
            .where = path,
            .mend = "A catalogue is CSV, ECSV, a VOTable or a FITS table, with positions of stars."};
}

RawCatalogue raw_of(frame::FitsTable table) {
    RawCatalogue raw;
    raw.rows = table.rows;
    for (frame::FitsColumn& column : table.columns) {
        raw.columns.push_back({.name = std::move(column.name),
                               .unit = std::move(column.unit),
                               .meaning = std::move(column.meaning),
                               .is_text = column.is_text,
                               .numbers = std::move(column.numbers),
                               .texts = std::move(column.texts),
                               .system = {}});
    }
    const auto said = [&](std::initializer_list<const char*> keywords) -> std::string {
        for (const char* keyword : keywords) {
            if (const auto text = table.header.text(keyword)) return *text;
        }
        return {};
    };
    // In a FITS header EPOCH is the old name of the equinox: FITS standard 4.0, section 8.3.
    raw.system = {.name = said({"RADESYS", "RADECSYS"}),
                  .equinox = said({"EQUINOX", "EPOCH"}),
                  .epoch = said({"REF_EPOCH", "REFEPOCH"})};
    return raw;
}

Result<RawCatalogue> read_as_fits(const std::string& path, bool gzipped) {
    auto table = frame::read_fits_table(path, most_catalogue_rows);
    if (table) return raw_of(std::move(*table));
    Problem problem = table.error();
    if (gzipped) problem.mend = "If it is a gzipped CSV or VOTable, unpack it first.";
    return fail(std::move(problem));
}

Result<RawCatalogue> read_as_xml(std::string_view text, const std::string& path,
                                 const WantedColumns& wanted) {
    const std::string start = lower_case(text.substr(0, 4096));
    if (start.find("<html") != std::string::npos || start.find("<!doctype html") != std::string::npos) {
        return fail(
            {.what = "This is a web page, not a table.",
             .where = path,
             .mend = "Services answer so when something went wrong: open it in a browser, and ask again."});
    }
    if (text.size() > most_xml_bytes) {
        return fail({.what = fmt::format("The VOTable is larger than {} MiB.", most_xml_bytes >> 20U),
                     .where = path,
                     .mend = "Ask for a smaller field, for fewer columns, or for a FITS table."});
    }
    return parse_votable(text, path, wanted);
}

// Not UTF-8: no line of it is a name of a star that could be shown. XML may say that it is something else.
std::optional<std::size_t> line_that_is_no_text(std::string_view text) {
    std::size_t line = 1;
    while (!text.empty()) {
        const auto end = std::min(text.find('\n'), text.size());
        if (!is_plain_text(trimmed(text.substr(0, end)))) return line;
        text.remove_prefix(std::min(end + 1, text.size()));
        ++line;
    }
    return std::nullopt;
}

// Empty where it cannot be read: that is told when the whole of it is asked for.
std::string start_of(const std::string& path) {
    std::string start(9, '\0');
    std::ifstream file(path, std::ios::binary);
    file.read(start.data(), static_cast<std::streamsize>(start.size()));
    return start;
}

Result<RawCatalogue> read_as_text(const std::string& path, const WantedColumns& wanted) {
    const auto whole = read_text_file(path);
    if (!whole) return fail(whole.error());
    std::string_view text = *whole;
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    const std::string_view start = text.substr(std::min(text.find_first_not_of(" \t\r\n"), text.size()));
    if (start.empty()) return fail(no_catalogue("The file is empty.", path));
    const bool latin = lower_case(start.substr(0, 100)).find("iso-8859-1") != std::string::npos;
    if (const auto line = line_that_is_no_text(text); line && !(start.front() == '<' && latin)) {
        return fail({.what = "The line holds bytes that are not text.",
                     .where = fmt::format("{}, line {}", path, *line),
                     .mend = "Save the table as plain UTF-8 text."});
    }
    if (start.front() == '<') return read_as_xml(text, path, wanted);
    if (start.front() == '{' || start.front() == '[')
        return fail(no_catalogue("This is JSON, not a table.", path));
    return start.starts_with("# %ECSV") ? parse_ecsv(text, path) : parse_catalogue_text(text, path);
}

}  // namespace

Result<RawCatalogue> read_raw_catalogue(const std::string& path, const WantedColumns& wanted) {
    const std::string start = start_of(path);
    const bool gzipped = start.starts_with(frame::gzip_mark);
    return gzipped || start.starts_with(frame::fits_mark) ? read_as_fits(path, gzipped)
                                                          : read_as_text(path, wanted);
}

}  // namespace emberline::standard
