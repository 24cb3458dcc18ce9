// SPDX-License-Identifier: MIT
#include "exchange/table_rows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <chrono>
#include <cmath>
#include <utility>

#include "quantities/band.hpp"
#include "quantities/caveat.hpp"
#include "quantities/instant.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

// The years 1900 to 2100: earlier or later is another day count, an MJD or a JD less 2400000.
constexpr double first_jd = 2415020.5, last_jd = 2488069.5;
// Light from the barycentre is at most 8.4 minutes early or late (1 au and the Sun's own way about it), and
// TDB has been 32 to 69 s ahead of UTC: with 1 s of margin for the next leap seconds' decades, 10 minutes.
constexpr double most_bjd_difference_d = 600.0 / seconds_per_day;
// Three numbers of five decimals.
constexpr double error_parts_margin_mag = 2e-5;

struct Range {
    std::string_view column;
    double low, high;
    bool open = false;  // `low` itself is no value
};
constexpr Range ranges[] = {
    {"exposure_s", 0.0, 1e7, true},
    {"airmass", 0.99, 60.0},  // formulas of airmass may fall short of 1 at the zenith by their own error
    {"mag", -30.0, 40.0},
    {"mag_err", 0.0, 10.0, true},
    {"mag_err_random", 0.0, 10.0, true},
    {"mag_err_common", 0.0, 10.0},
    {"limit_mag", -30.0, 40.0},
    {"fwhm_px", 0.0, 1e4, true},
    {"aperture_px", 0.0, 1e5, true},
    {"zero_point", -20.0, 60.0},
    {"zero_point_err", 0.0, 10.0},
    {"check_mag", -30.0, 40.0},
    {"check_residual", -70.0, 70.0},
    {"flux_err_e", 0.0, 1e15, true},
    {"n_comparison", 0.0, 1e9},
    {"n_frames", 0.0, 1e9},
    {"n_rejected", 0.0, 1e9},
};

const Range* range_of(std::string_view column) {
    const auto found = std::find_if(std::begin(ranges), std::end(ranges),
                                    [&](const Range& r) { return r.column == column; });
    return found == std::end(ranges) ? nullptr : found;
}

std::optional<double> number_in(const Cell& cell) {
    if (const auto* number = std::get_if<double>(&cell)) return *number;
    if (const auto* whole = std::get_if<long long>(&cell)) return static_cast<double>(*whole);
    return std::nullopt;
}

// The Julian date of its 0 h UTC. Nothing where the text is no date.
std::optional<double> jd_of_date(std::string_view text) {
    using namespace std::chrono;
    if (text.size() != 10 || text[4] != '-' || text[7] != '-') return std::nullopt;
    const auto year = parse_integer(text.substr(0, 4)), month = parse_integer(text.substr(5, 2)),
               day = parse_integer(text.substr(8, 2));
    if (!year || !month || !day || *month < 1 || *day < 1) return std::nullopt;
    const year_month_day date{std::chrono::year(static_cast<int>(*year)),
                              std::chrono::month(static_cast<unsigned>(*month)),
                              std::chrono::day(static_cast<unsigned>(*day))};
    if (!date.ok()) return std::nullopt;
    constexpr double jd_of_1970 = 2440587.5;
    return jd_of_1970 + static_cast<double>(sys_days(date).time_since_epoch().count());
}

// FNV-1a, 64 bits (Fowler, Noll, Vo), then stirred: neighbours must not fall together.
std::uint64_t hash_of(std::string_view text, std::uint64_t hash = 14695981039346656037U) {
    for (const char c : text)
        hash = (hash ^ static_cast<unsigned char>(c)) * 1099511628211U;
    hash ^= hash >> 29U;
    return hash * 0xbf58476d1ce4e5b9U;
}

constexpr std::size_t first_room = std::size_t{1} << 10U, most_room = std::size_t{1} << 21U;

}  // namespace

std::size_t SeenRows::place_of(std::uint64_t key) const {
    std::size_t at = static_cast<std::size_t>(key ^ (key >> 32U)) & (entries_.size() - 1);
    while (entries_[at].key != 0 && entries_[at].key != key)
        at = (at + 1) & (entries_.size() - 1);
    return at;
}

void SeenRows::grow() {
    std::vector<Entry> before(entries_.empty() ? first_room : entries_.size() * 2);
    before.swap(entries_);
    for (const Entry& entry : before) {
        if (entry.key != 0) entries_[place_of(entry.key)] = entry;
    }
}

bool SeenRows::full() const {
    return used_ * 4 >= most_room * 3;
}

std::optional<std::size_t> SeenRows::line_of(std::uint64_t key, std::size_t line) {
    key = std::max<std::uint64_t>(key, 1);
    if (!full() && used_ * 4 >= entries_.size() * 3) grow();
    Entry& entry = entries_[place_of(key)];
    if (entry.key == key) return entry.line;
    if (!full()) {
        entry = {key, static_cast<std::uint32_t>(line)};
        ++used_;
    }
    return std::nullopt;
}

RowChecker::RowChecker(TableLevel level, std::vector<bool> lacking, Findings& findings)
    : level_(level),
      findings_(findings),
      columns_(columns_of(level)),
      lacking_(std::move(lacking)),
      frame_(place("frame")),
      night_(place("night")),
      band_(place("band")),
      jd_utc_(place("jd_utc")),
      bjd_tdb_(place("bjd_tdb")),
      mag_(place("mag")),
      mag_err_(place("mag_err")),
      random_err_(place("mag_err_random")),
      common_err_(place("mag_err_common")),
      limit_mag_(place("limit_mag")),
      is_limit_(place("is_limit")),
      method_(place("method")),
      flags_(place("flags")) {}

RowChecker::Place RowChecker::place(std::string_view column) const {
    const auto found = std::find_if(columns_.begin(), columns_.end(),
                                    [&](const TableColumn& c) { return c.name == column; });
    const auto index = static_cast<std::size_t>(found - columns_.begin());
    if (found == columns_.end() || (index < lacking_.size() && lacking_[index]))
        return {column, std::nullopt};
    return {column, index};
}

std::optional<double> RowChecker::number(const Place& place) const {
    return place.index ? number_in(row_[*place.index]) : std::nullopt;
}

const std::string& RowChecker::text(const Place& place) const {
    static const std::string none;
    const auto* found = place.index ? std::get_if<std::string>(&row_[*place.index]) : nullptr;
    return found == nullptr ? none : *found;
}

bool RowChecker::truth(const Place& place) const {
    const auto* found = place.index ? std::get_if<bool>(&row_[*place.index]) : nullptr;
    return found != nullptr && *found;
}

bool RowChecker::is_there(const Place& place) const {
    return number(place).has_value();
}

void RowChecker::error(const Place& place, std::string what) {
    findings_.error(line_, std::string(place.name), std::move(what));
}

void RowChecker::check(std::size_t line, std::span<const Cell> row) {
    row_ = row;
    line_ = line;
    check_ranges();
    check_dates();
    check_words();
    check_magnitude();
    check_repeated();
}

void RowChecker::check_ranges() {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
        const TableColumn& column = columns_[i];
        if (i < lacking_.size() && lacking_[i]) continue;
        if (column.kind == ColumnKind::truth && std::holds_alternative<std::monostate>(row_[i]))
            error({column.name, i}, "The field is empty: it is either so or not.");
        if (column.kind == ColumnKind::whole && std::holds_alternative<std::monostate>(row_[i]))
            error({column.name, i}, "The field is empty: write 0 where there is none.");
        const auto value = number_in(row_[i]);
        if (!value) continue;
        if (column.use == ColumnUse::jd_utc || column.use == ColumnUse::bjd_tdb) {
            if (*value < first_jd || *value > last_jd) {
                const double by_mjd = *value + jd_minus_mjd;
                error({column.name, i},
                      fmt::format("{} is no Julian date of our times{}", *value,
                                  by_mjd > first_jd && by_mjd < last_jd ? "; it looks like an MJD." : "."));
            }
            continue;
        }
        const Range* range = range_of(column.name);
        if (range == nullptr) continue;
        if (*value < range->low || (range->open && *value == range->low) || *value > range->high) {
            error({column.name, i}, fmt::format("{} is not {} {} to {}.", *value,
                                                range->open ? "above" : "from", range->low, range->high));
        }
    }
}

void RowChecker::check_dates() {
    const auto jd = number(jd_utc_), bjd = number(bjd_tdb_);
    if (jd && bjd && std::abs(*bjd - *jd) > most_bjd_difference_d) {
        error(bjd_tdb_, fmt::format("It is {:.5f} d from jd_utc, and can be {:.4f} d at most.", *bjd - *jd,
                                    most_bjd_difference_d));
    }
    const std::string& night = text(night_);
    const auto midnight = jd_of_date(night);
    if (!midnight && night_.index) error(night_, fmt::format("{} is no date, YYYY-MM-DD.", in_quotes(night)));
    if (!midnight || !jd || *jd < first_jd || *jd > last_jd) return;
    // The evening's date, noon to noon of local mean time, at any longitude.
    if (*jd < *midnight || *jd > *midnight + 2.0)
        return error(night_, fmt::format("{} is not in the night of {}.", *jd, night));
    if (night < last_night_ && !order_said_) {
        order_said_ = true;
        findings_.warning(
            line_, std::string(night_.name),
            fmt::format("{} comes after {}: the rows are not in order of time.", night, last_night_));
    }
    last_night_ = night;
}

void RowChecker::check_words() {
    const std::string& band = text(band_);
    if (band_.index && (band.empty() || band != last_band_)) {
        const auto known = parse_band(band);
        if (!known) {
            error(band_, known.error().what);
        } else if (known->name() != band) {
            findings_.warning(line_, std::string(band_.name),
                              fmt::format("{} is written {} in our tables.", in_quotes(band), known->name()));
        } else {
            last_band_ = band;
        }
    }
    const auto flags = parse_caveats(text(flags_));
    if (!flags) error(flags_, flags.error().what);
    if (frame_.index && text(frame_).empty()) error(frame_, "The frame has no name.");
}

void RowChecker::check_magnitude() {
    check_error_parts();
    if (!is_limit_.index) return;
    const bool magnitude = is_there(mag_), limit = truth(is_limit_);
    if (limit) {
        check_limit();
    } else {
        if (magnitude && mag_err_.index && !is_there(mag_err_))
            error(mag_err_, "A magnitude stands without its error.");
        if (!magnitude && mag_.index && is_there(mag_err_))
            error(mag_err_, "An error stands without its magnitude.");
        if (!magnitude && level_ == TableLevel::night && mag_.index)
            error(mag_, "The night has neither a magnitude nor a limit.");
    }
    if ((magnitude || limit) && jd_utc_.index && !is_there(jd_utc_)) error(jd_utc_, "The date is missing.");
    if ((magnitude || limit) && method_.index && text(method_).empty())
        error(method_, "How the flux was measured is missing.");
}

void RowChecker::check_limit() {
    for (const Place* place : {&mag_err_, &random_err_, &common_err_}) {
        if (is_there(*place)) error(*place, "A limit has no error.");
    }
    if (level_ == TableLevel::frame) {
        if (is_there(mag_)) error(mag_, "A frame with a limit has no magnitude: the limit is in limit_mag.");
        if (limit_mag_.index && !is_there(limit_mag_)) error(limit_mag_, "The limit itself is missing.");
    } else if (mag_.index && !is_there(mag_)) {
        error(mag_, "The limit itself is missing.");
    }
}

void RowChecker::check_error_parts() {
    const auto total = number(mag_err_), random = number(random_err_);
    if (!total || !random || !common_err_.index) return;
    const double sum = std::hypot(*random, number(common_err_).value_or(0.0));
    if (std::abs(*total - sum) > error_parts_margin_mag)
        error(mag_err_, fmt::format("{} is not the sum of its parts in quadrature, {:.5f}.", *total, sum));
}

void RowChecker::check_repeated() {
    const bool frames = level_ == TableLevel::frame;
    if (!jd_utc_.index || (frames && !frame_.index)) return;
    // A file may hold several exposures, and two instruments may give a night and band each: they do not have
    // the same date and magnitude.
    std::uint64_t key = hash_of(text(frame_), hash_of(text(band_), hash_of(text(night_))));
    for (const Place* place : {&jd_utc_, &mag_})
        key = hash_of(std::string_view(), key ^ std::bit_cast<std::uint64_t>(number(*place).value_or(0.0)));
    if (const auto before = seen_.line_of(key, line_)) {
        findings_.error(line_, "",
                        fmt::format("The {} stands in line {} already.",
                                    level_ == TableLevel::frame ? "frame" : "row", *before));
    }
    if (seen_.full() && !full_said_) {
        full_said_ = true;
        findings_.warning(line_, "", "From here on rows are not looked for that stand twice.");
    }
}

}  // namespace emberline::exchange
