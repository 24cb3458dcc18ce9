// SPDX-License-Identifier: MIT
#include "standard/votable.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <pugixml.hpp>
#include <vector>

#include "quantities/text.hpp"
#include "standard/votable_binary.hpp"

namespace emberline::standard {
namespace {

constexpr const char* fetch_again = "Fetch the table again.";

// "v1:TABLE" → "TABLE".
std::string_view local_name(const pugi::xml_node& node) {
    const std::string_view name = node.name();
    return name.substr(name.find(':') + 1);
}

pugi::xml_node child(const pugi::xml_node& node, std::string_view name) {
    for (const pugi::xml_node& inner : node.children()) {
        if (local_name(inner) == name) return inner;
    }
    return {};
}

// Every element outside the tables' cells, in the order of the file; by a list, not by recursion, since
// nothing says how deep a file nests.
std::vector<pugi::xml_node> elements(const pugi::xml_node& root) {
    std::vector<pugi::xml_node> out;
    pugi::xml_node at = root;
    while (at) {
        if (at.type() == pugi::node_element) out.push_back(at);
        if (at.first_child() && local_name(at) != "DATA") {
            at = at.first_child();
            continue;
        }
        while (at && at != root && !at.next_sibling())
            at = at.parent();
        at = at == root ? pugi::xml_node() : at.next_sibling();
    }
    return out;
}

std::size_t line_of(std::string_view text, std::ptrdiff_t offset) {
    const auto length = std::min(static_cast<std::size_t>(std::max<std::ptrdiff_t>(offset, 0)), text.size());
    return 1 +
           static_cast<std::size_t>(std::count(text.begin(), text.begin() + static_cast<long>(length), '\n'));
}

TimeSystem time_system_of(const pugi::xml_node& node) {
    return {.scale = node.attribute("timescale").value(),
            .place = node.attribute("refposition").value(),
            .origin = node.attribute("timeorigin").value(),
            .form = {}};
}

CoordinateSystem system_of(const pugi::xml_node& node) {
    return {.name = node.attribute("system").value(),
            .equinox = node.attribute("equinox").value(),
            .epoch = node.attribute("epoch").value()};
}

class VotableReader {
  public:
    VotableReader(const pugi::xml_node& root, std::string source)
        : source_(std::move(source)), elements_(elements(root)) {}

    Result<RawCatalogue> read(const WantedColumns& wanted) {
        if (auto good = what_the_service_says(); !good) return fail(good.error());
        std::optional<RawCatalogue> first;
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) != "TABLE" || !child(element, "DATA")) continue;
            RawCatalogue table = headings(element);
            const auto columns = wanted(table.columns);
            if (columns) {
                auto good = read_cells(child(element, "DATA"), *columns, table);
                if (!good) return fail(at(source_, good.error()));
                return table;
            }
            if (!first) first = std::move(table);
        }
        if (first) return std::move(*first);
        return fail({.what = "The VOTable holds no table with rows.",
                     .where = source_,
                     .mend = "The service may have found nothing: look at what was asked."});
    }

  private:
    Result<void> what_the_service_says() {
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) != "INFO") continue;
            const std::string name = upper_case(element.attribute("name").value());
            const std::string value = upper_case(element.attribute("value").value());
            if (name == "ERROR" || (name == "QUERY_STATUS" && value == "ERROR")) {
                std::string words(trimmed(element.child_value()));
                if (words.empty() && name == "ERROR") words = element.attribute("value").value();
                return fail(
                    {.what = fmt::format("The service answered with an error: \"{}\".", words.substr(0, 300)),
                     .where = source_,
                     .mend = "Ask it again for the field."});
            }
            if (name == "QUERY_STATUS" && value == "OVERFLOW")
                remarks_.push_back("The service cut the list short: it found more stars than it hands out.");
        }
        return {};
    }

    RawCatalogue headings(const pugi::xml_node& table) {
        RawCatalogue out;
        out.remarks = remarks_;
        types_.clear();
        for (const pugi::xml_node& field : table.children()) {
            if (local_name(field) == "PARAM") take_epoch(field, out);
            if (local_name(field) != "FIELD") continue;
            CellType type{.datatype = field.attribute("datatype").value(),
                          .arraysize = field.attribute("arraysize").value(),
                          .null = child(field, "VALUES").attribute("null").value()};
            RawColumn column;
            // What is neither one number nor a text keeps its place, but no name to be known by.
            if (type.is_number() || type.is_text() || type.is_truth())
                column.name = field.attribute("name").value();
            if (type.is_number() && column.name.empty()) column.name = field.attribute("ID").value();
            column.unit = field.attribute("unit").value();
            column.meaning = field.attribute("ucd").value();
            column.system = referred(field.attribute("ref").value());
            column.time = referred_time(field.attribute("ref").value());
            out.columns.push_back(std::move(column));
            types_.push_back(std::move(type));
        }
        std::vector<pugi::xml_node> systems;
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) == "COOSYS") systems.push_back(element);
        }
        if (systems.size() == 1) {
            const std::string epoch = out.system.epoch;
            out.system = system_of(systems[0]);
            if (out.system.epoch.empty()) out.system.epoch = epoch;
        }
        take_times_and_parameters(table, out);
        return out;
    }

    static void take_epoch(const pugi::xml_node& parameter, RawCatalogue& out) {
        const std::string name = lower_case(parameter.attribute("name").value());
        if (name == "ref_epoch" || name == "epoch" || name == "refepoch")
            out.system.epoch = parameter.attribute("value").value();
    }

    // A FIELD refers to a COOSYS, or to a group that does.
    [[nodiscard]] CoordinateSystem referred(const std::string& id) const {
        if (id.empty()) return {};
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) == "COOSYS" && id == element.attribute("ID").value())
                return system_of(element);
        }
        return {};
    }

    [[nodiscard]] TimeSystem referred_time(const std::string& id) const {
        if (id.empty()) return {};
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) == "TIMESYS" && id == element.attribute("ID").value())
                return time_system_of(element);
        }
        return {};
    }

    // A file with one time system means it for all its times. Parameters of other tables are not this one's.
    void take_times_and_parameters(const pugi::xml_node& table, RawCatalogue& out) const {
        std::vector<pugi::xml_node> systems;
        for (const pugi::xml_node& element : elements_) {
            if (local_name(element) == "TIMESYS") systems.push_back(element);
            if (local_name(element) != "PARAM") continue;
            pugi::xml_node above = element.parent();
            while (above && local_name(above) != "TABLE")
                above = above.parent();
            if (above && above != table) continue;
            out.parameters.push_back({.name = element.attribute("name").value(),
                                      .value = element.attribute("value").value(),
                                      .meaning = element.attribute("ucd").value()});
        }
        if (systems.size() == 1) out.time = time_system_of(systems[0]);
    }

    Result<void> read_cells(const pugi::xml_node& data, const std::vector<std::size_t>& wanted,
                            RawCatalogue& out) {
        if (const auto cells = child(data, "TABLEDATA")) return read_tabledata(cells, wanted, out);
        for (const bool masked : {true, false}) {
            const auto binary = child(data, masked ? "BINARY2" : "BINARY");
            if (!binary) continue;
            for (const std::size_t column : wanted)
                out.columns[column].is_text = types_[column].is_text() || types_[column].is_truth();
            const auto stream = child(binary, "STREAM");
            const std::string encoding = stream.attribute("encoding").value();
            if (stream.attribute("href") || !stream || encoding != "base64") {
                return fail({.what = "The table's data lie outside the file, or in a form not known here.",
                             .where = fmt::format("STREAM, encoding '{}'", encoding),
                             .mend = "Ask the service for the form TABLEDATA, CSV or a FITS table."});
            }
            auto bytes = decode_base64(stream.child_value());
            if (!bytes) return fail(bytes.error());
            return take_binary_rows(*bytes, masked, types_, wanted, out);
        }
        return fail({.what = "The VOTable keeps its cells in a form not known here.",
                     .mend = "Ask the service for the form TABLEDATA, CSV or a FITS table."});
    }

    Result<void> read_tabledata(const pugi::xml_node& rows, const std::vector<std::size_t>& wanted,
                                RawCatalogue& out) {
        std::vector<bool> is_wanted(types_.size(), false);
        for (const std::size_t column : wanted)
            is_wanted[column] = true;
        for (const pugi::xml_node& row : rows.children()) {
            if (local_name(row) != "TR") continue;
            std::size_t i = 0;
            for (const pugi::xml_node& cell : row.children()) {
                if (local_name(cell) != "TD") continue;
                if (i < types_.size() && is_wanted[i]) {
                    std::string text(trimmed(cell.child_value()));
                    if (!types_[i].null.empty() && text == types_[i].null) text.clear();
                    out.columns[i].texts.push_back(std::move(text));
                }
                ++i;
            }
            if (i != types_.size()) {
                return fail({.what = fmt::format("Row {} has {} cells where the table has {} columns.",
                                                 out.rows + 1, i, types_.size()),
                             .mend = fetch_again});
            }
            if (++out.rows > most_catalogue_rows) {
                return fail({.what = fmt::format("The table has more than {} rows.", most_catalogue_rows),
                             .mend = "Ask for a smaller field, or for brighter stars only."});
            }
        }
        return {};
    }

    std::string source_;
    std::vector<pugi::xml_node> elements_;
    std::vector<std::string> remarks_;
    std::vector<CellType> types_;
};

}  // namespace

Result<RawCatalogue> parse_votable(std::string_view text, const std::string& source,
                                   const WantedColumns& wanted) {
    pugi::xml_document document;
    const auto parsed = document.load_buffer(text.data(), text.size(), pugi::parse_default);
    if (!parsed) {
        return fail(
            {.what = fmt::format("The XML is cut short or damaged: {}.", lower_case(parsed.description())),
             .where = fmt::format("{}, line {}", source, line_of(text, parsed.offset)),
             .mend = fetch_again});
    }
    const pugi::xml_node root = document.document_element();
    if (local_name(root) != "VOTABLE") {
        return fail({.what = fmt::format("This is XML, but no VOTable: it begins with '{}'.", root.name()),
                     .where = source,
                     .mend = "Ask the service for a VOTable, CSV or a FITS table."});
    }
    return VotableReader(root, source).read(wanted);
}

}  // namespace emberline::standard
