// SPDX-License-Identifier: MIT
// Rows of a table as points, whatever kind of file the table came in.
#include <fmt/format.h>

#include <array>
#include <cmath>

#include "exchange/network_format.hpp"
#include "exchange/series_columns.hpp"
#include "exchange/series_formats.hpp"
#include "quantities/magnitude.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

using standard::RawCatalogue;
using standard::RawColumn;

constexpr double first_mjd = 3000.0, last_mjd = 200000.0;  // 1867: a smaller number may be a year; 2406

bool is_empty_word(std::string_view text) {
    const std::string word = lower_case(text);
    return word.empty() || word == "na" || word == "n/a" || word == "nan" || word == "null" ||
           word == "none" || word == "-" || word == "--" || word == "?";
}

std::optional<bool> parse_truth(std::string_view text) {
    const std::string word = lower_case(text);
    if (word == "1" || word == "true" || word == "t" || word == "yes" || word == "y") return true;
    if (is_empty_word(word) || word == "0" || word == "false" || word == "f" || word == "no" || word == "n") {
        return false;
    }
    return std::nullopt;
}

class TableReader {
  public:
    TableReader(const RawCatalogue& table, const SeriesColumns& columns, const std::string& source)
        : table_(table), columns_(columns), source_(source), points_(source) {}

    Result<Series> read() {
        for (const std::string& remark : table_.remarks)
            points_.say(remark);
        for (const std::string& remark : columns_.remarks)
            points_.say(remark);
        for (const auto& time : {columns_.time, columns_.barycentric}) {
            if (!time) continue;
            if (auto good = check_dates(*time); !good) return fail(good.error());
        }
        for (std::size_t row = 0; row < table_.rows; ++row) {
            if (auto good = read(row); !good) points_.leave_out(good.error());
        }
        return std::move(points_).finish();
    }

  private:
    // Numbers that came as bytes are written out as briefly as they can be read again.
    [[nodiscard]] std::string text(std::size_t row, std::size_t column) const {
        const RawColumn& c = table_.columns[column];
        if (c.is_text) return c.texts[row];
        return std::isfinite(c.numbers[row]) ? fmt::format("{}", c.numbers[row]) : std::string();
    }

    [[nodiscard]] std::string place(std::size_t row) const {
        return table_.lines.empty() ? fmt::format("row {}", row + 1)
                                    : fmt::format("line {}", table_.lines[row]);
    }

    [[nodiscard]] std::string place(std::size_t row, std::string_view column) const {
        std::string where = fmt::format("{}, {}", source_, place(row));
        if (!column.empty()) where += fmt::format(", column '{}'", column);
        return where;
    }

    [[nodiscard]] tl::unexpected<Problem> refuse(std::size_t row, std::size_t column, std::string what,
                                                 std::string mend) const {
        return fail({.what = std::move(what),
                     .where = place(row, table_.columns[column].name),
                     .mend = std::move(mend)});
    }

    // The scale of dates is one for the whole column: a single date of another one refuses the file.
    [[nodiscard]] Result<void> check_dates(const TimeColumn& time) const {
        if (time.is_calendar) return {};
        const bool modified = time.origin_jd == jd_minus_mjd;
        if (!modified && time.origin_jd != 0.0) return {};
        for (std::size_t row = 0; row < table_.rows; ++row) {
            const std::string words = text(row, time.column);
            const auto value = parse_number(words);
            if (!value) continue;
            if (modified && is_julian_date(*value)) {
                return refuse(row, time.column,
                              fmt::format("{} looks like a Julian date, not a modified one.", words),
                              "Rename the column to jd.");
            }
            if (!modified && *value >= first_mjd && *value <= last_mjd) {
                return refuse(row, time.column,
                              fmt::format("{} looks like a modified Julian date, not a whole one.", words),
                              "Rename the column to mjd if 2400000.5 was taken off, to jd-2400000 if it was "
                              "2400000: the two are half a day apart.");
            }
        }
        return {};
    }

    Result<void> read(std::size_t row) {
        lightcurve::Point point;
        const auto mag = read_magnitude(row, point.is_limit);
        if (!mag) return fail(mag.error());
        if (!*mag) {
            points_.leave_out_without_magnitude();
            return {};
        }
        const auto time = read_time(row, columns_.time);
        if (!time) return fail(time.error());
        const auto barycentric = read_time(row, columns_.barycentric);
        if (!barycentric) return fail(barycentric.error());
        if (!*time && !*barycentric) {
            const auto& column = columns_.time ? columns_.time : columns_.barycentric;
            return refuse(row, column->column, "The time is missing.", "Give it, or remove the row.");
        }
        std::array<std::optional<double>, 3> errs;
        if (!point.is_limit) {
            auto read = read_errors(row);
            if (!read) return fail(read.error());
            errs = *read;
        }
        const std::string name = columns_.band ? text(row, *columns_.band) : columns_.band_of_all;
        const auto band = points_.band(name);
        if (!band) {
            points_.leave_out_band(name,
                                   place(row, columns_.band ? table_.columns[*columns_.band].name : ""));
            return {};
        }
        points_.take_time(point, *time, columns_.time ? columns_.time->place : TimePlace::observer,
                          *barycentric);
        if (point.is_limit) {
            point.limit_mag = **mag;
            take_flux(row, point);
        } else {
            point.magnitude_mag = **mag;
            const auto& [total, random, common] = errs;
            points_.take_error(point, columns_.random_err ? random : total);
            if (columns_.common_err) point.common_err_mag = {common.value_or(0.0)};
        }
        if (columns_.flags) {
            if (const auto caveats = parse_caveats(text(row, *columns_.flags))) point.caveats = *caveats;
        }
        point.label = place(row);
        std::string series = columns_.series ? text(row, *columns_.series) : std::string();
        points_.add(series.empty() ? points_.own_name() : series, *band, std::move(point));
        return {};
    }

    [[nodiscard]] Result<std::optional<Instant>> read_time(std::size_t row,
                                                           const std::optional<TimeColumn>& time) const {
        if (!time) return std::optional<Instant>{};
        const std::string words = text(row, time->column);
        if (is_empty_word(words)) return std::optional<Instant>{};
        if (time->is_calendar) {
            std::string date = words;
            if (date.size() > 10 && date[10] == ' ') date[10] = 'T';
            const auto calendar = sky::parse_calendar(date);
            if (!calendar || !calendar->has_time) {
                return refuse(row, time->column, fmt::format("'{}' is no date with a time of day.", words),
                              "Write it as 2024-02-03T21:04:05.");
            }
            const auto instant = sky::instant_of(*calendar, time->scale);
            if (!instant) return refuse(row, time->column, instant.error().what, instant.error().mend);
            return std::optional(*instant);
        }
        const auto value = parse_number(words);
        if (!value) {
            return refuse(row, time->column, fmt::format("'{}' is not a number of days.", words),
                          "Give the date as a number of days.");
        }
        const bool may_be_a_year = time->origin_jd == jd_minus_mjd && *value < first_mjd;
        if (!is_julian_date(time->origin_jd + *value) || may_be_a_year) {
            return refuse(row, time->column, fmt::format("{} is no date of these centuries.", words),
                          "Give the date in days, as JD, MJD or BJD (TDB).");
        }
        return std::optional(sky::from_jd(time->origin_jd, *value, time->scale));
    }

    // Nothing where the row has no magnitude.
    [[nodiscard]] Result<std::optional<double>> read_magnitude(std::size_t row, bool& is_limit) const {
        if (columns_.is_limit) {
            const std::string words = text(row, *columns_.is_limit);
            const auto truth = parse_truth(words);
            if (!truth) {
                return refuse(row, *columns_.is_limit, fmt::format("'{}' is neither yes nor no.", words),
                              "Write 1 for a limit, 0 for a detection.");
            }
            is_limit = *truth;
        }
        MagnitudeColumn from = columns_.mag;
        std::string words = text(row, from.column);
        if (is_limit && columns_.limit_mag && is_empty_word(words)) {
            from = *columns_.limit_mag;
            words = text(row, from.column);
        }
        if (is_empty_word(words)) return std::optional<double>{};
        std::string_view digits = words;
        if (digits.front() == '<' || digits.front() == '>') {
            is_limit = true;
            digits.remove_prefix(1);
        }
        const auto mag = parse_number(digits);
        if (!mag) {
            return refuse(row, from.column, fmt::format("'{}' is not a magnitude.", words),
                          "Leave the field empty where there is none.");
        }
        if (std::abs(*mag * from.unit_mag) > faintest_mag) return std::optional<double>{};
        return std::optional(*mag * from.unit_mag);
    }

    // The whole error, its random and its common part, where they are.
    [[nodiscard]] Result<std::array<std::optional<double>, 3>> read_errors(std::size_t row) const {
        std::array<std::optional<double>, 3> errs;
        const std::array columns{columns_.err, columns_.random_err, columns_.common_err};
        for (std::size_t i = 0; i < columns.size(); ++i) {
            if (!columns[i]) continue;
            const std::string words = text(row, columns[i]->column);
            if (is_empty_word(words)) continue;
            const auto err = parse_number(words);
            if (!err) {
                return refuse(row, columns[i]->column,
                              fmt::format("'{}' is not the error of a magnitude.", words),
                              "Give one standard deviation in magnitudes, or leave the field empty.");
            }
            const double err_mag = *err * columns[i]->unit_mag;
            if (std::abs(err_mag) <= faintest_mag) errs[i] = err_mag;
        }
        return errs;
    }

    // What a limit of our own tables was made from: more than the limit itself says.
    void take_flux(std::size_t row, lightcurve::Point& point) const {
        if (!columns_.flux_e || !columns_.flux_err_e || !columns_.zero_point) return;
        const auto flux_e = parse_number(text(row, *columns_.flux_e));
        const auto err_e = parse_number(text(row, *columns_.flux_err_e));
        const auto zero_mag = parse_number(text(row, *columns_.zero_point));
        if (!flux_e || !err_e || !zero_mag || !(*err_e > 0.0)) return;
        const double scale = flux_ratio(*zero_mag - lightcurve::flux_zero_mag);
        point.flux = Flux{*flux_e * scale, *err_e * scale};
    }

    const RawCatalogue& table_;
    const SeriesColumns& columns_;
    const std::string& source_;
    SeriesPoints points_;
};

}  // namespace

Result<Series> series_of_columns(const RawCatalogue& table, const std::string& source) {
    const auto columns = series_columns(table, source);
    if (!columns) return fail(columns.error());
    return TableReader(table, *columns, source).read();
}

}  // namespace emberline::exchange
