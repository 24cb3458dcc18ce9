// SPDX-License-Identifier: MIT
#include "exchange/table_cells.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

constexpr std::size_t least_known_names = 3;

std::size_t known_names_of(TableLevel level, std::span<const std::string> names) {
    const auto columns = columns_of(level);
    return static_cast<std::size_t>(std::count_if(names.begin(), names.end(), [&](const std::string& n) {
        return std::any_of(columns.begin(), columns.end(), [&](const TableColumn& c) { return c.name == n; });
    }));
}

std::optional<bool> truth_of(std::string_view word, TextDialect dialect) {
    switch (dialect) {
        case TextDialect::csv:
            if (word == "1") return true;
            if (word == "0") return false;
            break;
        case TextDialect::ecsv:
            if (word == "True") return true;
            if (word == "False") return false;
            break;
        case TextDialect::votable: {  // VOTable 1.4, section 6
            const std::string small = lower_case(word);
            if (small == "t" || small == "true" || small == "1") return true;
            if (small == "f" || small == "false" || small == "0") return false;
            break;
        }
    }
    return std::nullopt;
}

std::string_view truth_words(TextDialect dialect) {
    switch (dialect) {
        case TextDialect::csv:
            return "0 or 1";
        case TextDialect::ecsv:
            return "False or True";
        case TextDialect::votable:
            break;
    }
    return "true or false";
}

bool means_nothing(std::string_view field) {
    const std::string small = lower_case(field);
    return small == "nan" || small == "null" || small == "none" || small == "n/a" || small == "na" ||
           small == "--" || small == "inf" || small == "-inf";
}

// Of a field that is not of its kind: what to say.
std::string unreadable(std::string_view field, std::string_view wanted) {
    std::string what = fmt::format("{} is not {}.", in_quotes(field), wanted);
    if (means_nothing(field)) what += " Leave the field empty where there is no value.";
    return what;
}

// A cell, or what is wrong with the field.
std::optional<Cell> cell_of(std::string_view field, ColumnKind kind, TextDialect dialect,
                            std::string& problem) {
    if (kind == ColumnKind::text) {
        if (is_plain_text(field)) return Cell(std::string(field));
        problem = "The field holds bytes that are not text.";
        return std::nullopt;
    }
    field = trimmed(field);
    // VOTable 1.4, section 6: NaN is how a float says that it has no value.
    if (field.empty() || (dialect == TextDialect::votable && (field == "NaN" || field == "?"))) return Cell();
    if (kind == ColumnKind::number) {
        if (const auto number = parse_number(field)) return Cell(*number);
        problem = unreadable(field, "a number");
    } else if (kind == ColumnKind::whole) {
        if (const auto whole = parse_integer(field)) return Cell(*whole);
        problem = unreadable(field, "a whole number");
    } else {
        if (const auto truth = truth_of(field, dialect)) return Cell(*truth);
        problem = unreadable(field, truth_words(dialect));
    }
    return std::nullopt;
}

}  // namespace

std::size_t known_names(std::span<const std::string> names) {
    return std::max(known_names_of(TableLevel::night, names), known_names_of(TableLevel::frame, names));
}

std::optional<CellReader> CellReader::of_names(const std::vector<std::string>& names, std::size_t line,
                                               TextDialect dialect, Findings& findings) {
    if (known_names(names) < least_known_names) {
        findings.error(line, "",
                       fmt::format("The columns are not those of an exported table: {} begins them.",
                                   in_quotes(names.empty() ? std::string() : names.front())));
        return std::nullopt;
    }
    const bool frames = known_names_of(TableLevel::frame, names) > known_names_of(TableLevel::night, names) ||
                        std::find(names.begin(), names.end(), "frame") != names.end();
    CellReader reader(frames ? TableLevel::frame : TableLevel::night, dialect);
    reader.fields_ = names.size();
    std::optional<std::size_t> before;
    bool in_order = true;
    for (const TableColumn& column : columns_of(reader.level_)) {
        const auto found = std::find(names.begin(), names.end(), column.name);
        if (found == names.end()) {
            reader.places_.emplace_back();
            findings.error(line, std::string(column.name), "The column is missing.");
            continue;
        }
        const auto place = static_cast<std::size_t>(found - names.begin());
        if (std::find(found + 1, names.end(), column.name) != names.end())
            findings.error(line, std::string(column.name), "The column stands twice; the first is read.");
        if (before && place < *before) in_order = false;
        before = place;
        reader.places_.emplace_back(place);
    }
    if (!in_order)
        findings.warning(line, "", "The columns stand in another order than the table's own; they are read.");
    const auto columns = columns_of(reader.level_);
    for (const std::string& one : names) {
        const bool known =
            std::any_of(columns.begin(), columns.end(), [&](const TableColumn& c) { return c.name == one; });
        if (!known)
            findings.warning(line, "",
                             fmt::format("{} is no column of this table and is not read.", in_quotes(one)));
    }
    return reader;
}

std::vector<bool> CellReader::lacking() const {
    std::vector<bool> lacking;
    for (const auto& place : places_)
        lacking.push_back(!place);
    return lacking;
}

bool CellReader::read(std::span<const std::string> fields, std::size_t line, std::vector<Cell>& cells,
                      Findings& findings) const {
    if (fields.size() != fields_) {
        findings.error(line, "",
                       fmt::format("The row has {} field{} where the table has {} columns.", fields.size(),
                                   fields.size() == 1 ? "" : "s", fields_));
        return false;
    }
    const auto columns = columns_of(level_);
    cells.assign(columns.size(), Cell());
    bool good = true;
    std::string problem;
    for (std::size_t i = 0; i < columns.size(); ++i) {
        if (!places_[i]) {
            if (columns[i].kind == ColumnKind::text) cells[i] = std::string();
            continue;
        }
        auto cell = cell_of(fields[*places_[i]], columns[i].kind, dialect_, problem);
        if (cell) {
            cells[i] = std::move(*cell);
        } else {
            good = false;
            findings.error(line, std::string(columns[i].name), problem);
        }
    }
    return good;
}

}  // namespace emberline::exchange
