// SPDX-License-Identifier: MIT
// exchange/table_columns — what the exported tables hold, told once for every format: the columns of the
// frame and night tables (design section 2: their names and order are a contract) and what stands above the
// rows. Units are written as IVOA VOUnits 1.0 has them, UCDs as UCD1+. Feeds: exchange/tables (CSV, ECSV,
// VOTable), exchange/fits_table, exchange/table_check.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "night/measurement.hpp"
#include "quantities/band.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::exchange {

enum class TableLevel { night, frame };  // a row a night and band, or a row a frame
[[nodiscard]] std::string_view name(TableLevel level);

enum class ColumnKind { text, number, whole, truth };

// What a column's number means beyond its unit.
enum class ColumnUse {
    plain,
    jd_utc,     // a Julian date, scale UTC, at the observer's place
    bjd_tdb,    // a Julian date, scale TDB, at the barycentre of the solar system
    in_band,    // a magnitude, its error or its zero point, through the band of its row
    of_check,   // the same of the check star
    electrons,  // a number of electrons: VOUnits and FITS know no such unit, so that theirs is "count"
};

// A value of a row. A text is never absent: it is empty then.
using Cell = std::variant<std::monostate, std::string, double, long long, bool>;

struct TableColumn {
    std::string_view name;
    ColumnKind kind = ColumnKind::text;
    std::string_view unit;         // empty: none
    std::string_view description;  // ASCII
    std::string_view ucd;          // without the part of the spectrum
    int decimals = 0;              // that formats of text write of a number
    ColumnUse use = ColumnUse::plain;
};
template <class Row>
struct ColumnOf : TableColumn {
    Cell (*value)(const Row&) = nullptr;  // of its kind, or absent; numbers are finite and not yet rounded
};

// In the order of the contract. Row: night::NightMeasurement or night::FrameMeasurement.
template <class Row>
[[nodiscard]] std::span<const ColumnOf<Row>> columns_of();
template <>
[[nodiscard]] std::span<const ColumnOf<night::NightMeasurement>> columns_of();
template <>
[[nodiscard]] std::span<const ColumnOf<night::FrameMeasurement>> columns_of();
// The same without the getters.
[[nodiscard]] std::span<const TableColumn> columns_of(TableLevel level);

template <class Row>
void read_cells(const Row& row, std::vector<Cell>& cells) {
    cells.clear();
    for (const ColumnOf<Row>& column : columns_of<Row>())
        cells.push_back(column.value(row));
}

template <class Row>
inline constexpr TableLevel level_of = TableLevel::night;
template <>
inline constexpr TableLevel level_of<night::FrameMeasurement> = TableLevel::frame;

// What stands above the rows. Parts that are empty are not written.
struct TableMeta {
    std::string transient;                // as the network lists it
    std::optional<SkyPosition> position;  // of the transient
    std::string observer_code, observer_name;
    std::string chart;        // the comparison sequence's chart or catalogue identifier
    std::string software;     // that wrote the table
    std::string campaign;     // the name of its folder
    std::string solution;     // "campaign.ledger, solution 12"
    std::string ledger_link;  // URI reference of the ledger, seen from the table
    // In the rows: their photometric systems are described (VOTable). A band that is not listed is not.
    std::vector<Band> bands;
};
struct MetaEntry {
    std::string_view key;  // "transient", "observer", …
    std::string value;
    std::string_view description;  // ASCII
    std::string_view ucd;
};
// All but the position and the bands as words, the level and the time scales among them; always in one order.
[[nodiscard]] std::vector<MetaEntry> entries_of(const TableMeta& meta, TableLevel level);

// The column's UCD with the part of the spectrum behind its photometric word, "phot.mag;em.opt.V", as far as
// the bands agree on one: "em.opt" for optical ones, nothing for others or none.
[[nodiscard]] std::string ucd_in(const TableColumn& column, std::span<const Band> bands);

// Where the scale of magnitudes has its zero: "Vega" or "AB"; "" where the bands differ or there are none.
[[nodiscard]] std::string magnitude_system(std::span<const Band> bands);

// The identifier of a band in the way of IVOA PhotDM 1.1, section 3: facility/subcategory/band; with the
// system behind it, of its calibration. These bands are no instrument's own: the facility is "Emberline".
[[nodiscard]] std::string filter_identifier(const Band& band);
[[nodiscard]] std::string calibration_identifier(const Band& band);

// Text that every format can hold: control characters (a line's end among them) and bytes that are no UTF-8
// become U+FFFD.
[[nodiscard]] std::string printable(std::string_view text);

}  // namespace emberline::exchange
