// SPDX-License-Identifier: MIT
#include "frame/table_writer.hpp"

#include <fitsio.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cerrno>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <limits>
#include <set>
#include <string_view>

#include "frame/parse_header.hpp"
#include "frame/prepare_cfitsio.hpp"
#include "frame/write_frame.hpp"
#include "quantities/new_file.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr std::size_t rows_at_a_time = 4096;
constexpr std::size_t longest_string = 68;  // between the quotes of one card
constexpr long long whole_undefined = std::numeric_limits<long long>::min();

// Whether its string needs CONTINUE; verifiers then look for LONGSTRN above it.
bool goes_on(const Card& card) {
    const auto quotes = std::count(card.value.begin(), card.value.end(), '\'');
    return card.is_string && card.value.size() + static_cast<std::size_t>(quotes) > longest_string;
}

std::string tform(const ColumnForm& column) {
    switch (column.kind) {
        case CellKind::number:
            return "1D";
        case CellKind::whole:
            return "1K";
        case CellKind::text:
            return fmt::format("{}A", std::max<std::size_t>(column.width, 1));
        case CellKind::truth:
            return "1L";
    }
    return "1D";
}

void add_big_endian(std::vector<unsigned char>& bytes, std::uint64_t bits) {
    for (int shift = 56; shift >= 0; shift -= 8)
        bytes.push_back(static_cast<unsigned char>(bits >> static_cast<unsigned>(shift)));
}

// The cells of a column that are not yet in the file; one of the vectors is in use.
struct Waiting {
    std::vector<double> numbers;
    std::vector<long long> wholes;
    std::vector<std::string> texts;
    std::vector<char> truths;            // 'T', 'F', or 0 where it is undefined
    std::size_t width = 1, longest = 0;  // of texts: in the file, and of those that wait
    void clear() {
        numbers.clear();
        wholes.clear();
        texts.clear();
        truths.clear();
        longest = 0;
    }
};

class DiskTable final : public TableWriter {
  public:
    DiskTable(std::string path, TableForm form)
        : path_(std::move(path)),
          beside_(name_beside(path_)),
          form_(std::move(form)),
          waiting_(form_.columns.size()) {}
    DiskTable(const DiskTable&) = delete;
    DiskTable& operator=(const DiskTable&) = delete;
    ~DiskTable() override { give_up(); }

    [[nodiscard]] Result<void> begin();
    [[nodiscard]] Result<void> append(std::span<const Cell> row) override;
    [[nodiscard]] Result<void> finish() override;
    [[nodiscard]] std::size_t rows() const override { return rows_ + n_waiting_; }

  private:
    [[nodiscard]] Problem unwritable(std::string_view why) const {
        return {.what = fmt::format("The table cannot be written: {}.", why),
                .where = path_,
                .mend = "Check the free space and the permissions there.",
                .kind = ProblemKind::storage};
    }
    [[nodiscard]] Problem disk_problem() {
        char why[FLEN_STATUS] = {};
        fits_get_errstatus(status_, why);
        fits_clear_errmsg();
        give_up();
        return unwritable(why);
    }
    [[nodiscard]] Problem bad_value(std::size_t column, std::string what, std::string mend) const {
        return {
            .what = std::move(what),
            .where = fmt::format("{}, row {}, column '{}'", path_, rows() + 1, form_.columns[column].name),
            .mend = std::move(mend),
            .kind = ProblemKind::request};
    }
    void give_up();
    [[nodiscard]] Result<void> check_form() const;
    void write_card(const Card& card);
    void write_column_cards();
    void write_checksums();
    [[nodiscard]] std::optional<Problem> trouble(std::size_t column, const Cell& cell) const;
    void take(std::size_t column, const Cell& cell);
    void write_waiting();
    void widen_texts();

    std::string path_, beside_;
    TableForm form_;
    std::vector<Waiting> waiting_;
    std::vector<unsigned char> bytes_;
    std::size_t n_waiting_ = 0, rows_ = 0;
    fitsfile* fits_ = nullptr;
    int status_ = 0;
};

void DiskTable::give_up() {
    if (fits_ == nullptr) return;
    int closing = 0;
    fits_close_file(fits_, &closing);
    fits_clear_errmsg();
    fits_ = nullptr;
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
}

Result<void> DiskTable::check_form() const {
    const auto refuse = [&](std::string what, std::string mend) {
        return fail(
            {.what = std::move(what), .where = path_, .mend = std::move(mend), .kind = ProblemKind::request});
    };
    if (form_.columns.empty() || form_.columns.size() > 999) {
        return refuse(fmt::format("A FITS table cannot have {} columns.", form_.columns.size()),
                      "Give it 1 to 999 columns.");
    }
    std::set<std::string> names;
    std::vector<Card> cards = form_.cards;
    for (const ColumnForm& column : form_.columns) {
        if (column.name.empty() || !names.insert(upper_case(column.name)).second) {
            return refuse(fmt::format("The column name '{}' is empty or there twice.", column.name),
                          "Give every column a name of its own, letter case aside.");
        }
        cards.insert(cards.end(), column.cards.begin(), column.cards.end());
        cards.push_back({"TTYPE", column.name + column.unit + column.ucd + column.display, "", true});
        cards.push_back({"TCOMM", column.description, "", true});
    }
    for (const Card& card : cards) {
        if (is_printable(card.keyword + card.value + card.comment)) continue;
        return refuse(fmt::format("The header card {} holds bytes other than printable ASCII.", card.keyword),
                      "Write it in plain letters: a FITS header holds no others.");
    }
    return {};
}

Result<void> DiskTable::begin() {
    if (auto good = check_form(); !good) return good;
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
    std::vector<std::string> forms;
    std::vector<char*> names, tforms, units;
    // cfitsio takes pointers to non-const, and only reads.
    for (const ColumnForm& column : form_.columns)
        forms.push_back(tform(column));
    for (std::size_t i = 0; i < forms.size(); ++i) {
        names.push_back(const_cast<char*>(form_.columns[i].name.c_str()));
        tforms.push_back(const_cast<char*>(forms[i].c_str()));
        units.push_back(const_cast<char*>(form_.columns[i].unit.c_str()));
        waiting_[i].width = std::max<std::size_t>(form_.columns[i].width, 1);
    }
    prepare_cfitsio();
    fits_create_diskfile(&fits_, beside_.c_str(), &status_);
    fits_create_img(fits_, BYTE_IMG, 0, nullptr, &status_);
    fits_create_tbl(fits_, BINARY_TBL, 0, static_cast<int>(names.size()), names.data(), tforms.data(),
                    units.data(), form_.name.empty() ? nullptr : form_.name.c_str(), &status_);
    if (std::any_of(form_.cards.begin(), form_.cards.end(), goes_on))
        fits_write_key_longwarn(fits_, &status_);
    if (status_ == 0) write_column_cards();
    for (const Card& card : form_.cards)
        write_card(card);
    if (status_ != 0) return fail(disk_problem());
    return {};
}

void DiskTable::write_card(const Card& card) {
    if (card.keyword == "COMMENT") {
        fits_write_comment(fits_, card.comment.c_str(), &status_);
    } else if (card.keyword == "HISTORY") {
        fits_write_history(fits_, card.comment.c_str(), &status_);
    } else if (card.is_string) {
        fits_write_key_longstr(fits_, card.keyword.c_str(), card.value.c_str(), card.comment.c_str(),
                               &status_);
    } else {
        fits_write_record(fits_, card_text(card).c_str(), &status_);
    }
}

void DiskTable::write_column_cards() {
    for (std::size_t i = 0; i < form_.columns.size(); ++i) {
        const ColumnForm& column = form_.columns[i];
        const auto numbered = [&](std::string_view root) { return fmt::format("{}{}", root, i + 1); };
        const auto text = [&](std::string_view root, const std::string& value) {
            if (!value.empty()) write_card({numbered(root), value, "", true});
        };
        // A comment that would not fit whole is left to TCOMM.
        if (column.description.size() + std::max<std::size_t>(column.name.size(), 8) <= 60) {
            fits_modify_comment(fits_, numbered("TTYPE").c_str(), column.description.c_str(), &status_);
        }
        text("TCOMM", column.description);
        text("TUCD", column.ucd);
        text("TDISP", column.display);
        if (column.kind == CellKind::whole)
            write_card({numbered("TNULL"), fmt::format("{}", whole_undefined), "undefined", false});
        for (Card card : column.cards) {
            card.keyword = numbered(card.keyword);
            write_card(card);
        }
    }
}

std::optional<Problem> DiskTable::trouble(std::size_t column, const Cell& cell) const {
    const CellKind kind = form_.columns[column].kind;
    const bool fits = std::holds_alternative<std::monostate>(cell) ||
                      (kind == CellKind::number && std::holds_alternative<double>(cell)) ||
                      (kind == CellKind::whole && std::holds_alternative<long long>(cell)) ||
                      (kind == CellKind::truth && std::holds_alternative<bool>(cell)) ||
                      (kind == CellKind::text && std::holds_alternative<std::string>(cell));
    if (!fits) {
        return bad_value(column, "The value is of another kind than its column.",
                         "Hand over values of the columns' kinds, in their order.");
    }
    if (const auto* text = std::get_if<std::string>(&cell); text != nullptr && !is_printable(*text)) {
        return bad_value(column, "The text holds bytes other than printable ASCII.",
                         "Spell it in plain letters: a FITS table holds no others.");
    }
    if (const auto* whole = std::get_if<long long>(&cell); whole != nullptr && *whole == whole_undefined) {
        return bad_value(column, fmt::format("{} stands for an undefined value.", whole_undefined),
                         "Leave the value out.");
    }
    return std::nullopt;
}

void DiskTable::take(std::size_t column, const Cell& cell) {
    Waiting& cells = waiting_[column];
    switch (form_.columns[column].kind) {
        case CellKind::number: {
            const auto* number = std::get_if<double>(&cell);
            cells.numbers.push_back(number != nullptr ? *number : std::numeric_limits<double>::quiet_NaN());
            break;
        }
        case CellKind::whole: {
            const auto* whole = std::get_if<long long>(&cell);
            cells.wholes.push_back(whole != nullptr ? *whole : whole_undefined);
            break;
        }
        case CellKind::text: {
            const auto* text = std::get_if<std::string>(&cell);
            cells.texts.push_back(text != nullptr ? *text : std::string());
            cells.longest = std::max(cells.longest, cells.texts.back().size());
            break;
        }
        case CellKind::truth: {
            const auto* truth = std::get_if<bool>(&cell);
            cells.truths.push_back(truth == nullptr ? '\0' : *truth ? 'T' : 'F');
            break;
        }
    }
}

Result<void> DiskTable::append(std::span<const Cell> row) {
    if (fits_ == nullptr) return fail(unwritable("it was finished or given up before"));
    if (row.size() != form_.columns.size()) {
        return fail({.what = fmt::format("The row has {} cells where the table has {} columns.", row.size(),
                                         form_.columns.size()),
                     .where = path_,
                     .mend = "Hand over one cell a column.",
                     .kind = ProblemKind::request});
    }
    for (std::size_t i = 0; i < row.size(); ++i) {
        if (auto problem = trouble(i, row[i])) return fail(std::move(*problem));
    }
    for (std::size_t i = 0; i < row.size(); ++i)
        take(i, row[i]);
    if (++n_waiting_ < rows_at_a_time) return {};
    write_waiting();
    if (status_ != 0) return fail(disk_problem());
    return {};
}

void DiskTable::widen_texts() {
    for (std::size_t i = 0; i < waiting_.size(); ++i) {
        Waiting& cells = waiting_[i];
        if (cells.longest <= cells.width) continue;
        // Room for the first rows is made to measure.
        cells.width = rows_ == 0 ? cells.longest : std::max(cells.longest, cells.width + cells.width / 2);
        fits_modify_vector_len(fits_, static_cast<int>(i) + 1, static_cast<LONGLONG>(cells.width), &status_);
    }
}

// Rows as they lie in the file. cfitsio's own routine for texts fills them with blanks, which some readers
// take for a part of them; a NUL ends a text without doubt (section 7.3.3.1).
void DiskTable::write_waiting() {
    widen_texts();
    bytes_.clear();
    for (std::size_t row = 0; row < n_waiting_; ++row) {
        for (std::size_t i = 0; i < waiting_.size(); ++i) {
            const Waiting& cells = waiting_[i];
            switch (form_.columns[i].kind) {
                case CellKind::number:
                    add_big_endian(bytes_, std::bit_cast<std::uint64_t>(cells.numbers[row]));
                    break;
                case CellKind::whole:
                    add_big_endian(bytes_, static_cast<std::uint64_t>(cells.wholes[row]));
                    break;
                case CellKind::text:
                    bytes_.insert(bytes_.end(), cells.texts[row].begin(), cells.texts[row].end());
                    bytes_.resize(bytes_.size() + cells.width - cells.texts[row].size(), '\0');
                    break;
                case CellKind::truth:
                    bytes_.push_back(static_cast<unsigned char>(cells.truths[row]));
                    break;
            }
        }
    }
    if (n_waiting_ > 0) {
        fits_write_tblbytes(fits_, static_cast<LONGLONG>(rows_) + 1, 1, static_cast<LONGLONG>(bytes_.size()),
                            bytes_.data(), &status_);
    }
    for (Waiting& cells : waiting_)
        cells.clear();
    rows_ += n_waiting_;
    n_waiting_ = 0;
}

// As the standard's appendix J. cfitsio's own routine would write the time of day into the comments, and the
// same table would never be the same file twice.
void DiskTable::write_checksums() {
    for (int part = 1; part <= 2; ++part) {
        unsigned long data_sum = 0, whole_sum = 0;
        int type = 0;
        fits_movabs_hdu(fits_, part, &type, &status_);
        fits_write_key_str(fits_, "CHECKSUM", "0000000000000000", "of this header and its data", &status_);
        fits_write_key_str(fits_, "DATASUM", "0", "of the data", &status_);
        fits_flush_file(fits_, &status_);
        fits_get_chksum(fits_, &data_sum, &whole_sum, &status_);
        const std::string sum = fmt::format("{}", data_sum);
        fits_modify_key_str(fits_, "DATASUM", sum.c_str(), "of the data", &status_);
        fits_get_chksum(fits_, &data_sum, &whole_sum, &status_);
        std::array<char, 17> code{};
        fits_encode_chksum(whole_sum, 1, code.data());
        fits_modify_key_str(fits_, "CHECKSUM", code.data(), "of this header and its data", &status_);
    }
}

Result<void> DiskTable::finish() {
    if (fits_ == nullptr) return fail(unwritable("it was finished or given up before"));
    write_waiting();
    if (status_ == 0) write_checksums();
    if (status_ != 0) return fail(disk_problem());
    fits_close_file(fits_, &status_);
    fits_ = nullptr;
    if (status_ == 0 && take_name(beside_, path_)) return {};
    const int why = errno;
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
    if (status_ != 0) return fail(disk_problem());
    return fail(unwritable(std::strerror(why)));
}

}  // namespace

Result<std::unique_ptr<TableWriter>> TableWriter::create(const std::string& path, TableForm form) {
    auto table = std::make_unique<DiskTable>(path, std::move(form));
    if (auto good = table->begin(); !good) return fail(good.error());
    return table;
}

}  // namespace emberline::frame
