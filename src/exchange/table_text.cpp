// SPDX-License-Identifier: MIT
// CSV and ECSV.
#include "exchange/table_text.hpp"

#include <fmt/format.h>

#include <iterator>
#include <ostream>
#include <string_view>

#include "quantities/delimited_table.hpp"

namespace emberline::exchange {
namespace {

class DelimitedText : public TableText {
  public:
    DelimitedText(std::ostream& out, TableLevel level, std::string_view no, std::string_view yes)
        : out_(out), columns_(columns_of(level)), no_(no), yes_(yes) {
        for (const TableColumn& column : columns_)
            out_ << (&column == columns_.data() ? "" : ",") << column.name;
        out_ << '\n';
    }

    void write(std::span<const Cell> row) override {
        line_.clear();
        for (std::size_t i = 0; i < columns_.size(); ++i) {
            if (i > 0) line_ += ',';
            if (const auto* text = std::get_if<std::string>(&row[i])) {
                line_ += quoted_field(printable(*text));
            } else if (const auto* truth = std::get_if<bool>(&row[i])) {
                line_ += *truth ? yes_ : no_;
            } else {
                append_number(line_, row[i], columns_[i]);
            }
        }
        line_ += '\n';
        out_.write(line_.data(), static_cast<std::streamsize>(line_.size()));
    }

  private:
    std::ostream& out_;
    std::span<const TableColumn> columns_;
    std::string_view no_, yes_;
    std::string line_;
};

std::string_view datatype(ColumnKind kind) {
    switch (kind) {
        case ColumnKind::text:
            return "string";
        case ColumnKind::number:
            return "float64";
        case ColumnKind::whole:
            return "int64";
        case ColumnKind::truth:
            return "bool";
    }
    return "string";
}

// A double-quoted YAML scalar.
std::string yaml_text(std::string_view text) {
    std::string quoted = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') {
            quoted += '\\';
            quoted += c;
        } else if (c == '\t') {
            quoted += "\\t";
        } else {
            quoted += c;
        }
    }
    return quoted + '"';
}

// ECSV units are astropy's, which has electrons.
std::string_view ecsv_unit(const TableColumn& column) {
    return column.use == ColumnUse::electrons ? std::string_view("electron") : column.unit;
}

void write_ecsv_head(std::ostream& out, TableLevel level, const TableMeta& meta) {
    out << "# %ECSV 1.0\n# ---\n# delimiter: ','\n# datatype:\n";
    for (const TableColumn& column : columns_of(level)) {
        out << fmt::format("# - {{name: {}, datatype: {}, ", column.name, datatype(column.kind));
        if (!column.unit.empty()) out << fmt::format("unit: {}, ", ecsv_unit(column));
        if (column.decimals > 0) out << fmt::format("format: '.{}f', ", column.decimals);
        out << fmt::format("description: {}, meta: {{ucd: {}}}}}\n", yaml_text(column.description),
                           yaml_text(ucd_in(column, meta.bands)));
    }
    out << "# meta: !!omap\n";
    for (const MetaEntry& entry : entries_of(meta, level))
        out << fmt::format("# - {}: {}\n", entry.key, yaml_text(entry.value));
    if (meta.position) {
        out << fmt::format("# - position: {{system: ICRS, ra_deg: {:.8f}, dec_deg: {:.8f}}}\n",
                           meta.position->ra.degrees(), meta.position->dec.degrees());
    }
    if (!meta.bands.empty()) out << "# - photometry:\n";
    for (const Band& band : meta.bands) {
        const BandFacts& known = facts(band);
        out << fmt::format("#     {}: {{system: {}, wavelength_nm: {:.1f}, width_nm: {:.1f}}}\n",
                           yaml_text(band.name()), known.system, known.wavelength_nm, known.width_nm);
    }
    out << "# schema: astropy-2.0\n";
}

}  // namespace

void append_number(std::string& line, const Cell& cell, const TableColumn& column) {
    if (const auto* number = std::get_if<double>(&cell))
        fmt::format_to(std::back_inserter(line), "{:.{}f}", *number, column.decimals);
    if (const auto* whole = std::get_if<long long>(&cell))
        fmt::format_to(std::back_inserter(line), "{}", *whole);
}

std::unique_ptr<TableText> csv_text(std::ostream& out, TableLevel level) {
    return std::make_unique<DelimitedText>(out, level, "0", "1");
}

std::unique_ptr<TableText> ecsv_text(std::ostream& out, TableLevel level, const TableMeta& meta) {
    write_ecsv_head(out, level, meta);
    return std::make_unique<DelimitedText>(out, level, "False", "True");
}

}  // namespace emberline::exchange
