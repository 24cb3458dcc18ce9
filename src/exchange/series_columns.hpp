// SPDX-License-Identifier: MIT
// exchange/series_columns — which column of a table of points is what: by the names in use, and by UCDs, time
// systems and units where names do not tell. Private to this room.
// Sources: IVOA VOTable 1.5 (TIMESYS) and "The UCD1+ controlled vocabulary"; the names are common practice,
// no source.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "exchange/series_points.hpp"
#include "standard/raw_catalogue.hpp"

namespace emberline::exchange {

struct TimeColumn {
    std::size_t column = 0;
    double origin_jd = 0.0;    // added to its numbers
    bool is_calendar = false;  // "2024-02-03T21:04:05" instead of numbers
    TimeScale scale = TimeScale::utc;
    TimePlace place = TimePlace::observer;
};

// Of magnitudes or their errors, each in a unit of its own.
struct MagnitudeColumn {
    std::size_t column = 0;
    double unit_mag = 1.0;  // its numbers are multiplied by it
};

struct SeriesColumns {
    std::optional<TimeColumn> time;         // of the observer's clock, else of one at the Sun
    std::optional<TimeColumn> barycentric;  // one of the two is there
    MagnitudeColumn mag;
    std::optional<MagnitudeColumn> limit_mag, err, random_err, common_err;
    std::optional<std::size_t> band;
    std::string band_of_all;  // where there is no such column
    std::optional<std::size_t> is_limit, series, flags;
    std::optional<std::size_t> flux_e, flux_err_e, zero_point;  // of our own tables of frames
    std::vector<std::string> remarks;
};

// Whether times and magnitudes are among them.
[[nodiscard]] bool are_of_a_series(const std::vector<standard::RawColumn>& headings);

// Problem: no times, bands or magnitudes; two columns that both could be the magnitude; a unit or time scale
// that is not known here.
[[nodiscard]] Result<SeriesColumns> series_columns(const standard::RawCatalogue& table,
                                                   const std::string& source);

}  // namespace emberline::exchange
