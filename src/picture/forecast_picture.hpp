// SPDX-License-Identifier: MIT
// picture/forecast_picture — the nights to come on paper: the curve going on with its band, and below it the
// dark hours of each night and the Moon.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "lightcurve/forecast.hpp"
#include "lightcurve/light_curve.hpp"
#include "quantities/problem.hpp"

namespace emberline::picture {

struct BandAhead {
    lightcurve::LightCurve curve;
    std::vector<lightcurve::ForecastPoint> line;  // ascending; empty: points alone
    std::optional<double> depth_mag;              // of the instrument
};

struct NightAhead {
    double midnight_jd_utc = 0.0;
    double dark_h = 0.0, observable_h = 0.0;
    double moon_illuminated = 0.0;
};

struct ForecastPicture {
    std::string title, subtitle;
    std::vector<BandAhead> bands;
    std::vector<double> passes_mag;
    std::vector<NightAhead> nights;  // empty: no panel of them
};

// Points older than twice the nights ahead (and 20 days) are left out. SVG, PDF or PNG by the file's ending.
// Problem (storage): as draw_curve(); (input): nothing to draw.
[[nodiscard]] Result<void> draw_forecast(const ForecastPicture& picture, const std::string& path);

}  // namespace emberline::picture
