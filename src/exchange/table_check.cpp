// SPDX-License-Identifier: MIT
// Which validator a file is for, and what all of them share.
#include "exchange/table_check.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <istream>
#include <streambuf>
#include <string_view>
#include <utility>

#include "exchange/fits_table.hpp"
#include "exchange/table_check_parts.hpp"
#include "exchange/table_rows.hpp"
#include "frame/file_marks.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

constexpr std::size_t start_bytes = 64, piece_bytes = std::size_t{64} << 10U;

// A stream with the bytes that were already taken from its front put back: a pipe cannot go back by itself.
class PutBack : public std::streambuf {
  public:
    PutBack(std::string front, std::istream& rest) : buffer_(std::move(front)), rest_(rest) {
        setg(buffer_.data(), buffer_.data(), buffer_.data() + buffer_.size());
    }

  protected:
    int_type underflow() override {
        if (!rest_.good()) return traits_type::eof();
        buffer_.resize(piece_bytes);
        rest_.read(buffer_.data(), static_cast<std::streamsize>(buffer_.size()));
        buffer_.resize(static_cast<std::size_t>(rest_.gcount()));
        setg(buffer_.data(), buffer_.data(), buffer_.data() + buffer_.size());
        return buffer_.empty() ? traits_type::eof() : traits_type::to_int_type(buffer_.front());
    }

  private:
    std::string buffer_;
    std::istream& rest_;
};

std::string take_start(std::istream& in) {
    std::string start(start_bytes, '\0');
    in.read(start.data(), static_cast<std::streamsize>(start.size()));
    start.resize(static_cast<std::size_t>(in.gcount()));
    return start;
}

CheckedTable check_fits(const std::string& path, const TableVisitor& visit) {
    RowSink sink(visit);
    std::size_t row_number = 0;
    const auto read = read_fits_rows(path, [&](TableLevel level, std::span<const Cell> row) {
        if (row_number == 0) sink.begin(level, {});
        return sink.take(++row_number, row);
    });
    if (read && row_number == 0) sink.begin(read->level, {});
    CheckedTable checked = std::move(sink).result("FITS");  // what could not be read, the form's check says
    std::vector<Finding> form = check_fits_table(path);
    checked.findings.insert(checked.findings.begin(), form.begin(), form.end());
    return checked;
}

}  // namespace

void RowSink::begin(TableLevel level, std::vector<bool> lacking) {
    level_ = level;
    checker_.emplace(level, std::move(lacking), findings_);
}

bool RowSink::take(std::size_t line, std::span<const Cell> row) {
    ++rows_;
    checker_->check(line, row);
    return !visit_ || visit_(*level_, line, row);
}

CheckedTable RowSink::result(std::string format) && {
    if (rows_ == 0 && level_) findings_.warning(0, "", "There is no row in the table.");
    return {
        .format = std::move(format), .level = level_, .rows = rows_, .findings = std::move(findings_).take()};
}

CheckedTable check_table(std::istream& in, const TableVisitor& visit) {
    std::string start = take_start(in);
    std::string_view begins = start;
    if (begins.starts_with("\xEF\xBB\xBF")) begins.remove_prefix(3);
    begins = trimmed(begins);
    const bool xml = begins.starts_with('<'), described = begins.starts_with("# %ECSV");
    PutBack buffer(std::move(start), in);
    std::istream whole(&buffer);
    if (xml) return check_votable(whole, visit);
    return described ? check_ecsv(whole, visit) : check_csv(whole, visit);
}

Result<CheckedTable> check_table_file(const std::string& path, const TableVisitor& visit) {
    std::error_code error;
    if (std::filesystem::is_directory(path, error))
        return fail({.what = "This is a folder, not a file.", .where = path, .mend = "Name the file in it."});
    std::ifstream in(path, std::ios::binary);
    if (!in) {
        return fail({.what = "The file cannot be read.",
                     .where = path,
                     .mend = "Check the name and the permissions."});
    }
    if (take_start(in).starts_with(frame::fits_mark)) return check_fits(path, visit);
    in.clear();
    in.seekg(0);
    CheckedTable checked = check_table(in, visit);
    if (in.bad()) {
        return fail({.what = "The file could not be read to its end.",
                     .where = path,
                     .mend = "Check the disk, then run the command again.",
                     .kind = ProblemKind::storage});
    }
    return checked;
}

}  // namespace emberline::exchange
