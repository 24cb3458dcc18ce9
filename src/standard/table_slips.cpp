// SPDX-License-Identifier: MIT
#include "standard/table_slips.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>

#include "quantities/angle.hpp"
#include "quantities/band.hpp"
#include "quantities/text.hpp"

namespace emberline::standard {
namespace {

// The first line that is neither blank nor a remark.
std::pair<std::string_view, std::size_t> first_line(std::string_view text) {
    std::size_t line = 0;
    for (const std::string_view raw : split(text, '\n')) {
        ++line;
        const std::string_view own = trimmed(raw);
        if (!own.empty() && own.front() != '#') return {own, line};
    }
    return {{}, 0};
}

bool starts_with_any(std::string_view text, std::initializer_list<std::string_view> heads) {
    return std::any_of(heads.begin(), heads.end(),
                       [&](std::string_view head) { return text.starts_with(head); });
}

// Something other than plain text.
std::optional<std::string> other_file(std::string_view text) {
    using namespace std::string_view_literals;
    if (starts_with_any(text, {"PK\x03\x04"sv, "\xd0\xcf\x11\xe0"sv}))
        return "This is a spreadsheet's or a packed file. Save the table as plain text, \"CSV\".";
    if (starts_with_any(text, {"\xff\xfe"sv, "\xfe\xff"sv})) return "The text is UTF-16. Save it as UTF-8.";
    const std::string head = lower_case(trimmed(text.substr(0, 200)));
    if (starts_with_any(head, {"<!doctype html", "<html"}))
        return "This is a web page. Save the table itself from it, as CSV.";
    if (text.find('\n') == std::string_view::npos && text.find('\r') != std::string_view::npos)
        return "Its lines end in carriage returns alone. Save it with line ends of this system.";
    return std::nullopt;
}

struct Separator {
    std::string_view mark, name;
};

}  // namespace

std::optional<Problem> table_slip(std::string_view text, const std::string& source) {
    if (const auto other = other_file(text)) {
        const auto end = other->find(". ");
        return Problem{.what = other->substr(0, end + 1), .where = source, .mend = other->substr(end + 2)};
    }
    const auto [line, number] = first_line(text.starts_with("\xEF\xBB\xBF") ? text.substr(3) : text);
    if (number == 0) return std::nullopt;
    const std::string where = fmt::format("{}, line {}", source, number);
    if (line.find(',') == std::string_view::npos || line.find(';') != std::string_view::npos) {
        constexpr std::array separators = {Separator{";", "semicolons"}, Separator{"\t", "tabs"},
                                           Separator{"|", "bars"}, Separator{"  ", "blanks"},
                                           Separator{" ", "blanks"}};
        for (const Separator& separator : separators) {
            if (line.find(separator.mark) == std::string_view::npos) continue;
            return Problem{
                .what = fmt::format("The columns are separated by {}, not by commas.", separator.name),
                .where = where,
                .mend = "Save the table with commas between the fields and points in the numbers."};
        }
    }
    const auto fields = split(line, ',');
    const bool values =
        fields.size() >= 3 && parse_right_ascension(fields[1]) && parse_declination(fields[2]);
    if (values) {
        return Problem{.what = "The line that names the columns is missing: this one holds values.",
                       .where = where,
                       .mend = "Put a line before it: label,ra,dec,V,V_err,role, as the columns are."};
    }
    return std::nullopt;
}

std::string column_alike(const std::vector<std::string>& columns, std::string_view needed) {
    static const std::map<std::string, std::vector<std::string>, std::less<>> others = {
        {"label", {"label", "name", "id", "star", "auid", "chart"}},
        {"ra", {"ra", "raj2000", "ra_icrs", "_raj2000", "ra_deg", "radeg", "alpha", "right ascension"}},
        {"dec",
         {"dec", "decl", "de", "dej2000", "de_icrs", "_dej2000", "dec_deg", "dedeg", "delta",
          "declination"}}};
    const auto known = others.find(needed);
    if (known == others.end()) return {};
    for (const std::string& word : known->second) {
        for (const std::string& column : columns) {
            if (lower_case(column) == word) return column;
        }
    }
    return {};
}

std::string band_column_meant(std::string_view name) {
    const std::string lower = lower_case(name);
    for (const BandFacts& band : all_bands()) {
        // Magnitudes and errors as tables of the trade head them.
        const std::string own = band.name;
        for (const std::string& head : {own + "mag", own + "_mag", own + " mag", "mag_" + own}) {
            if (name == head || (own.size() == 1 && own != lower_case(own) && lower == lower_case(head)))
                return own;
        }
        for (const std::string& head :
             {"e_" + own + "mag", own + "err", own + "_error", "e_" + own, own + "_e", own + " err",
              "err_" + own, own + "mag_err", own + "_mag_err"}) {
            if (name == head) return own + "_err";
        }
    }
    return {};
}

}  // namespace emberline::standard
