// SPDX-License-Identifier: MIT
#include "exchange/series_points.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

// One row in ten: more is a file that means something else, not a file with a few slips.
constexpr std::size_t rows_to_one_unread = 10;

// "Cousins_R", "SDSS-g": with blanks they are known.
std::optional<Band> known_band(std::string_view text) {
    if (auto band = parse_band(text)) return *band;
    std::string spaced(text);
    std::replace_if(
        spaced.begin(), spaced.end(), [](char c) { return c == '_' || c == '-' || c == '.'; }, ' ');
    if (auto band = parse_band(spaced)) return *band;
    return std::nullopt;
}

std::string counted(std::size_t n, std::string_view one, std::string_view several) {
    return fmt::format("{} {}", n, n == 1 ? one : several);
}

}  // namespace

SeriesPoints::SeriesPoints(std::string source)
    : source_(std::move(source)), own_name_(std::filesystem::path(source_).stem().string()) {}

std::optional<Band> SeriesPoints::band(std::string_view text, bool certain) {
    auto known = bands_.find(text);
    if (known == bands_.end()) known = bands_.emplace(std::string(text), known_band(text)).first;
    if (!certain && (text == "R" || text == "I")) doubtful_bands_.insert(known->first);
    return known->second;
}

// TDB − TT costs more than the rest of a row, and moves by 28 µs a day at most (1.66 ms × 2π a year): it is
// taken once a day. Dates of a double are no finer than 40 µs.
double SeriesPoints::tdb_jd(const Instant& instant) {
    if (instant.scale == TimeScale::tdb) return instant.jd();
    const Instant tt = sky::to_tt(instant);
    const double noon = std::floor(tt.jd() + 0.5);
    const auto [known, is_new] = tdb_minus_tt_d_.try_emplace(std::lround(noon));
    if (is_new) {
        const Instant at = sky::from_jd(noon, TimeScale::tt);
        const Instant tdb = sky::to_tdb(at);
        known->second = (tdb.day - at.day) + (tdb.fraction - at.fraction);
    }
    return tt.day + (tt.fraction + known->second);
}

void SeriesPoints::take_time(lightcurve::Point& point, const std::optional<Instant>& time, TimePlace place,
                             const std::optional<Instant>& barycentric) {
    if (barycentric) {
        point.bjd_tdb = tdb_jd(*barycentric);
    } else {
        point.bjd_tdb = tdb_jd(*time);
        ++(place == TimePlace::sun ? heliocentric_ : geocentric_);
    }
    point.jd_utc = sky::to_utc(time ? *time : *barycentric).jd();
}

void SeriesPoints::take_error(lightcurve::Point& point, std::optional<double> err_mag) {
    point.err_is_guess = !err_mag || !(*err_mag > 0.0);
    if (point.err_is_guess) ++without_error_;
    point.random_err_mag = point.err_is_guess ? assumed_err_mag : *err_mag;
}

void SeriesPoints::add(const std::string& series, const Band& band, lightcurve::Point point) {
    ++rows_;
    if (point.is_limit) ++limits_;
    const auto found = std::find(series_.begin(), series_.end(), series);
    const auto place = static_cast<std::size_t>(found - series_.begin());
    if (found == series_.end()) series_.push_back(series);
    points_[{band, place}].push_back(std::move(point));
}

void SeriesPoints::leave_out(Problem why) {
    ++rows_;
    ++unread_;
    if (!first_unread_) first_unread_ = std::move(why);
}

void SeriesPoints::leave_out_band(std::string_view name, std::string where) {
    ++rows_;
    Unknown& unknown = unknown_bands_[std::string(name)];
    if (++unknown.rows == 1) unknown.first = std::move(where);
}

Result<Series> SeriesPoints::finish() && {
    if (first_unread_ && unread_ * rows_to_one_unread >= rows_) {
        Problem problem = *first_unread_;
        if (unread_ > 1) problem.what += fmt::format(" {} of {} rows cannot be read.", unread_, rows_);
        return fail(std::move(problem));
    }
    if (points_.empty() && !unknown_bands_.empty()) {
        Problem problem = parse_band(unknown_bands_.begin()->first).error();
        problem.what = "No row is of a known band. " + problem.what;
        problem.where = unknown_bands_.begin()->second.first;
        problem.mend = "Write the band of each row by one of the known names, such as V or Rc.";
        return fail(std::move(problem));
    }
    if (points_.empty()) {
        return fail({.what = "There is no point with a magnitude in the file.",
                     .where = source_,
                     .mend = "Each row gives a time, a band and a magnitude."});
    }
    Series series;
    for (auto& [key, points] : points_) {
        lightcurve::LightCurve curve{.band = key.first,
                                     .series = {series_[key.second]},
                                     .common_names = {},
                                     .points = std::move(points)};
        if (std::any_of(curve.points.begin(), curve.points.end(),
                        [](const lightcurve::Point& p) { return !p.common_err_mag.empty(); })) {
            curve.common_names = {"calibration"};
        }
        lightcurve::sort_by_time(curve);
        series.curves.push_back(std::move(curve));
    }
    series.remarks = remarks();
    return series;
}

std::vector<std::string> SeriesPoints::remarks() const {
    std::vector<std::string> said = said_;
    if (first_unread_) {
        said.push_back(fmt::format(
            "{}; the first: {}",
            counted(unread_, "row cannot be read and is left out", "rows cannot be read and are left out"),
            one_line(*first_unread_)));
    }
    if (without_magnitude_ > 0) {
        said.push_back(counted(without_magnitude_, "row has no magnitude and is left out.",
                               "rows have no magnitude and are left out."));
    }
    if (differential_ > 0) {
        said.push_back(counted(differential_, "row is a difference of magnitudes and is left out.",
                               "rows are differences of magnitudes and are left out."));
    }
    for (const auto& [name, unknown] : unknown_bands_) {
        said.push_back(counted(unknown.rows,
                               fmt::format("row is of '{}', no known band, and is left out.", name),
                               fmt::format("rows are of '{}', no known band, and are left out.", name)));
    }
    if (!doubtful_bands_.empty()) {
        said.push_back(
            fmt::format("{} {} read as of Cousins' system; another one has other names: RJ, IJ, r, i.",
                        fmt::join(doubtful_bands_, " and "), doubtful_bands_.size() == 1 ? "is" : "are"));
    }
    if (without_error_ > 0) {
        said.push_back(fmt::format(
            "{} no error above zero: their scatter tells one where it can, else {} mag stands in.",
            counted(without_error_, "point has", "points have"), assumed_err_mag));
    }
    if (limits_ > 0) {
        said.push_back(
            counted(limits_, "limit is taken as one of 3 sigma.", "limits are taken as limits of 3 sigma."));
    }
    if (heliocentric_ > 0)
        said.emplace_back("The times are heliocentric: as barycentric ones they are off by a few seconds.");
    if (geocentric_ > 0)
        said.emplace_back("The times are not barycentric: they may be off by up to 8.3 minutes.");
    return said;
}

}  // namespace emberline::exchange
