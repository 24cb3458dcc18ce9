// SPDX-License-Identifier: MIT
// The validators of CSV and ECSV. A record is one line: no field of ours holds a line's end.
#include <fmt/format.h>

#include <algorithm>
#include <istream>

#include "exchange/table_cells.hpp"
#include "exchange/table_check_parts.hpp"
#include "quantities/line_reader.hpp"
#include "quantities/text.hpp"
#include "standard/yaml_part.hpp"

namespace emberline::exchange {
namespace {

using standard::YamlNode;

constexpr std::size_t longest_line = std::size_t{64} << 10U;
constexpr std::size_t most_header_bytes = std::size_t{1} << 20U;  // of ECSV

// Fields of one line (RFC 4180). Returns what is wrong with it; empty: nothing.
std::string split_record(std::string_view line, char delimiter, std::vector<std::string>& fields) {
    fields.clear();
    std::size_t at = 0;
    while (true) {
        std::string field;
        if (at < line.size() && line[at] == '"') {
            ++at;
            while (true) {
                const auto quote = line.find('"', at);
                if (quote == std::string_view::npos)
                    return "A quotation mark is opened and not closed on its line.";
                field.append(line, at, quote - at);
                at = quote + 1;
                if (at >= line.size() || line[at] != '"') break;
                field += '"';
                ++at;
            }
            if (at < line.size() && line[at] != delimiter) return "Text follows a closing quotation mark.";
        } else {
            const auto end = std::min(line.find(delimiter, at), line.size());
            field = line.substr(at, end - at);
            if (field.find('"') != std::string::npos)
                return "A quotation mark stands within a field that does not begin with one.";
            at = end;
        }
        fields.push_back(std::move(field));
        if (at >= line.size()) return {};
        ++at;
        if (at == line.size()) {  // the line ends with a delimiter: one more field, empty
            fields.emplace_back();
            return {};
        }
    }
}

std::string delimiter_in_words(char delimiter) {
    return delimiter == '\t' ? "a tab" : delimiter == ' ' ? "a blank" : fmt::format("'{}'", delimiter);
}

class DelimitedChecker {
  public:
    DelimitedChecker(std::istream& in, const TableVisitor& visit, TextDialect dialect)
        : lines_(in, longest_line), sink_(visit), findings_(sink_.findings()), dialect_(dialect) {}

    CheckedTable check() {
        const std::string format = dialect_ == TextDialect::ecsv ? "ECSV" : "CSV";
        bool going = true;
        while (going) {
            const auto line = lines_.next();
            if (!line) break;
            check_ends();
            if (is_readable(*line)) going = read(*line);
        }
        if (!cells_ && going) {
            findings_.error(lines_.number(), "",
                            lines_.number() == 0 ? "The file is empty."
                                                 : "There is no line with the names of the columns.");
        }
        if (going && lines_.number() > 0 && !last_had_end_) {
            findings_.error(lines_.number(), "",
                            "The last line has no end: the file may have been cut there.");
        }
        return std::move(sink_).result(format);
    }

  private:
    void check_ends() {
        if (lines_.number() == 1 && lines_.had_mark())
            findings_.warning(1, "",
                              "A byte-order mark stands before the first line. Save the file without one.");
        if (lines_.had_carriage_return() && !carriage_return_said_) {
            carriage_return_said_ = true;
            findings_.warning(lines_.number(), "", "Lines end with CR; ours end with LF alone.");
        }
        last_had_end_ = lines_.had_end();
    }

    bool is_readable(std::string_view line) {
        if (lines_.cut()) {
            findings_.error(lines_.number(), "",
                            fmt::format("The line is longer than {} bytes and is not read.", longest_line));
            return false;
        }
        if (is_plain_text(line)) return true;
        findings_.error(lines_.number(), "",
                        line.find('\0') != std::string_view::npos
                            ? "The line holds bytes of zero: save the file as UTF-8, not as UTF-16."
                            : "The line holds bytes that are not text. Save the file as UTF-8.");
        return false;
    }

    // False: nothing more is wanted.
    bool read(std::string_view line) {
        const std::size_t number = lines_.number();
        if (!cells_ && dialect_ == TextDialect::ecsv && line.starts_with('#')) {
            header_bytes_ += line.size();
            if (header_bytes_ <= most_header_bytes) header_.emplace_back(line);
            return true;
        }
        if (trimmed(line).empty()) {
            findings_.warning(number, "", "The line is empty.");
            return true;
        }
        if (line.starts_with('#')) {
            findings_.warning(number, "", "The line is a comment: many readers would take it for a row.");
            return true;
        }
        if (!cells_) return read_names(line);
        const std::string problem = split_record(line, delimiter_, fields_);
        if (!problem.empty()) {
            findings_.error(number, "", problem);
            return true;
        }
        if (fields_ == names_) {
            findings_.error(number, "",
                            "The names of the columns stand here again: two tables were put together.");
            return true;
        }
        if (!cells_->read(fields_, number, row_, findings_)) return true;
        return sink_.take(number, row_);
    }

    bool read_names(std::string_view line) {
        if (dialect_ == TextDialect::ecsv && !read_header()) return false;
        if (dialect_ == TextDialect::csv) find_delimiter(line);
        const std::string problem = split_record(line, delimiter_, names_);
        if (!problem.empty()) {
            findings_.error(lines_.number(), "", problem);
            return false;
        }
        cells_ = CellReader::of_names(names_, lines_.number(), dialect_, findings_);
        if (!cells_) return false;
        sink_.begin(cells_->level(), cells_->lacking());
        if (dialect_ == TextDialect::ecsv) check_description();
        return true;
    }

    // The one by which most names are known.
    void find_delimiter(std::string_view line) {
        std::size_t best = 0;
        for (const char candidate : {',', ';', '\t', '|', ' '}) {
            if (!split_record(line, candidate, names_).empty()) continue;
            const std::size_t known = known_names(names_);
            if (known > best) {
                best = known;
                delimiter_ = candidate;
            }
        }
        if (delimiter_ != ',') {
            findings_.error(lines_.number(), "",
                            fmt::format("Fields are divided by {}, and must be by a comma.",
                                        delimiter_in_words(delimiter_)));
        }
    }

    bool read_header() {
        std::vector<std::string_view> yaml;
        for (std::string_view line : header_) {
            line.remove_prefix(1);
            if (line.starts_with(' ')) line.remove_prefix(1);
            if (!trimmed(line).starts_with('%')) yaml.push_back(line);
        }
        if (header_bytes_ > most_header_bytes) {
            findings_.error(1, "", fmt::format("The header is longer than {} bytes.", most_header_bytes));
            return false;
        }
        auto read = standard::parse_yaml(yaml);
        if (!read) {
            findings_.error(1, "", "The header cannot be read: " + read.error().what);
            return false;
        }
        description_ = std::move(*read);
        const std::string delimiter = description_.text("delimiter");
        delimiter_ = delimiter.empty() ? ' ' : delimiter.front();
        if (delimiter_ != ',' && delimiter_ != ' ') {  // APE 6: these two alone
            findings_.error(1, "",
                            fmt::format("Fields are divided by {}, and must be by a comma or a blank.",
                                        delimiter_in_words(delimiter_)));
        }
        return true;
    }

    // Whether the header tells of the columns what they are.
    void check_description() {
        const YamlNode* described = description_.find("datatype");
        if (described == nullptr) {
            findings_.error(1, "", "The header does not describe the columns: 'datatype' is missing.");
            return;
        }
        std::vector<std::string> named;
        for (const YamlNode& column : described->list)
            named.push_back(column.text("name"));
        if (named != names_)
            findings_.error(lines_.number(), "", "The header describes other columns than the table has.");
        for (const TableColumn& column : columns_of(cells_->level())) {
            const auto found = std::find(named.begin(), named.end(), column.name);
            if (found == named.end()) continue;
            check_column(column, described->list[static_cast<std::size_t>(found - named.begin())]);
        }
    }

    void check_column(const TableColumn& column, const YamlNode& described) {
        const std::string type = described.text("datatype"), unit = described.text("unit");
        const auto begins = [&](std::string_view word) { return type.starts_with(word); };
        const bool good = (column.kind == ColumnKind::text && begins("string")) ||
                          (column.kind == ColumnKind::number && begins("float")) ||
                          (column.kind == ColumnKind::whole && begins("int")) ||
                          (column.kind == ColumnKind::truth && begins("bool"));
        const std::string name(column.name);
        if (!good) findings_.error(1, name, fmt::format("The datatype {} does not fit.", in_quotes(type)));
        if (column.use == ColumnUse::jd_utc || column.use == ColumnUse::bjd_tdb) {
            if (type == "float32") findings_.error(1, name, "A float32 keeps a date to a quarter of a day.");
        }
        const bool same = unit == column.unit || (column.unit == "pixel" && unit == "pix") ||
                          (column.use == ColumnUse::electrons && unit == "electron");
        if (!same) {
            findings_.error(
                1, name,
                fmt::format("The unit is {} and should be {}.", in_quotes(unit),
                            in_quotes(column.use == ColumnUse::electrons ? "electron" : column.unit)));
        }
    }

    LineReader lines_;
    RowSink sink_;
    Findings& findings_;
    TextDialect dialect_;
    char delimiter_ = ',';
    std::vector<std::string> header_, names_, fields_;
    std::size_t header_bytes_ = 0;
    YamlNode description_;
    std::optional<CellReader> cells_;
    std::vector<Cell> row_;
    bool carriage_return_said_ = false, last_had_end_ = true;
};

}  // namespace

CheckedTable check_csv(std::istream& in, const TableVisitor& visit) {
    return DelimitedChecker(in, visit, TextDialect::csv).check();
}

CheckedTable check_ecsv(std::istream& in, const TableVisitor& visit) {
    return DelimitedChecker(in, visit, TextDialect::ecsv).check();
}

}  // namespace emberline::exchange
