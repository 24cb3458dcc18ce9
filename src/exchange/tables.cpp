// SPDX-License-Identifier: MIT
#include "exchange/tables.hpp"

#include <ostream>

#include "exchange/table_text.hpp"

namespace emberline::exchange {
namespace {

std::unique_ptr<TableText> text_of(std::ostream& out, TableFormat format, TableLevel level,
                                   const TableMeta& meta) {
    switch (format) {
        case TableFormat::csv:
            return csv_text(out, level);
        case TableFormat::ecsv:
            return ecsv_text(out, level, meta);
        case TableFormat::votable:
            break;
    }
    return votable_text(out, level, meta);
}

}  // namespace

template <class Row>
TableWriter<Row>::TableWriter(std::ostream& out, TableFormat format, const TableMeta& meta)
    : text_(text_of(out, format, level_of<Row>, meta)) {}
template <class Row>
TableWriter<Row>::TableWriter(TableWriter&&) noexcept = default;
template <class Row>
TableWriter<Row>& TableWriter<Row>::operator=(TableWriter&&) noexcept = default;
template <class Row>
TableWriter<Row>::~TableWriter() = default;

template <class Row>
void TableWriter<Row>::write(const Row& row) {
    read_cells(row, cells_);
    text_->write(cells_);
}

template <class Row>
void TableWriter<Row>::finish() {
    text_->finish();
}

template class TableWriter<night::FrameMeasurement>;
template class TableWriter<night::NightMeasurement>;

}  // namespace emberline::exchange
