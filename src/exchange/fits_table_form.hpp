// SPDX-License-Identifier: MIT
// exchange/fits_table_form — what the writer, the reader and the validator of FITS tables share. Private to
// this room.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>
#include <vector>

#include "exchange/table_columns.hpp"
#include "frame/fits_table.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

inline constexpr std::string_view level_keyword = "LEVEL";
inline constexpr std::string_view text_keyword = "TXTCODE", text_coding = "PERCENT";
// TRDIRn names the keywords of the direction: longitude, comma, latitude.
inline constexpr std::string_view direction_keywords = "RA,DEC";

struct TimeForm {
    std::string_view scale;  // TCTYP
    bool barycentric = false;
};
[[nodiscard]] std::optional<TimeForm> time_form(const TableColumn& column);

// Where the columns of the contract stand among those of the file.
struct FoundColumns {
    TableLevel level = TableLevel::night;
    std::vector<std::size_t> columns;
};
// Problem: a column that is missing, or of another kind.
[[nodiscard]] Result<FoundColumns> find_columns(const frame::FitsTable& table);
[[nodiscard]] TableLevel level_of_table(const frame::FitsTable& table);
[[nodiscard]] std::optional<std::size_t> column_named(const frame::FitsTable& table, std::string_view name);
// Whether the file's column can hold values of that kind.
[[nodiscard]] bool holds(const frame::FitsTable& table, const frame::FitsColumn& column, ColumnKind kind);
[[nodiscard]] bool is_text_coded(const frame::Header& header);

}  // namespace emberline::exchange
