// SPDX-License-Identifier: MIT
// Exported tables in all their formats: the checker names what is wrong, and the cells of rows that it hands
// out are of their columns' kinds.
#include <sstream>

#include "exchange/fits_table.hpp"
#include "exchange/table_check.hpp"
#include "fuzz/fits_sketch.hpp"
#include "fuzz/promise.hpp"
#include "fuzz/scratch_file.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

void check(exchange::TableLevel level, std::span<const exchange::Cell> row) {
    const auto columns = exchange::columns_of(level);
    ensure(row.size() == columns.size(), "a row has a cell a column");
    for (std::size_t i = 0; i < row.size(); ++i) {
        const exchange::Cell& cell = row[i];
        const bool absent = std::holds_alternative<std::monostate>(cell);
        bool fits = false;
        switch (columns[i].kind) {
            case exchange::ColumnKind::text:
                fits = absent || std::holds_alternative<std::string>(cell);
                break;
            case exchange::ColumnKind::number:
                fits =
                    absent || (std::holds_alternative<double>(cell) && std::isfinite(std::get<double>(cell)));
                break;
            case exchange::ColumnKind::whole:
                fits = absent || std::holds_alternative<long long>(cell);
                break;
            case exchange::ColumnKind::truth:
                fits = absent || std::holds_alternative<bool>(cell);
                break;
        }
        ensure(fits, "a cell is of its column's kind", columns[i].name);
    }
}

void check(const std::vector<exchange::Finding>& findings) {
    ensure(findings.size() <= 1001, "a list of findings stays short");
    for (const exchange::Finding& finding : findings)
        ensure(!finding.what.empty(), "a finding says what is wrong", finding.field);
}

void check_text(const std::string& text) {
    std::istringstream in(text);
    std::size_t rows = 0;
    const auto checked = exchange::check_table(
        in, [&](exchange::TableLevel level, std::size_t, std::span<const exchange::Cell> row) {
            check(level, row);
            ++rows;
            return true;
        });
    check(checked.findings);
    ensure(rows == checked.rows, "as many rows are handed out as are counted");
    std::istringstream once_more(text);
    const auto again = exchange::check_table(once_more);
    ensure(again.rows == checked.rows && again.findings.size() == checked.findings.size() &&
               again.level == checked.level,
           "what is checked twice is found the same");
}

void check_fits(const std::string& bytes) {
    static const ScratchFile file;
    file.write(bytes);
    const auto findings = exchange::check_fits_table(file.path());
    check(findings);
    std::size_t rows = 0;
    const auto read = exchange::read_fits_rows(
        file.path(), [&](exchange::TableLevel level, std::span<const exchange::Cell> row) {
            check(level, row);
            ++rows;
            return true;
        });
    if (!read) {
        fuzz::check(read.error());
        ensure(exchange::any_error(findings), "what cannot be read has an error", one_line(read.error()));
        return;
    }
    ensure(read->rows == rows, "as many rows are handed out as are counted");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string bytes = fits_of(text_of(data, size));
    if (bytes.starts_with("SIMPLE") || bytes.starts_with("\x1f\x8b"))
        check_fits(bytes);
    else
        check_text(bytes);
    return 0;
}
