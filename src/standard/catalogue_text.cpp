// SPDX-License-Identifier: MIT
#include "standard/catalogue_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "standard/yaml_part.hpp"

namespace emberline::standard {
namespace {

constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";

// The first line that is neither blank nor a comment.
std::string_view heading_of(std::string_view text) {
    while (!text.empty()) {
        const auto end = std::min(text.find('\n'), text.size());
        const std::string_view line = trimmed(text.substr(0, end));
        if (!line.empty() && !line.starts_with('#')) return line;
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return {};
}

char separator_of(std::string_view heading) {
    char best = ',';
    std::ptrdiff_t most = 0;
    for (const char c : {',', '\t', ';', '|'}) {
        const auto n = std::count(heading.begin(), heading.end(), c);
        if (n > most) most = n, best = c;
    }
    return best;
}

bool is_dashes(const TableRow& row) {
    return std::all_of(row.fields.begin(), row.fields.end(), [](const std::string& field) {
        return !field.empty() && field.find_first_not_of('-') == std::string::npos;
    });
}

Result<RawCatalogue> raw_of(DelimitedTable table) {
    if (table.rows.size() > most_catalogue_rows + 2) {
        return fail({.what = fmt::format("The table has {} rows; {} are the most.", table.rows.size(),
                                         most_catalogue_rows),
                     .where = table.source,
                     .mend = "Ask for a smaller field, or for brighter stars only."});
    }
    RawCatalogue out;
    out.columns.resize(table.columns.size());
    for (std::size_t i = 0; i < table.columns.size(); ++i)
        out.columns[i].name = table.columns[i];
    // Units below the names, dashes below these.
    std::size_t first = 0;
    if (table.rows.size() > 1 && is_dashes(table.rows[1])) {
        for (std::size_t i = 0; i < out.columns.size(); ++i)
            out.columns[i].unit = table.rows[0].fields[i];
        first = 2;
    } else if (!table.rows.empty() && table.columns.size() > 1 && is_dashes(table.rows[0])) {
        first = 1;
    }
    out.rows = table.rows.size() - first;
    for (RawColumn& column : out.columns)
        column.texts.reserve(out.rows);
    out.lines.reserve(out.rows);
    for (std::size_t row = first; row < table.rows.size(); ++row) {
        out.lines.push_back(table.rows[row].line);
        for (std::size_t i = 0; i < out.columns.size(); ++i)
            out.columns[i].texts.push_back(std::move(table.rows[row].fields[i]));
    }
    return out;
}

// Lines that begin with '#', without it; blank ones may stand before them.
std::vector<std::string_view> header_lines(std::string_view text) {
    std::vector<std::string_view> lines;
    text.remove_prefix(std::min(text.find_first_not_of(" \t\r\n"), text.size()));
    while (text.starts_with('#')) {
        const auto end = std::min(text.find('\n'), text.size());
        std::string_view line = text.substr(1, end - 1);
        if (line.starts_with(' ')) line.remove_prefix(1);
        if (!trimmed(line).starts_with('%')) lines.push_back(line);
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return lines;
}

// What anywhere in the notes of a table tells of its positions. EPOCH in capitals comes from a FITS header,
// where it is the old name of the equinox.
void gather_system(const YamlNode& node, CoordinateSystem& system) {
    const auto take = [](std::string& into, const std::string& word) {
        if (into.empty()) into = word;
    };
    for (const auto& [key, inner] : node.map) {
        const std::string name = lower_case(key);
        if (name == "ref_epoch" || name == "refepoch" || (name == "epoch" && key != "EPOCH")) {
            take(system.epoch, inner.word);
        } else if (name == "equinox" || key == "EPOCH") {
            take(system.equinox, inner.word);
        } else if (name == "frame" || name == "radesys" || name == "coordsys") {
            take(system.name, inner.word);
        }
        gather_system(inner, system);
    }
    for (const YamlNode& inner : node.list)
        gather_system(inner, system);
}

// Times that a program wrote as such: "__serialized_columns__" tells how.
void take_times(const YamlNode& meta, RawCatalogue& out) {
    std::vector<const YamlNode*> parts{&meta};
    for (const YamlNode& item : meta.list)
        parts.push_back(&item);
    for (const YamlNode* part : parts) {
        const YamlNode* serialised = part->find("__serialized_columns__");
        if (serialised == nullptr) continue;
        for (const auto& [name, described] : serialised->map) {
            if (described.text("scale").empty() || described.text("format").empty()) continue;
            const YamlNode* value = described.find("value");
            const std::string column = value != nullptr ? value->text("name") : name;
            for (RawColumn& known : out.columns) {
                if (known.name != column) continue;
                known.time.scale = described.text("scale");
                known.time.form = described.text("format");
            }
        }
    }
}

void take_parameters(const YamlNode& meta, RawCatalogue& out) {
    for (const auto& [name, inner] : meta.map) {
        if (!inner.word.empty()) out.parameters.push_back({.name = name, .value = inner.word, .meaning = {}});
    }
    for (const YamlNode& item : meta.list)
        take_parameters(item, out);
}

void take_heading(const YamlNode& described, RawColumn& column) {
    column.unit = described.text("unit");
    if (const YamlNode* meta = described.find("meta")) {
        column.meaning = meta->text("ucd");
        for (const YamlNode& item : meta->list) {
            if (column.meaning.empty()) column.meaning = item.text("ucd");
        }
    }
}

}  // namespace

Result<RawCatalogue> parse_catalogue_text(std::string_view text, const std::string& source) {
    auto table = parse_table(text, source, separator_of(heading_of(text)));
    if (!table) return fail(table.error());
    return raw_of(std::move(*table));
}

Result<RawCatalogue> parse_ecsv(std::string_view text, const std::string& source) {
    if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
    const auto header = parse_yaml(header_lines(text));
    if (!header) return fail(at(source, header.error()));
    const YamlNode* described = header->find("datatype");
    if (described == nullptr || described->list.empty()) {
        return fail({.what = "The header of the table describes no columns.",
                     .where = fmt::format("{}, header, 'datatype'", source),
                     .mend = "Save the table as ECSV again, or as CSV without such a header."});
    }
    const std::string delimiter = header->text("delimiter");
    auto table = parse_table(text, source, delimiter.empty() ? ' ' : delimiter.front());
    if (!table) return fail(table.error());
    auto raw = raw_of(std::move(*table));
    if (!raw) return fail(raw.error());
    for (const YamlNode& column : described->list) {
        const auto found = std::find_if(raw->columns.begin(), raw->columns.end(),
                                        [&](const RawColumn& c) { return c.name == column.text("name"); });
        if (found != raw->columns.end()) take_heading(column, *found);
    }
    if (const YamlNode* meta = header->find("meta")) {
        gather_system(*meta, raw->system);
        take_times(*meta, *raw);
        take_parameters(*meta, *raw);
    }
    return raw;
}

}  // namespace emberline::standard
