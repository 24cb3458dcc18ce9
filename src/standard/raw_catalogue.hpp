// SPDX-License-Identifier: MIT
// standard/raw_catalogue — a catalogue as its file has it, whatever the kind of file: columns with their
// names and units, not yet understood. For this room and for exchange, whose series come in the same kinds
// of file.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace emberline::standard {

// More is no field of a telescope, and would be compared with its few hundred stars for ever.
inline constexpr std::size_t most_catalogue_rows = 1'000'000;

// What the file says of its positions; empty where it says nothing.
struct CoordinateSystem {
    std::string name;     // "ICRS", "eq_FK4"
    std::string equinox;  // "J2000": the axes
    std::string epoch;  // "J2016.0": the time at which the stars stood there. Never the same as the equinox!
};

// What the file says of the times of a column: TIMESYS of a VOTable, a serialised time of ECSV; empty where
// it says nothing.
struct TimeSystem {
    std::string scale;   // "TDB", "utc"
    std::string place;   // "BARYCENTER", "TOPOCENTER"
    std::string origin;  // the Julian date of 0: "2455197.5", "MJD-origin", "JD-origin"
    std::string form;    // of ECSV: "mjd", "jd", "isot"

    [[nodiscard]] bool empty() const {
        return scale.empty() && place.empty() && origin.empty() && form.empty();
    }
};

// A value that holds for the whole table.
struct RawParameter {
    std::string name, value;
    std::string meaning;  // UCD
};

struct RawColumn {
    std::string name, unit;
    std::string meaning;  // UCD
    bool is_text = true;
    std::vector<double> numbers;     // NaN: none
    std::vector<std::string> texts;  // empty: none; also beside numbers whose last digits a double would lose
    CoordinateSystem system;
    TimeSystem time;
};

struct RawCatalogue {
    std::vector<RawColumn> columns;
    std::size_t rows = 0;
    std::vector<std::size_t> lines;  // of each row; empty where the file has no lines
    CoordinateSystem system;         // of all columns that have none of their own
    TimeSystem time;                 // of the columns of times that have none of their own
    std::vector<RawParameter> parameters;
    std::vector<std::string> remarks;
};

// Asked once the headings are known: which columns are to be read. Nothing: not this table, look for another.
using WantedColumns =
    std::function<std::optional<std::vector<std::size_t>>(const std::vector<RawColumn>& headings)>;

}  // namespace emberline::standard
