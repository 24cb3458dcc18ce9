// SPDX-License-Identifier: MIT
#include "exchange/series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <initializer_list>
#include <map>
#include <optional>

#include "quantities/delimited_table.hpp"
#include "quantities/instant.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

// Nothing in the sky is outside: 99.99 and -99 are other people's words for "none".
constexpr double faintest_mag = 60.0;
constexpr double first_jd = 2300000.0, last_jd = 2600000.0;  // 1585 to 2406
constexpr double first_mjd = 3000.0;                         // 1867: a smaller number may be a year

struct Columns {
    std::optional<std::size_t> jd, mjd, bjd_tdb, band, mag, mag_err, limit;
};

std::optional<std::size_t> find_column(const DelimitedTable& table,
                                       std::initializer_list<std::string_view> names) {
    for (const std::string_view name : names) {
        for (std::size_t i = 0; i < table.columns.size(); ++i) {
            if (lower_case(table.columns[i]) == name) return i;
        }
    }
    return std::nullopt;
}

Result<Columns> find_columns(const DelimitedTable& table) {
    const Columns columns{
        .jd = find_column(table, {"jd", "jd_utc"}),
        .mjd = find_column(table, {"mjd", "mjd_utc"}),
        .bjd_tdb = find_column(table, {"bjd_tdb"}),
        .band = find_column(table, {"band", "filter"}),
        .mag = find_column(table, {"mag", "magnitude"}),
        .mag_err =
            find_column(table, {"mag_err", "mag_error", "magerr", "err", "sigma", "e_mag", "e_magnitude"}),
        .limit = find_column(table, {"is_limit", "upper_limit", "upperlimit"}),
    };
    const auto missing = [&](std::string what, std::string mend) {
        return fail({.what = std::move(what),
                     .where = fmt::format("{}, columns {}", table.source, fmt::join(table.columns, ", ")),
                     .mend = std::move(mend)});
    };
    if (!columns.jd && !columns.mjd && !columns.bjd_tdb) {
        return missing("There is no column of times.", "Name it jd, mjd (both UTC) or bjd_tdb.");
    }
    if (!columns.band) return missing("There is no column of bands.", "Name it band.");
    if (!columns.mag) return missing("There is no column of magnitudes.", "Name it mag.");
    return columns;
}

bool is_empty_word(std::string_view text) {
    const std::string word = lower_case(text);
    return word.empty() || word == "na" || word == "n/a" || word == "nan" || word == "null" ||
           word == "none" || word == "-" || word == "--";
}

std::optional<bool> parse_truth(std::string_view text) {
    const std::string word = lower_case(text);
    if (word == "1" || word == "true" || word == "t" || word == "yes" || word == "y") return true;
    if (is_empty_word(word) || word == "0" || word == "false" || word == "f" || word == "no" || word == "n") {
        return false;
    }
    return std::nullopt;
}

class SeriesReader {
  public:
    SeriesReader(const DelimitedTable& table, const Columns& columns) : table_(table), columns_(columns) {}

    Result<Series> read() {
        for (const TableRow& row : table_.rows) {
            if (auto good = read(row); !good) return fail(good.error());
        }
        Series series;
        const std::string name = std::filesystem::path(table_.source).stem().string();
        for (auto& [band, points] : points_) {
            lightcurve::LightCurve curve{
                .band = band, .series = {name}, .common_names = {}, .points = std::move(points)};
            lightcurve::sort_by_time(curve);
            series.curves.push_back(std::move(curve));
        }
        if (series.curves.empty()) {
            return fail({.what = "There is no point with a magnitude in the table.",
                         .where = table_.source,
                         .mend = "Each row gives a time, a band and a magnitude."});
        }
        series.remarks = remarks();
        return series;
    }

  private:
    tl::unexpected<Problem> refuse(const TableRow& row, std::size_t column, std::string what,
                                   std::string mend) const {
        return fail({.what = std::move(what),
                     .where = table_.place(row, table_.columns[column]),
                     .mend = std::move(mend)});
    }

    Result<void> read(const TableRow& row) {
        const std::string& band_text = row.fields[*columns_.band];
        const auto band = parse_band(band_text);
        if (!band) return refuse(row, *columns_.band, band.error().what, band.error().mend);
        lightcurve::Point point;
        point.label = fmt::format("line {}", row.line);
        if (auto good = read_time(row, point); !good) return good;
        const auto mag = read_magnitude(row, point.is_limit);
        if (!mag) return fail(mag.error());
        if (!*mag) {
            ++without_magnitude_;
            return {};
        }
        if (point.is_limit) {
            point.limit_mag = **mag;
            ++limits_;
        } else {
            point.magnitude_mag = **mag;
            const auto err = read_error(row);
            if (!err) return fail(err.error());
            if (!*err) ++without_error_;
            point.random_err_mag = err->value_or(assumed_err_mag);
        }
        points_[*band].push_back(std::move(point));
        return {};
    }

    // A Julian date, whole, from one column.
    Result<double> read_date(const TableRow& row, std::size_t column, bool modified) const {
        const std::string& text = row.fields[column];
        const auto value = parse_number(text);
        if (!value) {
            return refuse(row, column, fmt::format("'{}' is not a number of days.", text),
                          "Give the date as a number of days.");
        }
        const bool is_whole = *value >= first_jd && *value <= last_jd;
        const bool is_modified = *value >= first_mjd && *value <= last_jd - jd_minus_mjd;
        if (modified ? is_modified : is_whole) return *value;
        if (is_whole) {
            return refuse(row, column, fmt::format("{} looks like a Julian date, not a modified one.", text),
                          "Rename the column to jd.");
        }
        if (is_modified) {
            return refuse(row, column,
                          fmt::format("{} looks like a modified Julian date, not a whole one.", text),
                          "Rename the column to mjd, or add 2400000.5 to its values.");
        }
        return refuse(row, column, fmt::format("{} is no date of these centuries.", text),
                      "Give the date in days, as JD, MJD or BJD (TDB).");
    }

    Result<void> read_time(const TableRow& row, lightcurve::Point& point) {
        std::optional<Instant> utc;
        if (columns_.jd) {
            const auto jd = read_date(row, *columns_.jd, false);
            if (!jd) return fail(jd.error());
            utc = sky::from_jd(*jd, TimeScale::utc);
        } else if (columns_.mjd) {
            const auto mjd = read_date(row, *columns_.mjd, true);
            if (!mjd) return fail(mjd.error());
            utc = sky::from_jd(jd_minus_mjd, *mjd, TimeScale::utc);
        }
        if (columns_.bjd_tdb && !is_empty_word(row.fields[*columns_.bjd_tdb])) {
            const auto bjd = read_date(row, *columns_.bjd_tdb, false);
            if (!bjd) return fail(bjd.error());
            point.bjd_tdb = *bjd;
            if (!utc) utc = sky::to_utc(sky::from_jd(*bjd, TimeScale::tdb));
        } else if (utc) {
            point.bjd_tdb = sky::to_tdb(*utc).jd();
            ++geocentric_;
        } else {
            return refuse(row, *columns_.bjd_tdb, "The time is missing.", "Give it, or remove the line.");
        }
        point.jd_utc = utc->jd();
        return {};
    }

    // Nothing where the row has no magnitude.
    Result<std::optional<double>> read_magnitude(const TableRow& row, bool& is_limit) const {
        if (columns_.limit) {
            const auto truth = parse_truth(row.fields[*columns_.limit]);
            if (!truth) {
                return refuse(row, *columns_.limit,
                              fmt::format("'{}' is neither yes nor no.", row.fields[*columns_.limit]),
                              "Write 1 for a limit, 0 for a detection.");
            }
            is_limit = *truth;
        }
        std::string_view text = row.fields[*columns_.mag];
        if (is_empty_word(text)) return std::optional<double>{};
        if (text.front() == '<' || text.front() == '>') {
            is_limit = true;
            text.remove_prefix(1);
        }
        const auto mag = parse_number(text);
        if (!mag || std::abs(*mag) > faintest_mag) {
            return refuse(row, *columns_.mag,
                          fmt::format("'{}' is not a magnitude.", row.fields[*columns_.mag]),
                          "Leave the field empty where there is none.");
        }
        return mag;
    }

    // Nothing where it is missing; zero is no error either.
    Result<std::optional<double>> read_error(const TableRow& row) const {
        if (!columns_.mag_err || is_empty_word(row.fields[*columns_.mag_err])) return std::optional<double>{};
        const std::string& text = row.fields[*columns_.mag_err];
        const auto err = parse_number(text);
        if (!err || *err < 0.0 || *err > faintest_mag) {
            return refuse(row, *columns_.mag_err, fmt::format("'{}' is not the error of a magnitude.", text),
                          "Give one standard deviation in magnitudes, or leave the field empty.");
        }
        return *err > 0.0 ? err : std::optional<double>{};
    }

    [[nodiscard]] std::vector<std::string> remarks() const {
        std::vector<std::string> said;
        const auto say = [&](std::size_t n, std::string_view one, std::string_view several) {
            if (n > 0) said.push_back(fmt::format("{} {}", n, n == 1 ? one : several));
        };
        say(without_magnitude_, "row has no magnitude and is left out.",
            "rows have no magnitude and are left out.");
        if (without_error_ > 0) {
            said.push_back(fmt::format("{} {} no error: {} mag is assumed.", without_error_,
                                       without_error_ == 1 ? "point has" : "points have", assumed_err_mag));
        }
        say(limits_, "limit is taken as one of 3 sigma.", "limits are taken as limits of 3 sigma.");
        if (geocentric_ > 0) {
            said.emplace_back("The times are not barycentric: they may be off by up to 8.3 minutes.");
        }
        return said;
    }

    const DelimitedTable& table_;
    const Columns& columns_;
    std::map<Band, std::vector<lightcurve::Point>> points_;
    std::size_t without_magnitude_ = 0, without_error_ = 0, limits_ = 0, geocentric_ = 0;
};

Result<Series> series_of(const DelimitedTable& table) {
    const auto columns = find_columns(table);
    if (!columns) return fail(columns.error());
    return SeriesReader(table, *columns).read();
}

}  // namespace

Result<Series> read_series(const std::string& path) {
    const auto table = read_table(path);
    if (!table) return fail(table.error());
    return series_of(*table);
}

Result<Series> parse_series(std::string_view text, std::string source) {
    const auto table = parse_table(text, std::move(source));
    if (!table) return fail(table.error());
    return series_of(*table);
}

}  // namespace emberline::exchange
