// SPDX-License-Identifier: MIT
// Other people's series in all their formats: refused in words, or points that go into a likelihood.
#include "exchange/series.hpp"

#include "fuzz/promise.hpp"

using namespace emberline;
using namespace emberline::fuzz;

namespace {

void check(const lightcurve::LightCurve& curve) {
    ensure(!curve.band.empty(), "a curve has a band");
    ensure(!curve.series.empty() && !curve.points.empty(), "a curve is somebody's and has points");
    for (std::size_t i = 0; i < curve.points.size(); ++i) {
        const lightcurve::Point& point = curve.points[i];
        ensure(i == 0 || curve.points[i - 1].bjd_tdb <= point.bjd_tdb, "points are in order of time");
        ensure(point.series < curve.series.size(), "a point is of one of the curve's series");
        ensure(std::isfinite(point.jd_utc), "a time is a number");
        const auto good = lightcurve::check_point(curve, i);
        ensure(good.has_value(), "a point goes into a likelihood", good ? "" : one_line(good.error()));
    }
}

bool same(const exchange::Series& a, const exchange::Series& b) {
    if (a.remarks != b.remarks || a.curves.size() != b.curves.size()) return false;
    for (std::size_t i = 0; i < a.curves.size(); ++i) {
        if (a.curves[i].band != b.curves[i].band || a.curves[i].points.size() != b.curves[i].points.size())
            return false;
        for (std::size_t k = 0; k < a.curves[i].points.size(); ++k) {
            const auto &p = a.curves[i].points[k], &q = b.curves[i].points[k];
            if (p.bjd_tdb != q.bjd_tdb || p.magnitude_mag != q.magnitude_mag || p.limit_mag != q.limit_mag)
                return false;
        }
    }
    return true;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text = text_of(data, size);
    const auto series = exchange::parse_series(text, "series");
    check_same(series, exchange::parse_series(text, "series"), same);
    if (!series) {
        fuzz::check(series.error());
        return 0;
    }
    for (const lightcurve::LightCurve& curve : series->curves)
        check(curve);
    return 0;
}
