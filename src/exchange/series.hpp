// SPDX-License-Identifier: MIT
// exchange/series — other people's points, from the files in which they come. The kind of file is told by its
// content:
// - the variable-star network's Extended format (exchange/network_report); each #OBSCODE is a series;
// - CSV, or columns between tabs or semicolons;
// - ECSV (astropy APE 6), its serialised times included;
// - VOTable 1.0 to 1.5, with TIMESYS; columns are known by UCD where their names do not tell.
// Columns of a table, any case: a time (jd, mjd, hjd, bjd_tdb, with _utc, _tt or _tdb behind and with what
// was taken off, jd-2450000; or a calendar date, date_obs), band (filter), mag (magnitude), mag_err (err,
// sigma, uncertainty), is_limit (upper_limit), limit_mag; mag_err_random and mag_err_common where the two are
// told apart; series (observer, obscode) where several come in one file. Others are ignored. Needs:
// standard's readers of tables.  Feeds: lightcurve/merge_series.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

// For a point that comes without an error: what careful photometry through one filter usually reaches.
// common practice, no source
inline constexpr double assumed_err_mag = 0.05;

struct Series {
    // One a band and series, by the band's name, then as the series appear; each of one series, named by its
    // observer where the file tells, else after the file.
    std::vector<lightcurve::LightCurve> curves;
    std::vector<std::string> remarks;  // "3 points have no error above zero: …"
};
// Times without a scale are UTC; HJD too. A file does not say where its object stands, so that only BJD
// brings barycentric times: without it the geocentric TDB stands in, up to 8.3 minutes off, and a remark says
// so; from HJD it is a few seconds off. A limit is marked by its column (1, true, t, yes, y; any case) or by
// '<' or '>' before the magnitude; it is taken as one of 3 sigma. An error that is missing, zero or negative
// leaves assumed_err_mag and Point::err_is_guess.
// Left out with a remark: rows without a magnitude, of an unknown band, of differential magnitudes, and rows
// that cannot be read, as long as these are fewer than one in ten. Problem (file, line, column): more of
// these, no column of times, dates in another scale than their column says (an MJD under `jd`: it cannot be
// told from JD − 2400000, half a day away, so that it is never mended in silence), several stars in one
// report, a file that is none of the above.
[[nodiscard]] Result<Series> read_series(const std::string& path);
[[nodiscard]] Result<Series> parse_series(std::string_view text, const std::string& source);

}  // namespace emberline::exchange
