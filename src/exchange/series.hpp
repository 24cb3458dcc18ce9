// SPDX-License-Identifier: MIT
// exchange/series — other people's points: CSV with `jd`, `mjd` or `bjd_tdb`, `band`, `mag`, `mag_err`, and
// `is_limit` or `upper_limit`; other columns are ignored. Column names in any case; also read are jd_utc,
// filter, magnitude, and sigma, err, magerr, e_mag, e_magnitude, mag_error for the error.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

// For a point that comes without an error: what careful photometry through one filter usually reaches.
inline constexpr double assumed_err_mag = 0.05;

struct Series {
    std::vector<lightcurve::LightCurve> curves;  // one a band, by the band's name; named after the file
    std::vector<std::string> remarks;            // "3 points have no error: 0.05 mag is assumed."
};
// jd and mjd are UTC. A file does not say where its object stands, so that only `bjd_tdb` brings barycentric
// times: without it the geocentric TDB stands in, up to 8.3 minutes off, and a remark says so.
// A limit is marked by the column (1, true, t, yes, y; any case) or by '<' or '>' before the magnitude; it is
// taken as one of 3 sigma. A row without a magnitude is left out with a remark.
// Problem (file, line, column): no time column, a date in the wrong scale (an MJD under `jd`), a band
// unknown, a number that is none.
[[nodiscard]] Result<Series> read_series(const std::string& path);
[[nodiscard]] Result<Series> parse_series(std::string_view text, std::string source);

}  // namespace emberline::exchange
