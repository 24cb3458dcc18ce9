// SPDX-License-Identifier: MIT
// The validator of FITS tables, and what it shares with the reader.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "exchange/fits_table.hpp"
#include "exchange/fits_table_form.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

std::string numbered(std::string_view root, int number) {
    return fmt::format("{}{}", root, number);
}

std::string_view kind_in_words(ColumnKind kind) {
    switch (kind) {
        case ColumnKind::text:
            return "text";
        case ColumnKind::number:
            return "numbers";
        case ColumnKind::whole:
            return "whole numbers";
        case ColumnKind::truth:
            return "truth values";
    }
    return "text";
}

class TableChecker {
  public:
    TableChecker(const frame::FitsTable& table, Findings& findings)
        : header_(table.header), table_(table), findings_(findings) {}

    void check() {
        const auto wanted = columns_of(level_of_table(table_));
        for (const TableColumn& column : wanted)
            check_column(column);
        for (const frame::FitsColumn& column : table_.columns) {
            const bool known = std::any_of(wanted.begin(), wanted.end(), [&](const TableColumn& w) {
                return upper_case(w.name) == upper_case(column.name);
            });
            if (!known) warning(column.name, "The column is none of this table's; readers pass over it.");
        }
        check_time_frame();
        check_place();
    }

  private:
    void error(std::string field, std::string what) { findings_.error(0, std::move(field), std::move(what)); }
    void warning(std::string field, std::string what) {
        findings_.warning(0, std::move(field), std::move(what));
    }

    void check_column(const TableColumn& wanted) {
        const std::string name(wanted.name);
        const auto place = column_named(table_, wanted.name);
        if (!place) return error(name, "The column is missing.");
        const frame::FitsColumn& column = table_.columns[*place];
        if (!holds(table_, column, wanted.kind)) {
            error(name, fmt::format("The column must hold {}.", kind_in_words(wanted.kind)));
        }
        const std::string_view unit = wanted.unit;
        if (column.unit != unit) {
            error(name, unit.empty()
                            ? fmt::format("The unit '{}' stands where there is none.", column.unit)
                            : fmt::format("The unit is '{}' and should be '{}'.", column.unit, unit));
        }
        if (const auto time = time_form(wanted)) check_time(name, column.number, *time);
    }

    void check_time(const std::string& name, int number, const TimeForm& time) {
        const auto scale = header_.text(numbered("TCTYP", number));
        if (!scale) {
            error(name, fmt::format("TCTYP{} is missing: the time scale is {}.", number, time.scale));
        } else if (*scale != time.scale) {
            error(name, fmt::format("TCTYP{} is '{}' and should be '{}'.", number, *scale, time.scale));
        }
        if (header_.text(numbered("TCUNI", number)).value_or("d") != "d")
            error(name, fmt::format("TCUNI{} must be 'd': Julian dates are days.", number));
        const bool is_itself = header_.number(numbered("TCRPX", number)).value_or(0.0) == 0.0 &&
                               header_.number(numbered("TCRVL", number)).value_or(0.0) == 0.0 &&
                               header_.number(numbered("TCDLT", number)).value_or(1.0) == 1.0;
        if (!is_itself) {
            error(name, fmt::format("TCRPX{0}, TCRVL{0} and TCDLT{0} must be 0, 0 and 1: the column holds "
                                    "the time itself.",
                                    number));
        }
        // Without TRPOS the standard's default is the observer's place.
        const std::string clock = header_.text(numbered("TRPOS", number)).value_or("TOPOCENTER");
        const std::string_view due = time.barycentric ? "BARYCENTER" : "TOPOCENTER";
        if (clock != due) {
            error(name, fmt::format("TRPOS{} says {} where the clock stands at the {}.", number, clock, due));
        }
        if (time.barycentric) check_direction(name, number);
    }

    void check_direction(const std::string& name, int number) {
        const auto direction =
            header_.text(numbered("TRDIR", number)).value_or(header_.text("TREFDIR").value_or(""));
        if (direction.empty()) {
            return warning(name, fmt::format("TRDIR{} is missing: nobody can tell for which direction the "
                                             "light time was taken off.",
                                             number));
        }
        for (const std::string_view keyword : split(direction, ',')) {
            if (!header_.number(trimmed(keyword)))
                error(name,
                      fmt::format("TRDIR{} names {}, which is no keyword here.", number, trimmed(keyword)));
        }
    }

    void check_time_frame() {
        const auto scale = header_.text("TIMESYS");
        if (!scale) warning("TIMESYS", "The keyword is missing; readers take UTC.");
        if (scale && *scale != "UTC") error("TIMESYS", fmt::format("'{}' should be 'UTC'.", *scale));
        const auto from_jd = header_.number("JDREF"), from_mjd = header_.number("MJDREF");
        if (!from_jd && !header_.number("JDREFI")) {
            error("JDREF", "The keyword is missing: Julian dates count from JDREF = 0.");
        } else if (from_jd.value_or(header_.number("JDREFI").value_or(0.0)) != 0.0) {
            error("JDREF", "It must be 0: the columns hold whole Julian dates.");
        }
        // Of both, readers take MJDREF (section 9.2.2).
        if (from_mjd || header_.number("MJDREFI"))
            error("MJDREF", "It stands beside JDREF, and readers take it first: the dates would be shifted.");
    }

    void check_place() {
        const auto ra = header_.number("RA"), dec = header_.number("DEC");
        if (ra && !(*ra >= 0.0 && *ra < 360.0)) error("RA", "It must be 0 to 360 degrees.");
        if (dec && !(std::abs(*dec) <= 90.0)) error("DEC", "It must be -90 to +90 degrees.");
        if (ra.has_value() != dec.has_value()) error("RA", "RA and DEC go together.");
        if (ra && header_.text("RADESYS").value_or("ICRS") != "ICRS")
            error("RADESYS", "The position must be in ICRS.");
        int known = 0;
        for (const char* keyword : {"OBSGEO-X", "OBSGEO-Y", "OBSGEO-Z"})
            known += header_.number(keyword) ? 1 : 0;
        if (known == 1 || known == 2) error("OBSGEO-X", "OBSGEO-X, -Y and -Z go together.");
        if (known == 0 && header_.text("TREFPOS") == "TOPOCENTER")
            error("TREFPOS", "TOPOCENTER needs the place: OBSGEO-X, -Y and -Z.");
        if (known == 3) {
            const auto site = sky::site_from_geocentric(
                *header_.number("OBSGEO-X"), *header_.number("OBSGEO-Y"), *header_.number("OBSGEO-Z"));
            if (!site) error("OBSGEO-X", "The place is not on the Earth.");
        }
    }

    const frame::Header& header_;
    const frame::FitsTable& table_;
    Findings& findings_;
};

}  // namespace

std::optional<TimeForm> time_form(const TableColumn& column) {
    if (column.use == ColumnUse::jd_utc) return TimeForm{"UTC", false};
    if (column.use == ColumnUse::bjd_tdb) return TimeForm{"TDB", true};
    return std::nullopt;
}

std::optional<std::size_t> column_named(const frame::FitsTable& table, std::string_view name) {
    const auto found = std::find_if(table.columns.begin(), table.columns.end(), [&](const auto& column) {
        return upper_case(column.name) == upper_case(name);
    });
    if (found == table.columns.end()) return std::nullopt;
    return static_cast<std::size_t>(found - table.columns.begin());
}

// By the one column that a table of nights cannot have.
TableLevel level_of_table(const frame::FitsTable& table) {
    return column_named(table, "frame") ? TableLevel::frame : TableLevel::night;
}

bool holds(const frame::FitsTable& table, const frame::FitsColumn& column, ColumnKind kind) {
    if (kind == ColumnKind::text) return column.is_text;
    if (kind == ColumnKind::truth) return column.is_truth;
    if (column.is_text || column.is_truth) return false;
    if (kind == ColumnKind::number) return true;
    const std::string form = table.header.text(numbered("TFORM", column.number)).value_or("");
    return form.find_first_of("BIJK") != std::string::npos;
}

bool is_text_coded(const frame::Header& header) {
    return header.text(text_keyword) == text_coding;
}

Result<FoundColumns> find_columns(const frame::FitsTable& table) {
    FoundColumns found{level_of_table(table), {}};
    for (const TableColumn& column : columns_of(found.level)) {
        const auto place = column_named(table, column.name);
        if (place && holds(table, table.columns[*place], column.kind)) {
            found.columns.push_back(*place);
            continue;
        }
        return fail({.what = place ? fmt::format("The column does not hold {}.", kind_in_words(column.kind))
                                   : std::string("The column is missing."),
                     .where = fmt::format("column '{}'", column.name),
                     .mend = "Name a table that `emberline export --format fits` wrote."});
    }
    return found;
}

std::vector<Finding> check_fits_table(const std::string& path) {
    Findings findings;
    bool readable = false;
    const auto head = frame::for_each_fits_block(
        path,
        [&](const frame::FitsTable& table, std::size_t) {
            TableChecker(table, findings).check();
            readable = find_columns(table).has_value();
            return false;
        },
        1);
    if (!head) {
        findings.error(0, "", head.error().what + " " + head.error().mend);
        return std::move(findings).take();
    }
    const auto sum = frame::checksum_of_table(path);
    if (!sum) findings.error(0, "CHECKSUM", sum.error().what);
    if (sum == frame::Checksum::wrong)
        findings.error(0, "CHECKSUM", "The file was changed since it was written, or damaged.");
    if (sum == frame::Checksum::absent) findings.warning(0, "CHECKSUM", "CHECKSUM or DATASUM is missing.");
    if (readable) {
        const auto read = read_fits_rows(path, [&](TableLevel, std::span<const Cell>) { return true; });
        if (!read) findings.error(0, "", read.error().what);
    }
    return std::move(findings).take();
}

}  // namespace emberline::exchange
