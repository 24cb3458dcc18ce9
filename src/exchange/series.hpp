// SPDX-License-Identifier: MIT
// exchange/series — other people's points: CSV with `jd`, `mjd` or `bjd_tdb`, `band`, `mag`, `mag_err`, and
// `is_limit` or `upper_limit`; other columns are ignored.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

struct Series {
    std::vector<lightcurve::LightCurve> curves;  // one a band
    std::vector<std::string> remarks;            // "3 points without an error: 0.05 mag assumed"
};
// Problem (file, line, column): no time column, a date in the wrong scale (an MJD under `jd`), a band
// unknown.
[[nodiscard]] Result<Series> read_series(const std::string& path);
[[nodiscard]] Result<Series> parse_series(std::string_view text, std::string source);

}  // namespace emberline::exchange
