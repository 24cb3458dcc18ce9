// SPDX-License-Identifier: MIT
#include "quantities/delimited_table.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>

#include "quantities/new_file.hpp"
#include "quantities/text.hpp"

namespace emberline {
inline namespace quantities {
namespace {

// Reads one record from `text` at `position`; a quoted field may span lines.
class RecordReader {
  public:
    RecordReader(std::string_view text, char separator) : text_(text), separator_(separator) {}

    [[nodiscard]] bool at_end() const { return position_ >= text_.size(); }
    [[nodiscard]] std::size_t line() const { return line_; }

    // Nothing when the line is blank or a comment.
    Result<std::optional<TableRow>> next() {
        const auto line_end = std::min(text_.find('\n', position_), text_.size());
        const std::string_view line_text = trimmed(text_.substr(position_, line_end - position_));
        if (line_text.empty() || line_text.front() == '#') {
            position_ = line_end + 1;
            ++line_;
            return std::optional<TableRow>{};
        }
        TableRow row{.line = line_, .fields = {}};
        while (true) {
            auto field = next_field();
            if (!field) return fail(field.error());
            row.fields.push_back(std::move(*field));
            if (at_end() || text_[position_] == '\n') break;
            ++position_;  // the separator
        }
        ++position_;
        ++line_;
        return std::optional<TableRow>{std::move(row)};
    }

  private:
    Result<std::string> next_field() {
        while (!at_end() && (text_[position_] == ' ' || (text_[position_] == '\t' && separator_ != '\t'))) {
            ++position_;
        }
        if (at_end() || text_[position_] != '"') {
            const std::size_t start = position_;
            while (!at_end() && text_[position_] != separator_ && text_[position_] != '\n')
                ++position_;
            return std::string(trimmed(text_.substr(start, position_ - start)));
        }
        const std::size_t opened = line_;
        std::string value;
        ++position_;
        while (true) {
            if (at_end()) {
                return fail({.what = "A quotation mark is opened and never closed.",
                             .where = fmt::format("line {}", opened),
                             .mend = "Close it, or double it if it belongs to the text."});
            }
            const char c = text_[position_++];
            if (c == '\n') ++line_;
            if (c == '"') {
                if (at_end() || text_[position_] != '"') break;
                ++position_;
            }
            value += c;
        }
        const std::size_t start = position_;
        while (!at_end() && text_[position_] != separator_ && text_[position_] != '\n')
            ++position_;
        if (!trimmed(text_.substr(start, position_ - start)).empty()) {
            return fail({.what = "Text follows a closing quotation mark.",
                         .where = fmt::format("line {}", line_),
                         .mend = "Put the whole field between the quotation marks."});
        }
        return value;
    }

    std::string_view text_;
    char separator_;
    std::size_t position_ = 0;
    std::size_t line_ = 1;
};

Result<void> check_columns(const DelimitedTable& table, std::size_t line) {
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
        for (std::size_t k = i + 1; k < table.columns.size(); ++k) {
            if (table.columns[i] == table.columns[k]) {
                return fail(
                    {.what = fmt::format("The column '{}' appears twice.", table.columns[i]),
                     .where = fmt::format("{}, line {}, columns {} and {}", table.source, line, i + 1, k + 1),
                     .mend = "Remove or rename one of them."});
            }
        }
    }
    return {};
}

}  // namespace

std::optional<std::size_t> DelimitedTable::column(std::string_view name) const {
    const auto found = std::find(columns.begin(), columns.end(), name);
    if (found == columns.end()) return std::nullopt;
    return static_cast<std::size_t>(found - columns.begin());
}

std::string DelimitedTable::place(const TableRow& row, std::string_view column_name) const {
    return fmt::format("{}, line {}, column '{}'", source, row.line, column_name);
}

Result<DelimitedTable> parse_table(std::string_view text, std::string source, char separator) {
    if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
    DelimitedTable table{.source = std::move(source), .columns = {}, .rows = {}};
    RecordReader reader(text, separator);
    while (!reader.at_end()) {
        auto row = reader.next();
        if (!row) return fail(at(table.source, row.error()));
        if (!*row) continue;
        for (const std::string& field : (**row).fields) {
            const auto lines = split(field, '\n');
            const bool good = std::all_of(lines.begin(), lines.end(),
                                          [](std::string_view line) { return is_plain_text(trimmed(line)); });
            if (!good) {
                return fail({.what = "The line holds bytes that are not text.",
                             .where = fmt::format("{}, line {}", table.source, (**row).line),
                             .mend = "Save the table as plain UTF-8 text."});
            }
        }
        if (table.columns.empty()) {
            table.columns = std::move((**row).fields);
            if (auto good = check_columns(table, (**row).line); !good) return fail(good.error());
            continue;
        }
        if ((**row).fields.size() != table.columns.size()) {
            return fail({.what = fmt::format("The line has {} fields where the header has {} columns.",
                                             (**row).fields.size(), table.columns.size()),
                         .where = fmt::format("{}, line {}, column {}", table.source, (**row).line,
                                              std::min((**row).fields.size(), table.columns.size()) + 1),
                         .mend = (**row).fields.size() < table.columns.size()
                                     ? "Give every column a field; leave it empty where a value is unknown."
                                     : "Write decimals with a point, and put text that holds a separator "
                                       "between quotation marks."});
        }
        table.rows.push_back(std::move(**row));
    }
    if (table.columns.empty()) {
        return fail({.what = "The table is empty.",
                     .where = table.source,
                     .mend = "Its first line names the columns; the rows follow."});
    }
    return table;
}

Result<DelimitedTable> read_table(const std::string& path, char separator) {
    const auto text = read_text_file(path);
    if (!text) return fail(text.error());
    return parse_table(*text, path, separator);
}

std::string quoted_field(std::string_view field, char separator) {
    const bool plain = field.find(separator) == std::string_view::npos &&
                       field.find_first_of("\"\r\n") == std::string_view::npos && trimmed(field) == field &&
                       !field.starts_with('#');
    if (plain) return std::string(field);
    std::string quoted = "\"";
    for (const char c : field) {
        if (c == '"') quoted += '"';
        quoted += c;
    }
    return quoted + '"';
}

Result<std::string> read_text_file(const std::string& path, std::size_t most_bytes) {
    std::error_code error;
    if (std::filesystem::is_directory(path, error)) {
        return fail({.what = "This is a folder, not a file.", .where = path, .mend = "Name the file in it."});
    }
    const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
    if (descriptor < 0) {
        return fail({.what = fmt::format("The file cannot be read: {}.", std::strerror(errno)),
                     .where = path,
                     .mend = "Check the name and the permissions."});
    }
    std::string text;
    std::string chunk(std::size_t{1} << 16U, '\0');
    while (true) {
        const ssize_t got = ::read(descriptor, chunk.data(), chunk.size());
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) {
            const Problem problem = disk_problem(path, "read");
            ::close(descriptor);
            return fail(problem);
        }
        if (got == 0) break;
        text.append(chunk, 0, static_cast<std::size_t>(got));
        if (text.size() > most_bytes) {
            ::close(descriptor);
            return fail({.what = fmt::format("The file is larger than {} MiB.", most_bytes >> 20U),
                         .where = path,
                         .mend = "This is no table of this kind; check the name."});
        }
    }
    ::close(descriptor);
    return text;
}

Result<void> write_text_file(const std::string& path, std::string_view text) {
    auto file = NewFile::open(path);
    if (!file) return fail(file.error());
    file->out() << text;
    return file->commit();
}

}  // namespace quantities
}  // namespace emberline
