// SPDX-License-Identifier: MIT
#include "frame/fits_table.hpp"

#include <fitsio.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <limits>
#include <optional>
#include <span>
#include <string_view>

#include "frame/file_bytes.hpp"
#include "frame/file_marks.hpp"
#include "frame/parse_header.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr double most_bytes = 2147483648.0;
constexpr LONGLONG rows_at_a_time = 4096;
constexpr const char* fetch_again = "Fetch the table again from where it came.";

std::string spoken(int status) {
    char text[FLEN_STATUS] = {};
    fits_get_errstatus(status, text);
    fits_clear_errmsg();
    return text;
}

// The file while it is open.
class TableFile {
  public:
    explicit TableFile(std::string path) : path_(std::move(path)) {}
    TableFile(const TableFile&) = delete;
    TableFile& operator=(const TableFile&) = delete;
    ~TableFile() {
        int status = 0;
        if (fits_ != nullptr) fits_close_file(fits_, &status);
        fits_clear_errmsg();
    }
    [[nodiscard]] Result<void> open();
    [[nodiscard]] Result<void> find_table();
    [[nodiscard]] Result<FitsTable> read(std::size_t most_rows);
    [[nodiscard]] Result<std::size_t> read_blocks(
        std::size_t block_rows, const std::function<bool(const FitsTable&, std::size_t)>& visit);
    [[nodiscard]] Result<Checksum> checksum();

  private:
    [[nodiscard]] Problem problem(std::string what, std::string mend) const {
        return {.what = std::move(what), .where = path_, .mend = std::move(mend)};
    }
    [[nodiscard]] Problem unreadable(int status) const {
        return problem(fmt::format("The file cannot be read as FITS: {}.", spoken(status)), fetch_again);
    }
    [[nodiscard]] Result<void> check_counts(long long offset) const;
    [[nodiscard]] Result<void> check_size(std::size_t most_rows);
    [[nodiscard]] Result<void> read_header();
    [[nodiscard]] std::optional<FitsColumn> heading(int number) const;
    // These fill the column with `rows_` rows from `first_row_` on.
    [[nodiscard]] Result<void> read_column(FitsColumn& column) const;
    [[nodiscard]] Result<void> read_numbers(int number, FitsColumn& column) const;
    [[nodiscard]] Result<void> read_whole_numbers(int number, FitsColumn& column) const;
    [[nodiscard]] Result<void> read_truths(int number, FitsColumn& column) const;
    [[nodiscard]] Result<void> read_texts(int number, FitsColumn& column) const;
    [[nodiscard]] Problem bad_column(const FitsColumn& column, int status) const {
        return at(path_, {.what = fmt::format("The column cannot be read: {}.", spoken(status)),
                          .where = fmt::format("column '{}'", column.name),
                          .mend = fetch_again});
    }

    std::string path_;
    FileBytes bytes_;  // outlive what the library opened
    fitsfile* fits_ = nullptr;
    bool ascii_ = false;
    Header header_;
    int n_columns_ = 0;
    LONGLONG first_row_ = 1, rows_ = 0;
};

Result<void> TableFile::open() {
    struct stat about = {};
    if (::stat(path_.c_str(), &about) != 0) {
        return fail(problem(fmt::format("The file cannot be opened: {}.", std::strerror(errno)),
                            "Check its name and permissions."));
    }
    if (!S_ISREG(about.st_mode)) return fail(problem("This is not a file.", "Name a FITS file."));
    if (const auto wrong = bytes_.open(path_))
        return fail(problem(fmt::format("The file cannot be opened: {}.", *wrong), "Check its permissions."));
    if (bytes_.gzipped()) {
        if (const auto wrong = bytes_.unpack()) return fail(problem(*wrong, fetch_again));
    }
    if (!bytes_.start().starts_with(fits_mark)) {
        return fail(problem("This is not a FITS file: it does not begin with SIMPLE.", "Name a FITS file."));
    }
    if (auto good = check_counts(0); !good) return good;
    if (const int status = bytes_.open_library(&fits_); status != 0) return fail(unreadable(status));
    return {};
}

Result<void> TableFile::check_counts(long long offset) const {
    const auto wrong = bytes_.impossible_count(offset);
    if (wrong) return fail(problem(*wrong, "Its header is damaged: fetch the table again."));
    return {};
}

Result<void> TableFile::find_table() {
    for (int number = 2;; ++number) {
        LONGLONG header_start = 0, data_start = 0, next = 0;
        int status = 0, type = 0;
        if (fits_get_hduaddrll(fits_, &header_start, &data_start, &next, &status) != 0)
            return fail(unreadable(status));
        if (auto good = check_counts(next); !good) return good;
        if (fits_movabs_hdu(fits_, number, &type, &status) != 0) {
            const bool whole = next == fits_->Fptr->filesize;
            fits_clear_errmsg();
            if (whole) {
                return fail(problem("The file holds no table, only pictures.",
                                    "Name a FITS file with a table of stars in it."));
            }
            return fail(problem(fmt::format("The file holds no table up to its part {}, and what follows is "
                                            "cut short or damaged.",
                                            number - 1),
                                fetch_again));
        }
        if (fits_is_compressed_image(fits_, &status) != 0) continue;
        ascii_ = type == ASCII_TBL;
        if (ascii_ || type == BINARY_TBL) return {};
    }
}

Result<void> TableFile::check_size(std::size_t most_rows) {
    LONGLONG row_bytes = 0, header_start = 0, data_start = 0, data_end = 0;
    int status = 0;
    fits_read_key(fits_, TLONGLONG, "NAXIS1", &row_bytes, nullptr, &status);
    fits_get_num_rowsll(fits_, &rows_, &status);
    fits_get_hduaddrll(fits_, &header_start, &data_start, &data_end, &status);
    if (status != 0) return fail(unreadable(status));
    if (rows_ < 0 || row_bytes < 0) {
        return fail(problem(fmt::format("The table is said to have {} rows of {} bytes.", rows_, row_bytes),
                            "Its header is damaged: fetch the table again."));
    }
    if (static_cast<unsigned long long>(rows_) > most_rows) {
        return fail(problem(fmt::format("The table has {} rows; {} are the most.", rows_, most_rows),
                            "Ask for a smaller field, or for brighter stars only."));
    }
    const double needed =
        static_cast<double>(data_start) + static_cast<double>(rows_) * static_cast<double>(row_bytes);
    const auto there = static_cast<double>(fits_->Fptr->filesize);
    if (needed <= there) return {};
    return fail(problem(
        fmt::format("The file is cut short: {:.0f} of {:.0f} bytes are there.", there, needed), fetch_again));
}

// Nothing for a column that is no plain number and no text.
std::optional<FitsColumn> TableFile::heading(int number) const {
    int type = 0, status = 0;
    LONGLONG repeat = 0, width = 0;
    fits_get_eqcoltypell(fits_, number, &type, &repeat, &width, &status);
    const bool text = type == TSTRING;
    constexpr std::array kinds{TBYTE, TSBYTE, TSHORT,    TUSHORT,    TINT,   TUINT,
                               TLONG, TULONG, TLONGLONG, TULONGLONG, TFLOAT, TDOUBLE};
    const bool plain_number = repeat == 1 && std::find(kinds.begin(), kinds.end(), type) != kinds.end();
    const bool truth = repeat == 1 && type == TLOGICAL;
    if (status != 0) fits_clear_errmsg();
    if (status != 0 || (!plain_number && !truth && !(text && repeat > 0 && width >= repeat)))
        return std::nullopt;
    FitsColumn column;
    column.number = number;
    column.is_text = text;
    column.is_truth = truth;
    const auto named = [&](const char* keyword) {
        return header_.text(fmt::format("{}{}", keyword, number)).value_or("");
    };
    column.name = named("TTYPE");
    column.unit = named("TUNIT");
    column.meaning = named("TUCD");
    if (const Card* card = header_.find(fmt::format("TTYPE{}", number)); card && column.meaning.empty())
        column.meaning = card->comment;
    return column;
}

Result<void> TableFile::read_numbers(int number, FitsColumn& column) const {
    double undefined = std::numeric_limits<double>::quiet_NaN();
    column.numbers.resize(static_cast<std::size_t>(rows_));
    int any = 0, status = 0;
    if (rows_ > 0) {
        fits_read_col(fits_, TDOUBLE, number, first_row_, 1, rows_, &undefined, column.numbers.data(), &any,
                      &status);
    }
    if (status != 0) return fail(bad_column(column, status));
    // cfitsio looks for TNULL at the left of an ASCII field, and writers put it at the right.
    const auto marked = ascii_ ? header_.number(fmt::format("TNULL{}", number)) : std::nullopt;
    for (double& value : column.numbers) {
        if (!std::isfinite(value) || value == marked) value = undefined;
    }
    return read_whole_numbers(number, column);
}

Result<void> TableFile::read_whole_numbers(int number, FitsColumn& column) const {
    int stored = 0, equivalent = 0, status = 0;
    LONGLONG repeat = 0, width = 0;
    fits_get_coltypell(fits_, number, &stored, &repeat, &width, &status);
    fits_get_eqcoltypell(fits_, number, &equivalent, &repeat, &width, &status);
    if (status != 0 || stored != TLONGLONG || equivalent != TLONGLONG) return {};
    std::vector<LONGLONG> values(static_cast<std::size_t>(rows_));
    int any = 0;
    if (rows_ > 0) {
        fits_read_col(fits_, TLONGLONG, number, first_row_, 1, rows_, nullptr, values.data(), &any, &status);
    }
    if (status != 0) return fail(bad_column(column, status));
    column.texts.resize(values.size());
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!std::isnan(column.numbers[i])) column.texts[i] = fmt::format("{}", values[i]);
    }
    return {};
}

Result<void> TableFile::read_truths(int number, FitsColumn& column) const {
    const auto n = static_cast<std::size_t>(rows_);
    std::vector<char> values(n), undefined(n);
    int any = 0, status = 0;
    if (rows_ > 0) {
        fits_read_colnull(fits_, TLOGICAL, number, first_row_, 1, rows_, values.data(), undefined.data(),
                          &any, &status);
    }
    if (status != 0) return fail(bad_column(column, status));
    for (std::size_t i = 0; i < n; ++i) {
        column.numbers.push_back(undefined[i] != 0 ? std::numeric_limits<double>::quiet_NaN()
                                                   : static_cast<double>(values[i] != 0));
    }
    return {};
}

Result<void> TableFile::read_column(FitsColumn& column) const {
    column.numbers.clear();
    column.texts.clear();
    if (column.is_text) return read_texts(column.number, column);
    return column.is_truth ? read_truths(column.number, column) : read_numbers(column.number, column);
}

Result<void> TableFile::read_texts(int number, FitsColumn& column) const {
    int type = 0, status = 0;
    LONGLONG repeat = 0, width = 0;
    fits_get_coltypell(fits_, number, &type, &repeat, &width, &status);
    if (status != 0) return fail(bad_column(column, status));
    if (std::max(repeat, width) > bytes_.size()) {
        return fail(
            at(path_, {.what = fmt::format("Its texts are said to be {} characters long, more than the file.",
                                           std::max(repeat, width)),
                       .where = fmt::format("column '{}'", column.name),
                       .mend = fetch_again}));
    }
    const auto stride = static_cast<std::size_t>(std::max(repeat, width)) + 1;
    std::vector<char> letters(stride * static_cast<std::size_t>(std::min(rows_, rows_at_a_time)));
    column.texts.reserve(static_cast<std::size_t>(rows_));
    for (LONGLONG first = 0; first < rows_; first += rows_at_a_time) {
        const LONGLONG n = std::min(rows_at_a_time, rows_ - first);
        std::vector<char*> pointers(static_cast<std::size_t>(n));
        for (std::size_t i = 0; i < pointers.size(); ++i)
            pointers[i] = letters.data() + i * stride;
        std::fill(letters.begin(), letters.end(), '\0');
        char nothing[] = "";
        int any = 0;
        fits_read_col(fits_, TSTRING, number, first_row_ + first, 1, n, nothing, pointers.data(), &any,
                      &status);
        if (status != 0) return fail(bad_column(column, status));
        for (const char* text : pointers)
            column.texts.emplace_back(trimmed(text));
    }
    return {};
}

Result<void> TableFile::read_header() {
    char* cards = nullptr;
    int n_cards = 0, status = 0;
    fits_hdr2str(fits_, 0, nullptr, 0, &cards, &n_cards, &status);
    if (status != 0) return fail(unreadable(status));
    header_ = parse_header(cards);
    fits_free_memory(cards, &status);
    fits_get_num_cols(fits_, &n_columns_, &status);
    if (status != 0) return fail(unreadable(status));
    return {};
}

Result<FitsTable> TableFile::read(std::size_t most_rows) {
    if (auto good = check_size(most_rows); !good) return fail(good.error());
    if (auto good = read_header(); !good) return fail(good.error());
    FitsTable table;
    table.header = header_;
    table.rows = static_cast<std::size_t>(rows_);
    double bytes = 0.0;
    for (int number = 1; number <= n_columns_; ++number) {
        auto column = heading(number);
        if (!column || column->is_truth) continue;
        bytes += static_cast<double>(rows_) * static_cast<double>(column->is_text ? sizeof(std::string) : 8);
        if (bytes > most_bytes) {
            return fail(problem(fmt::format("The table's {} columns of {} rows are more than fits into "
                                            "memory.",
                                            n_columns_, rows_),
                                "Ask for fewer columns, or for a smaller field."));
        }
        if (auto good = read_column(*column); !good) return fail(good.error());
        table.columns.push_back(std::move(*column));
    }
    return table;
}

Result<std::size_t> TableFile::read_blocks(std::size_t block_rows,
                                           const std::function<bool(const FitsTable&, std::size_t)>& visit) {
    if (auto good = check_size(std::numeric_limits<std::size_t>::max()); !good) return fail(good.error());
    if (auto good = read_header(); !good) return fail(good.error());
    const LONGLONG all = rows_;
    FitsTable block;
    block.header = header_;
    for (int number = 1; number <= n_columns_; ++number) {
        if (auto column = heading(number)) block.columns.push_back(std::move(*column));
    }
    for (LONGLONG first = 0;; first += rows_) {
        first_row_ = first + 1;
        rows_ = std::min(static_cast<LONGLONG>(std::max<std::size_t>(block_rows, 1)), all - first);
        block.rows = static_cast<std::size_t>(rows_);
        for (FitsColumn& column : block.columns) {
            if (auto good = read_column(column); !good) return fail(good.error());
        }
        const LONGLONG seen = first + rows_;
        if (!visit(block, static_cast<std::size_t>(first)) || seen >= all)
            return static_cast<std::size_t>(seen);
    }
}

Result<Checksum> TableFile::checksum() {
    int status = 0, data = 0, whole = 0;
    fits_verify_chksum(fits_, &data, &whole, &status);
    if (status != 0) return fail(unreadable(status));
    if (data < 0 || whole < 0) return Checksum::wrong;
    return data > 0 && whole > 0 ? Checksum::right : Checksum::absent;
}

}  // namespace

Result<FitsTable> read_fits_table(const std::string& path, std::size_t most_rows) {
    TableFile file(path);
    if (auto good = file.open(); !good) return fail(good.error());
    if (auto good = file.find_table(); !good) return fail(good.error());
    return file.read(most_rows);
}

Result<std::size_t> for_each_fits_block(
    const std::string& path, const std::function<bool(const FitsTable& block, std::size_t first_row)>& visit,
    std::size_t block_rows) {
    TableFile file(path);
    if (auto good = file.open(); !good) return fail(good.error());
    if (auto good = file.find_table(); !good) return fail(good.error());
    return file.read_blocks(block_rows, visit);
}

Result<Checksum> checksum_of_table(const std::string& path) {
    TableFile file(path);
    if (auto good = file.open(); !good) return fail(good.error());
    if (auto good = file.find_table(); !good) return fail(good.error());
    return file.checksum();
}

}  // namespace emberline::frame
