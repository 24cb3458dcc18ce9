// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <ostream>
#include <set>
#include <sstream>

#include "exchange/server_fields.hpp"
#include "exchange/server_formats.hpp"
#include "quantities/line_reader.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

bool is_ascii(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return c >= ' ' && c <= '~'; });
}

Result<void> check_columns(const std::vector<ServerField>& fields) {
    for (const ServerField& field : fields) {
        if (is_ascii(field.value)) continue;
        return fail(
            {.what = fmt::format("The text {} cannot stand between tabs: it holds letters beyond ASCII, "
                                 "or a tab.",
                                 in_quotes(field.value)),
             .where = std::string(field.key),
             .mend = "Spell it in plain letters, or write the report as JSON.",
             .kind = ProblemKind::request});
    }
    return {};
}

void add_cells(std::string& line, const std::vector<ServerField>& fields) {
    for (const ServerField& field : fields) {
        line += field.value;
        line += '\t';
    }
}

// Columns between tabs, from the names in the first line on.
class ColumnReader {
  public:
    ColumnReader(ServerReader& reader, Findings& findings) : reader_(reader), findings_(findings) {}

    void names(std::string_view line) {
        std::set<std::string, std::less<>> seen;
        for (const std::string_view piece : split(line, '\t')) {
            Column column{std::string(trimmed(piece)), false, true};
            if (!seen.insert(column.name).second)
                findings_.error(1, column.name, "Two columns have this name; the first one counts.");
            if (column.name.starts_with(point_prefix)) {
                column.of_point = true;
                column.name.erase(0, point_prefix.size());
                column.known = reader_.knows_point(column.name);
            } else {
                column.known = reader_.knows(column.name);
            }
            if (!column.known)
                findings_.warning(1, std::string(trimmed(piece)),
                                  "No such column is known; it is passed over.");
            columns_.push_back(std::move(column));
        }
    }

    void row(std::string_view text, std::size_t line) {
        if (trimmed(text).empty()) return findings_.error(line, "", "The line is empty.");
        if (!is_ascii_or_tab(text))
            findings_.error(line, "", "The line holds letters beyond ASCII; nothing says how to read them.");
        const auto cells = split(text, '\t');
        if (cells.size() != columns_.size()) {
            findings_.error(line, "",
                            fmt::format("The line has {} fields where the file has {} columns.", cells.size(),
                                        columns_.size()));
            return;
        }
        reader_.begin_point(std::string(point_prefix), line);
        for (std::size_t i = 0; i < cells.size(); ++i) {
            if (!columns_[i].known) continue;
            if (columns_[i].of_point) {
                reader_.set_point(columns_[i].name, cells[i]);
            } else if (first_.empty()) {
                reader_.set(columns_[i].name, cells[i], line);
            } else if (!cells[i].empty() && cells[i] != first_[i]) {
                findings_.error(line, columns_[i].name,
                                "Another value than on the first line: a second report cannot be read here.");
            }
        }
        reader_.end_point();
        if (first_.empty()) first_.assign(cells.begin(), cells.end());
    }

  private:
    struct Column {
        std::string name;
        bool of_point = false, known = false;
    };
    static bool is_ascii_or_tab(std::string_view text) {
        return std::all_of(text.begin(), text.end(),
                           [](char c) { return c == '\t' || (c >= ' ' && c <= '~'); });
    }

    ServerReader& reader_;
    Findings& findings_;
    std::vector<Column> columns_;
    std::vector<std::string> first_;  // the first line's cells
};

}  // namespace

Result<void> write_server_tsv(const ServerReport& report, ServerKeys keys, std::ostream& out) {
    if (auto good = proofread(report); !good) return good;
    auto of_report = fields_of(report);
    for (ServerField& field : fields_of(report.offset))
        of_report.push_back(std::move(field));
    if (auto good = check_columns(of_report); !good) return good;
    std::string line;
    for (const ServerField& field : of_report)
        line += spelled(field.key, keys) + '\t';
    for (const ServerField& field : fields_of(ServerPoint{.jd_utc = jd_minus_mjd}))
        line += std::string(point_prefix) + spelled(field.key, keys) + '\t';
    line.back() = '\n';
    out << line;
    for (std::size_t i = 0; i < report.photometry.size(); ++i) {
        const auto fields = fields_of(report.photometry[i]);
        if (auto good = proofread_point(fields, i); !good) return good;
        if (auto good = check_columns(fields); !good) return good;
        line.clear();
        if (i == 0)
            add_cells(line, of_report);
        else
            line.assign(of_report.size(), '\t');
        add_cells(line, fields);
        line.back() = '\n';
        out << line;
    }
    return {};
}

Result<std::string> write_server_tsv(const ServerReport& report, ServerKeys keys) {
    std::ostringstream out;
    if (auto good = write_server_tsv(report, keys, out); !good) return fail(good.error());
    return std::move(out).str();
}

void read_server_tsv(std::string_view text, ServerReader& reader, Findings& findings) {
    std::istringstream in{std::string(text)};
    LineReader lines(in);
    ColumnReader columns(reader, findings);
    bool return_said = false;
    while (const auto line = lines.next()) {
        if (lines.had_carriage_return() && !return_said) {
            return_said = true;
            findings.warning(lines.number(), "", "Lines end in CR LF or CR; LF alone is sure.");
        }
        if (lines.cut()) findings.error(lines.number(), "", "The line is longer than a megabyte.");
        if (!lines.had_end())
            findings.error(lines.number(), "", "The last line has no end: the file was cut.");
        if (lines.number() == 1) {
            columns.names(*line);
        } else {
            columns.row(*line, lines.number());
        }
    }
}

}  // namespace emberline::exchange
