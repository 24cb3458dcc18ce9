// SPDX-License-Identifier: MIT
// tasks/curve_words — nights, dates and intervals of a light curve as people write them, and the command line
// that asks for the same.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "tasks/curve.hpp"

namespace emberline::tasks {

struct CurveWords {
    std::vector<std::string> series, bands, models;
    std::string from, to;            // a night, 2024-03-10, or a Julian date; empty: open
    std::vector<std::string> rates;  // FROM:TO, each a date or a Julian date
    bool frames = false;
};

// "2024-03-10".
[[nodiscard]] bool is_date(std::string_view text);
// A Julian date as it stands, BJD (TDB); a date is 0 h UTC of that day. Problem (request): it is neither;
// `option` is where it was given.
[[nodiscard]] Result<double> read_moment(const std::string& text, std::string_view option);
// "FROM:TO". Problem (request): no interval, or one that ends before it begins.
[[nodiscard]] Result<lightcurve::Interval> read_interval(const std::string& text);

// Fills what the words say into the request; what is named twice counts once, series apart. From and to are
// nights by the date of their evening; of other people's points, which have no nights, a date is its whole
// UTC day. Problem (request): a date or interval that is none, an end before the beginning.
[[nodiscard]] Result<void> read_words(const CurveWords& words, CurveRequest& request);

[[nodiscard]] std::string command_line(const CurveWords& words);

}  // namespace emberline::tasks
