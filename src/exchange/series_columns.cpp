// SPDX-License-Identifier: MIT
#include "exchange/series_columns.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <initializer_list>
#include <utility>

#include "quantities/text.hpp"
#include "standard/catalogue_units.hpp"

namespace emberline::exchange {
namespace {

using standard::RawCatalogue;
using standard::RawColumn;
using Names = std::initializer_list<std::string_view>;

// "flux_e" and the like stay whole; brackets and blanks at the ends go.
std::optional<std::size_t> named(const std::vector<RawColumn>& columns, Names names) {
    for (const std::string_view name : names) {
        for (std::size_t i = 0; i < columns.size(); ++i) {
            if (lower_case(trimmed(columns[i].name)) == name) return i;
        }
    }
    return std::nullopt;
}

bool starts_ucd(const RawColumn& column, std::string_view word) {
    const std::string ucd = lower_case(column.meaning);
    return ucd.starts_with(word) && (ucd.size() == word.size() || ucd[word.size()] == ';');
}

std::vector<std::size_t> meaning(const std::vector<RawColumn>& columns, std::string_view first,
                                 std::string_view also = {}) {
    std::vector<std::size_t> found;
    for (std::size_t i = 0; i < columns.size(); ++i) {
        if (starts_ucd(columns[i], first) && lower_case(columns[i].meaning).find(also) != std::string::npos)
            found.push_back(i);
    }
    return found;
}

std::optional<std::size_t> named_or_meaning(const std::vector<RawColumn>& columns, Names names,
                                            std::string_view first, std::string_view also = {}) {
    if (const auto column = named(columns, names)) return column;
    const auto found = meaning(columns, first, also);
    return found.size() == 1 ? std::optional(found[0]) : std::nullopt;
}

const Names mag_names{"mag", "magnitude"};
const Names err_names{"mag_err", "mag_error", "magerr",      "err",
                      "sigma",   "e_mag",     "e_magnitude", "uncertainty"};
const Names band_names{"band", "filter", "filt", "passband", "bandpass"};
const Names calendar_names{"date_obs", "date-obs", "isot", "utc", "datetime"};

// Words and numbers of a name: "JD - 2450000" is jd and 2450000.
std::vector<std::string> words_of(std::string_view name) {
    std::vector<std::string> words(1);
    for (const char c : name) {
        if (std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '.') {
            words.back() += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
        } else if (!words.back().empty()) {
            words.emplace_back();
        }
    }
    if (words.back().empty()) words.pop_back();
    return words;
}

std::optional<TimeScale> scale_of(std::string_view word) {
    const std::string lower = lower_case(trimmed(word));
    if (lower == "utc" || lower == "ut") return TimeScale::utc;  // within 0.9 s of each other
    if (lower == "tt") return TimeScale::tt;
    if (lower == "tdb") return TimeScale::tdb;
    if (lower == "tai") return TimeScale::tai;
    return std::nullopt;
}

struct NamedTime {
    TimeColumn column;
    bool scale_is_said = false;
};

// "jd", "mjd_utc", "BJD_TDB", "hjd-2450000". Nothing: no name of a time.
std::optional<NamedTime> time_by_name(std::string_view name) {
    struct Known {
        std::string_view word;
        bool modified;
        TimePlace place;
    };
    constexpr std::array<Known, 9> known{{{"jd", false, TimePlace::observer},
                                          {"jdate", false, TimePlace::observer},
                                          {"mjd", true, TimePlace::observer},
                                          {"hjd", false, TimePlace::sun},
                                          {"mhjd", true, TimePlace::sun},
                                          {"hmjd", true, TimePlace::sun},
                                          {"bjd", false, TimePlace::barycentre},
                                          {"mbjd", true, TimePlace::barycentre},
                                          {"bmjd", true, TimePlace::barycentre}}};
    const auto words = words_of(name);
    if (words.empty()) return std::nullopt;
    const auto base =
        std::find_if(known.begin(), known.end(), [&](const Known& k) { return k.word == words[0]; });
    if (base == known.end()) return std::nullopt;
    NamedTime time;
    time.column.origin_jd = base->modified ? jd_minus_mjd : 0.0;
    time.column.place = base->place;
    time.column.scale = base->place == TimePlace::barycentre ? TimeScale::tdb : TimeScale::utc;
    for (std::size_t i = 1; i < words.size(); ++i) {
        if (const auto scale = scale_of(words[i])) {
            time.column.scale = *scale;
            time.scale_is_said = true;
        } else if (const auto number = parse_number(words[i]); number && *number > 0.0) {
            time.column.origin_jd += *number;
        } else {
            return std::nullopt;
        }
    }
    return time;
}

class ColumnFinder {
  public:
    ColumnFinder(const RawCatalogue& table, const std::string& source)
        : table_(table), columns_(table.columns), source_(source) {}

    Result<SeriesColumns> find() {
        if (auto good = find_times(); !good) return fail(good.error());
        if (auto good = find_magnitudes(); !good) return fail(good.error());
        if (auto good = find_band(); !good) return fail(good.error());
        found_.is_limit = named(columns_, {"is_limit", "upper_limit", "upperlimit"});
        found_.series = named(columns_, {"series", "observer", "obscode", "observer_code", "observer code"});
        found_.flags = named(columns_, {"flags"});
        found_.flux_e = named(columns_, {"flux_e"});
        found_.flux_err_e = named(columns_, {"flux_err_e"});
        found_.zero_point = named(columns_, {"zero_point"});
        return std::move(found_);
    }

  private:
    [[nodiscard]] tl::unexpected<Problem> missing(std::string what, std::string mend) const {
        std::vector<std::string> names;
        for (const RawColumn& column : columns_)
            names.push_back(column.name);
        return fail({.what = std::move(what),
                     .where = fmt::format("{}, columns {}", source_, fmt::join(names, ", ")),
                     .mend = std::move(mend)});
    }
    [[nodiscard]] tl::unexpected<Problem> refuse(std::size_t column, std::string what,
                                                 std::string mend) const {
        return fail({.what = std::move(what),
                     .where = fmt::format("{}, column '{}'", source_, columns_[column].name),
                     .mend = std::move(mend)});
    }

    Result<void> find_times() {
        for (std::size_t i = 0; i < columns_.size(); ++i) {
            auto time = time_of(i);
            if (!time) return fail(time.error());
            if (*time) take(**time);
        }
        if (found_.time || found_.barycentric) return {};
        if (const auto column = named(columns_, calendar_names)) {
            found_.time = TimeColumn{.column = *column, .origin_jd = 0.0, .is_calendar = true};
            return {};
        }
        return missing("There is no column of times.",
                       "Name it jd, mjd (both UTC), hjd or bjd_tdb; or date_obs for calendar dates.");
    }

    // The first of its kind; the observer's own clock before one at the Sun.
    void take(const TimeColumn& time) {
        auto& place = time.place == TimePlace::barycentre ? found_.barycentric : found_.time;
        if (!place || (place->place == TimePlace::sun && time.place == TimePlace::observer)) place = time;
    }

    Result<std::optional<TimeColumn>> time_of(std::size_t i) {
        const RawColumn& column = columns_[i];
        const auto by_name = time_by_name(column.name);
        const bool by_meaning = starts_ucd(column, "time.epoch");
        const auto& system = !column.time.empty() || !(by_meaning || by_name) ? column.time : table_.time;
        if (!by_name && !by_meaning && system.empty()) return std::optional<TimeColumn>{};
        if (!column.unit.empty() && !standard::is_days(column.unit)) {
            return refuse(i, fmt::format("The times are in '{}', not in days.", column.unit),
                          "Give them in days, as JD, MJD or BJD (TDB).");
        }
        TimeColumn time = by_name ? by_name->column : TimeColumn{};
        time.column = i;
        if (auto good = take_system(system, time); !good) return fail(good.error());
        const bool scale_is_known = (by_name && by_name->scale_is_said) || scale_of(system.scale);
        if (time.place == TimePlace::barycentre && !scale_is_known) {
            found_.remarks.push_back(fmt::format(
                "The column {} does not say its scale: it is taken as TDB; were it UTC, the times "
                "would be a minute off.",
                column.name));
        }
        return std::optional(time);
    }

    // What the file says of its times in so many words goes before what the name says.
    Result<void> take_system(const standard::TimeSystem& system, TimeColumn& time) const {
        const std::string place = upper_case(system.place);
        if (place == "BARYCENTER") {
            time.place = TimePlace::barycentre;
            time.scale = TimeScale::tdb;
        } else if (place == "HELIOCENTER") {
            time.place = TimePlace::sun;
        } else if (!place.empty() && place != "UNKNOWN") {
            time.place = TimePlace::observer;
        }
        if (const auto scale = scale_of(system.scale)) {
            time.scale = *scale;
        } else if (!system.scale.empty() && upper_case(system.scale) != "UNKNOWN") {
            return refuse(time.column, fmt::format("The time scale '{}' is not known here.", system.scale),
                          "Convert the times to UTC, TT or TDB.");
        }
        // ECSV's words: a clock of TDB is not by itself one at the barycentre.
        const std::string form = lower_case(system.form);
        if (form == "mjd") {
            time.origin_jd = jd_minus_mjd;
        } else if (form == "jd") {
            time.origin_jd = 0.0;
        } else if (form == "isot" || form == "iso" || form == "fits") {
            time.is_calendar = true;
        } else if (!form.empty()) {
            return refuse(time.column, fmt::format("Times of the form '{}' are not known here.", form),
                          "Write them as jd, mjd or isot.");
        }
        if (system.origin.empty()) return {};
        if (lower_case(system.origin) == "mjd-origin") {
            time.origin_jd = jd_minus_mjd;
        } else if (lower_case(system.origin) == "jd-origin") {
            time.origin_jd = 0.0;
        } else if (const auto origin = parse_number(system.origin)) {
            time.origin_jd = *origin;
        } else {
            return refuse(time.column,
                          fmt::format("The origin of the times, '{}', is no Julian date.", system.origin),
                          "Write timeorigin as a Julian date, MJD-origin or JD-origin.");
        }
        return {};
    }

    Result<void> find_magnitudes() {
        const auto mag = named_or_meaning(columns_, mag_names, "phot.mag");
        if (!mag && meaning(columns_, "phot.mag").size() > 1) {
            return missing("Several columns are magnitudes.",
                           "Give one column of magnitudes, named mag, and one of bands, named band.");
        }
        if (!mag) return missing("There is no column of magnitudes.", "Name it mag.");
        const auto mag_unit = unit_of(*mag);
        if (!mag_unit) return fail(mag_unit.error());
        found_.mag = {*mag, *mag_unit};
        for (const auto& [place, column] :
             {std::pair(&found_.limit_mag,
                        named(columns_, {"limit_mag", "limiting_mag", "limiting_magnitude", "maglim"})),
              std::pair(&found_.err, named_or_meaning(columns_, err_names, "stat.error", "phot.mag")),
              std::pair(&found_.random_err, named(columns_, {"mag_err_random"})),
              std::pair(&found_.common_err, named(columns_, {"mag_err_common"}))}) {
            if (!column) continue;
            const auto unit = unit_of(*column);
            if (!unit) return fail(unit.error());
            *place = MagnitudeColumn{*column, *unit};
        }
        return {};
    }

    [[nodiscard]] Result<double> unit_of(std::size_t column) const {
        const std::string unit = lower_case(trimmed(columns_[column].unit));
        if (unit.empty() || unit == "mag" || unit == "mag(ab)" || unit == "mag(vega)") return 1.0;
        if (unit == "mmag") return 0.001;
        return refuse(column, fmt::format("The unit '{}' is none of magnitudes.", columns_[column].unit),
                      "Give the values in mag.");
    }

    Result<void> find_band() {
        found_.band = named_or_meaning(columns_, band_names, "instr.bandpass");
        if (!found_.band) found_.band = named_or_meaning(columns_, {}, "instr.filter");
        if (found_.band) return {};
        for (const standard::RawParameter& parameter : table_.parameters) {
            const std::string name = lower_case(parameter.name), ucd = lower_case(parameter.meaning);
            if (std::find(band_names.begin(), band_names.end(), name) != band_names.end() ||
                ucd.starts_with("instr.bandpass") || ucd.starts_with("instr.filter")) {
                found_.band_of_all = trimmed(parameter.value);
                return {};
            }
        }
        // "phot.mag;em.opt.V": the last letter is the band.
        const std::string& ucd = columns_[found_.mag.column].meaning;
        const auto optical = lower_case(ucd).find("em.opt.");
        if (optical != std::string::npos && ucd.size() > optical + 7) {
            found_.band_of_all = upper_case(ucd.substr(optical + 7, 1));
            return {};
        }
        return missing("There is no column of bands.", "Name it band.");
    }

    const RawCatalogue& table_;
    const std::vector<RawColumn>& columns_;
    const std::string& source_;
    SeriesColumns found_;
};

}  // namespace

bool are_of_a_series(const std::vector<RawColumn>& headings) {
    const bool times = std::any_of(headings.begin(), headings.end(), [](const RawColumn& c) {
        return time_by_name(c.name) || starts_ucd(c, "time.epoch") || !c.time.empty();
    });
    return (times || named(headings, calendar_names)) &&
           (named(headings, mag_names) || !meaning(headings, "phot.mag").empty());
}

Result<SeriesColumns> series_columns(const RawCatalogue& table, const std::string& source) {
    return ColumnFinder(table, source).find();
}

}  // namespace emberline::exchange
