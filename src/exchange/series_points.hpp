// SPDX-License-Identifier: MIT
// exchange/series_points — points gathered into curves, and what there is to say of them. Private to this
// room.
#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "exchange/series.hpp"
#include "quantities/instant.hpp"

namespace emberline::exchange {

// Nothing in the sky is outside: 99.99 and -99 are other people's words for "none".
inline constexpr double faintest_mag = 60.0;

// Where the clock of a time stands.
enum class TimePlace { observer, sun, barycentre };

class SeriesPoints {
  public:
    explicit SeriesPoints(std::string source);

    // The file's name without folder and ending: the series that has no name of its own.
    [[nodiscard]] const std::string& own_name() const { return own_name_; }

    // As parse_band(), and with a dash or a dot for the blank. `certain`: the file's own words leave no doubt
    // which system R and I are of.
    [[nodiscard]] std::optional<Band> band(std::string_view text, bool certain = false);
    // Time of the point, from one time or from two.
    void take_time(lightcurve::Point& point, const std::optional<Instant>& time, TimePlace place,
                   const std::optional<Instant>& barycentric);
    // An error of a magnitude; none, zero and negative leave a guess.
    void take_error(lightcurve::Point& point, std::optional<double> err_mag);
    void add(const std::string& series, const Band& band, lightcurve::Point point);

    void leave_out(Problem why);  // a row that cannot be read
    void leave_out_band(std::string_view name, std::string where);
    void leave_out_without_magnitude() { ++without_magnitude_; }
    void leave_out_differential() { ++differential_; }
    void say(std::string remark) { said_.push_back(std::move(remark)); }

    // Problem: nothing left, or too many rows that cannot be read (the first one).
    [[nodiscard]] Result<Series> finish() &&;

  private:
    [[nodiscard]] double tdb_jd(const Instant& instant);
    [[nodiscard]] std::vector<std::string> remarks() const;

    std::string source_, own_name_;
    std::map<std::string, std::optional<Band>, std::less<>> bands_;
    std::unordered_map<long, double> tdb_minus_tt_d_;  // by the day
    std::vector<std::string> series_;
    std::map<std::pair<Band, std::size_t>, std::vector<lightcurve::Point>> points_;
    struct Unknown {
        std::size_t rows = 0;
        std::string first;  // where
    };
    std::map<std::string, Unknown> unknown_bands_;
    std::set<std::string> doubtful_bands_;
    std::optional<Problem> first_unread_;
    std::size_t rows_ = 0, unread_ = 0, without_magnitude_ = 0, differential_ = 0, without_error_ = 0,
                limits_ = 0, geocentric_ = 0, heliocentric_ = 0;
    std::vector<std::string> said_;
};

}  // namespace emberline::exchange
