// SPDX-License-Identifier: MIT
#include "tasks/curves_of.hpp"

#include <algorithm>
#include <map>

#include "quantities/magnitude.hpp"

namespace emberline::tasks {
namespace {

lightcurve::Point point_of(const night::Measurement& m, const std::vector<std::string>& names,
                           double limit_sigma) {
    lightcurve::Point p;
    p.bjd_tdb = m.bjd_tdb;
    p.jd_utc = m.jd_utc;
    p.is_limit = m.is_limit;
    p.magnitude_mag = m.magnitude_mag;
    p.random_err_mag = m.random_err_mag;
    if (m.is_limit) p.limit_mag = m.limit_mag;
    p.limit_sigma = limit_sigma;
    const double scale = flux_ratio(m.zero_point_mag - lightcurve::flux_zero_mag);
    p.flux = Flux{m.flux_e.value * scale, m.flux_e.err * scale};
    p.common_err_mag.assign(names.size(), 0.0);
    for (const night::CommonComponent& c : m.common) {
        const auto at = std::find(names.begin(), names.end(), c.name);
        p.common_err_mag[static_cast<std::size_t>(at - names.begin())] = c.err_mag;
    }
    p.label = m.night;
    p.caveats = m.caveats;
    return p;
}

}  // namespace

std::vector<lightcurve::LightCurve> curves_of(const std::vector<night::Measurement>& measurements,
                                              double limit_sigma) {
    std::map<Band, std::vector<std::string>> names;
    for (const night::Measurement& m : measurements) {
        std::vector<std::string>& own = names[m.band];
        for (const night::CommonComponent& c : m.common) {
            if (std::find(own.begin(), own.end(), c.name) == own.end()) own.push_back(c.name);
        }
    }
    std::vector<lightcurve::LightCurve> curves;
    for (const auto& [band, own] : names) {
        lightcurve::LightCurve curve;
        curve.band = band;
        curve.common_names = own;
        for (const night::Measurement& m : measurements) {
            if (m.band == band) curve.points.push_back(point_of(m, own, limit_sigma));
        }
        lightcurve::sort_by_time(curve);
        curves.push_back(std::move(curve));
    }
    return curves;
}

Result<std::vector<Band>> bands_named(const std::vector<std::string>& names) {
    std::vector<Band> bands;
    for (const std::string& name : names) {
        auto band = parse_band(name);
        if (!band) {
            band.error().kind = ProblemKind::request;
            return fail(band.error());
        }
        bands.push_back(*band);
    }
    return bands;
}

}  // namespace emberline::tasks
