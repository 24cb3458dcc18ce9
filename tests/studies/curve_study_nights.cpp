// SPDX-License-Identifier: MIT
#include "curve_study_nights.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace curve_study {

using namespace emberline;
using lightcurve::LightCurve;
using lightcurve::Point;

double flux_of(double mag) {
    return flux_ratio(mag - lightcurve::flux_zero_mag);
}

Point seen(double bjd_tdb, double flux, double flux_err, bool keep_flux) {
    constexpr double limit_sigma = 3.0;
    Point point;
    point.bjd_tdb = point.jd_utc = bjd_tdb;
    if (flux < limit_sigma * flux_err) {
        point.is_limit = true;
        point.limit_sigma = limit_sigma;
        point.limit_mag = lightcurve::flux_zero_mag + magnitude_difference(limit_sigma * flux_err, 1.0);
    } else {
        point.magnitude_mag = lightcurve::flux_zero_mag + magnitude_difference(flux, 1.0);
        point.random_err_mag = mag_per_relative_flux * flux_err / flux;
    }
    if (keep_flux) point.flux = Flux{flux, flux_err};
    return point;
}

namespace {

struct Sky {
    double noise_flux = 0.0;  // one sigma, dark and clear
    double moon_phase = 0.0;  // of a lunation, on the first night
    double gap_from_d = 0.0, gap_d = 0.0;
};

double moonlight(const Sky& sky, double day) {
    constexpr double lunation_d = 29.53;
    return 0.5 * (1.0 - std::cos(2.0 * std::numbers::pi * (sky.moon_phase + day / lunation_d)));
}

}  // namespace

LightCurve observe(const TrueCurve& truth, const NightsOptions& options, numerics::Random& random) {
    constexpr double zero_point_err = 0.02, colour_err = 0.01, offset_err = 0.1;
    constexpr double scintillation = 0.01;  // of the flux
    constexpr double moon_noise = 3.0;      // times dark noise, added at full Moon
    constexpr double cloud_chance = 0.1, cloud_dims = 0.35;
    constexpr double second_deeper_mag = -0.7, second_nights = 0.35;
    const double span = options.to_d - options.from_d;
    const Sky sky{.noise_flux = flux_of(truth(first_bjd + options.to_d) + options.depth_mag) / 3.0,
                  .moon_phase = random.uniform(),
                  .gap_from_d = options.from_d + random.uniform(0.2, 0.8) * span,
                  .gap_d = random.uniform(0.05, 0.12) * span};
    const bool two = random.uniform() < options.two_observers;
    const double zero_point = options.common_errors ? random.gaussian() : 0.0;
    const double colour = options.common_errors ? random.gaussian() : 0.0;
    const double offset = random.gaussian();

    LightCurve curve;
    curve.band = parse_band("V").value();
    if (options.common_errors) curve.common_names = {"zero point", "colour term"};
    if (two) {
        curve.series.emplace_back("second");
        curve.common_names.emplace_back("offset of second");
    }
    const auto observe_once = [&](double day, bool second) {
        const double slope = 2.0 * (day - options.from_d) / span - 1.0;
        const double depth = flux_ratio(second ? second_deeper_mag : 0.0);
        const double throughput = random.uniform() < cloud_chance ? cloud_dims : 1.0;
        const double bjd = first_bjd + day;
        double mag = truth(bjd);
        std::vector<double> common;
        if (options.common_errors) {
            // A second observer's zero point is his own: only the offset speaks of it.
            common = {second ? 0.0 : zero_point_err, second ? 0.0 : colour_err * slope};
            mag += common[0] * zero_point + common[1] * colour;
        }
        if (two) {
            common.push_back(second ? offset_err : 0.0);
            mag += common.back() * offset;
        }
        const double flux = flux_of(mag);
        const double sky_noise =
            sky.noise_flux * depth * (1.0 + moon_noise * moonlight(sky, day)) / throughput;
        const double err = std::hypot(sky_noise, scintillation * flux);
        Point point = seen(bjd, flux + random.gaussian(0.0, err), err, !second);
        point.common_err_mag = common;
        point.series = second ? 1 : 0;
        curve.points.push_back(point);
    };
    for (double night = options.from_d; night <= options.to_d; night += 1.0) {
        const bool in_gap = night > sky.gap_from_d && night < sky.gap_from_d + sky.gap_d;
        const double chance = options.clear * (1.0 - 0.6 * moonlight(sky, night));
        if (!in_gap && random.uniform() < chance) observe_once(night + random.uniform(0.3, 0.5), false);
        if (two && random.uniform() < second_nights) observe_once(night + random.uniform(0.0, 0.3), true);
    }
    lightcurve::sort_by_time(curve);
    return curve;
}

}  // namespace curve_study
