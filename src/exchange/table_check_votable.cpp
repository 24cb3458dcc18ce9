// SPDX-License-Identifier: MIT
// The validator of VOTables with the exported tables' columns: VOTable 1.4 (IVOA Recommendation 2019-10-21).
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exchange/table_cells.hpp"
#include "exchange/table_check_parts.hpp"
#include "exchange/xml_reader.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using Kind = XmlReader::Kind;

constexpr std::string_view name_space = "http://www.ivoa.net/xml/VOTable/v1.3";  // of 1.3, 1.4 and 1.5
constexpr std::size_t longest_field = std::size_t{64} << 10U;
constexpr std::size_t most_columns = 1000;

struct Field {
    std::string name, datatype, arraysize, unit, ucd, ref;
    std::size_t line = 0;
};

struct Clock {
    std::string scale, place, origin;
};

class VotableChecker {
  public:
    VotableChecker(std::istream& in, const TableVisitor& visit)
        : xml_(in), sink_(visit), findings_(sink_.findings()) {}

    CheckedTable check() {
        bool going = true;
        Kind kind = Kind::end;
        while (going) {
            kind = xml_.next();
            if (kind == Kind::end || kind == Kind::broken) break;
            if (kind == Kind::open) open();
            if (kind == Kind::text && in_field_) add_text();
            if (kind == Kind::close) going = close();
        }
        if (xml_.had_mark())
            findings_.warning(1, "",
                              "A byte-order mark stands before the first line. Save the file without one.");
        if (kind == Kind::broken) findings_.error(xml_.line(), "", xml_.problem());
        if (going && kind == Kind::end && !cells_ && !refused_)
            findings_.error(xml_.line(), "", "There is no table with the columns of an exported one.");
        return std::move(sink_).result("VOTable");
    }

  private:
    enum class Where { outside, headings, rows };  // of the table that is read

    void open() {
        const std::string_view name = xml_.name();
        if (!root_checked_) check_root();
        if (in_field_) {
            findings_.error(xml_.line(), "", fmt::format("<{}> stands within a field.", name));
            return;
        }
        if (name == "TIMESYS" && clocks_.size() < most_columns) {
            clocks_[std::string(xml_.attribute("ID"))] = {std::string(xml_.attribute("timescale")),
                                                          std::string(xml_.attribute("refposition")),
                                                          std::string(xml_.attribute("timeorigin"))};
        } else if (name == "TABLE") {
            if (cells_)
                findings_.warning(xml_.line(), "", "Another table stands in the file; it is not read.");
            fields_.clear();
            if (!cells_) where_ = Where::headings;
        } else if (name == "FIELD" && where_ == Where::headings && fields_.size() < most_columns) {
            fields_.push_back({std::string(xml_.attribute("name")), std::string(xml_.attribute("datatype")),
                               std::string(xml_.attribute("arraysize")), std::string(xml_.attribute("unit")),
                               std::string(xml_.attribute("ucd")), std::string(xml_.attribute("ref")),
                               xml_.line()});
        } else if (where_ == Where::headings &&
                   (name == "BINARY" || name == "BINARY2" || name == "FITS" || name == "PARQUET")) {
            refused_ = true;
            findings_.error(xml_.line(), "",
                            fmt::format("The rows are in {}; only TABLEDATA is read.", name));
        } else if (name == "TABLEDATA" && where_ == Where::headings) {
            begin_rows();
        } else if (where_ == Where::rows) {
            open_in_rows(name);
        }
    }

    void open_in_rows(std::string_view name) {
        if (name == "TR") {
            row_line_ = xml_.line();
            texts_ = 0;
        } else if (name == "TD") {
            in_field_ = true;
            next_text().clear();
        } else {
            findings_.error(xml_.line(), "", fmt::format("<{}> stands among the rows.", name));
        }
    }

    // False: nothing more is wanted.
    bool close() {
        const std::string_view name = xml_.name();
        if (name == "TD" && in_field_) {
            in_field_ = false;
            if (texts_ < most_columns) ++texts_;
        } else if (name == "TR" && where_ == Where::rows) {
            const std::span<const std::string> fields(row_texts_.data(), texts_);
            if (cells_->read(fields, row_line_, row_, findings_)) return sink_.take(row_line_, row_);
        } else if (name == "TABLEDATA" || name == "TABLE") {
            if (name == "TABLE" && where_ == Where::headings && !refused_ && known_names(names()) > 2)
                findings_.error(xml_.line(), "", "The table has no rows: TABLEDATA is missing.");
            where_ = Where::outside;
        }
        return true;
    }

    // The strings are used again from row to row.
    std::string& next_text() {
        if (texts_ >= row_texts_.size()) row_texts_.resize(texts_ + 1);
        return row_texts_[texts_];
    }

    void add_text() {
        std::string& text = next_text();
        if (text.size() + xml_.text().size() <= longest_field) {
            text += xml_.text();
        } else if (!long_said_) {
            long_said_ = true;
            findings_.error(row_line_, "", fmt::format("A field is longer than {} bytes.", longest_field));
        }
    }

    void check_root() {
        root_checked_ = true;
        if (xml_.name() != "VOTABLE") {
            findings_.error(xml_.line(), "",
                            fmt::format("The document is <{}>, not <VOTABLE>.", xml_.name()));
            return;
        }
        const std::string version(xml_.attribute("version"));
        if (version != "1.4" && version != "1.5") {
            findings_.error(xml_.line(), "VOTABLE",
                            fmt::format("The version is {}; times need 1.4 or 1.5.", in_quotes(version)));
        }
        if (!xml_.holds(name_space))  // under whatever prefix
            findings_.error(xml_.line(), "VOTABLE", fmt::format("The namespace must be {}.", name_space));
    }

    [[nodiscard]] std::vector<std::string> names() const {
        std::vector<std::string> all;
        for (const Field& field : fields_)
            all.push_back(field.name);
        return all;
    }

    void begin_rows() {
        const std::vector<std::string> all = names();
        if (known_names(all) < 3) {  // somebody else's table
            where_ = Where::outside;
            return;
        }
        const std::size_t line = fields_.front().line;
        cells_ = CellReader::of_names(all, line, TextDialect::votable, findings_);
        if (!cells_) return;
        sink_.begin(cells_->level(), cells_->lacking());
        where_ = Where::rows;
        for (const TableColumn& column : columns_of(cells_->level())) {
            const auto found = std::find_if(fields_.begin(), fields_.end(),
                                            [&](const Field& f) { return f.name == column.name; });
            if (found != fields_.end()) check_field(column, *found);
        }
    }

    void check_field(const TableColumn& column, const Field& field) {
        const std::string& type = field.datatype;
        const bool scalar = field.arraysize.empty() || field.arraysize == "1";
        const bool good =
            (column.kind == ColumnKind::text && (type == "char" || type == "unicodeChar")) ||
            (column.kind == ColumnKind::number && scalar && (type == "double" || type == "float")) ||
            (column.kind == ColumnKind::whole && scalar &&
             (type == "long" || type == "int" || type == "short" || type == "unsignedByte")) ||
            (column.kind == ColumnKind::truth && scalar && type == "boolean");
        const std::string name(column.name);
        const bool is_time = column.use == ColumnUse::jd_utc || column.use == ColumnUse::bjd_tdb;
        if (!good)
            findings_.error(field.line, name, fmt::format("The datatype {} does not fit.", in_quotes(type)));
        if (column.kind == ColumnKind::text && scalar)
            findings_.error(field.line, name, "The text has no arraysize: it would be one character long.");
        if (is_time && type == "float")
            findings_.error(field.line, name, "A float keeps a date to a quarter of a day.");
        const bool same = field.unit == column.unit || (column.unit == "pixel" && field.unit == "pix") ||
                          (column.unit == "count" && field.unit == "ct");
        if (!same) {
            findings_.error(field.line, name,
                            fmt::format("The unit is {} and should be {}.", in_quotes(field.unit),
                                        in_quotes(column.unit)));
        }
        if (field.ucd.empty()) findings_.warning(field.line, name, "The column has no UCD.");
        if (is_time) check_clock(column, field);
    }

    void check_clock(const TableColumn& column, const Field& field) {
        const std::string name(column.name);
        const bool barycentric = column.use == ColumnUse::bjd_tdb;
        const std::string_view scale = barycentric ? "TDB" : "UTC",
                               place = barycentric ? "BARYCENTER" : "TOPOCENTER";
        const auto found = clocks_.find(field.ref);
        if (field.ref.empty() || found == clocks_.end()) {
            findings_.error(field.line, name,
                            fmt::format("No TIMESYS is referred to: nobody can tell that it is {}.", scale));
            return;
        }
        const Clock& clock = found->second;
        if (clock.scale != scale || clock.place != place) {
            findings_.error(field.line, name,
                            fmt::format("Its TIMESYS is {} at {} and should be {} at {}.",
                                        in_quotes(clock.scale), in_quotes(clock.place), scale, place));
        }
        if (clock.origin != "JD-origin" && parse_number(clock.origin) != 0.0) {
            findings_.error(field.line, name,
                            fmt::format("Its timeorigin is {}: Julian dates count from 0, JD-origin.",
                                        in_quotes(clock.origin)));
        }
    }

    XmlReader xml_;
    RowSink sink_;
    Findings& findings_;
    std::map<std::string, Clock> clocks_;
    std::vector<Field> fields_;
    std::optional<CellReader> cells_;
    std::vector<std::string> row_texts_;
    std::size_t texts_ = 0, row_line_ = 0;
    std::vector<Cell> row_;
    Where where_ = Where::outside;
    bool root_checked_ = false, in_field_ = false, refused_ = false, long_said_ = false;
};

}  // namespace

CheckedTable check_votable(std::istream& in, const TableVisitor& visit) {
    return VotableChecker(in, visit).check();
}

}  // namespace emberline::exchange
