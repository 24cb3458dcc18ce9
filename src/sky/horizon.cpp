// SPDX-License-Identifier: MIT
#include "sky/horizon.hpp"

#include <erfa.h>

#include <cmath>

#include "sky/time_scales.hpp"

namespace emberline::sky {

struct Horizon::Context {
    eraASTROM astrom{};
};

Horizon::Horizon(const Instant& instant, const Site& site) {
    const Instant utc = to_utc(instant);
    auto context = std::make_shared<Context>();
    double origins = 0.0;
    // A "dubious year" only means that UTC may be off by a second: see beyond_leap_second_table().
    eraApco13(utc.day, utc.fraction, 0.0, site.longitude.radians(), site.latitude.radians(), site.elevation_m,
              0.0, 0.0, 0.0, 0.0, 0.0, 0.55, &context->astrom, &origins);
    context_ = std::move(context);
}

HorizontalPosition Horizon::position(const SkyPosition& star) const {
    // Both take a non-const context and only read it.
    eraASTROM* astrom = const_cast<eraASTROM*>(&context_->astrom);
    double ra = 0.0, dec = 0.0, azimuth = 0.0, zenith = 0.0, hour_angle = 0.0, seen_dec = 0.0, seen_ra = 0.0;
    eraAtciq(star.ra.radians(), star.dec.radians(), 0.0, 0.0, 0.0, 0.0, astrom, &ra, &dec);
    eraAtioq(ra, dec, astrom, &azimuth, &zenith, &hour_angle, &seen_dec, &seen_ra);
    return {Angle::degrees(90.0) - Angle::radians(zenith), Angle::radians(azimuth)};
}

std::optional<double> Horizon::airmass(const SkyPosition& star) const {
    return sky::airmass(position(star).altitude);
}

HorizontalPosition horizontal(const Instant& instant, const SkyPosition& star, const Site& site) {
    return Horizon(instant, site).position(star);
}

std::optional<double> airmass(Angle true_altitude) {
    const double c = std::sin(true_altitude.radians());  // cosine of the true zenith distance
    if (!(c >= 0.0)) return std::nullopt;
    return (1.002432 * c * c + 0.148386 * c + 0.0096467) /
           (c * c * c + 0.149864 * c * c + 0.0102963 * c + 0.000303978);
}

std::optional<double> airmass(const Instant& instant, const SkyPosition& star, const Site& site) {
    return airmass(horizontal(instant, star, site).altitude);
}

Angle altitude_at_airmass(double x) {
    double low = 0.0, high = 90.0;  // airmass falls with altitude
    for (int k = 0; k < 60; ++k) {
        const double middle = 0.5 * (low + high);
        (airmass(Angle::degrees(middle)).value_or(1e9) > x ? low : high) = middle;
    }
    return Angle::degrees(0.5 * (low + high));
}

SkyPosition sun(const Instant& instant) {
    const Instant tdb = to_tdb(instant);
    double heliocentric[2][3] = {}, barycentric[2][3] = {};
    eraEpv00(tdb.day, tdb.fraction, heliocentric, barycentric);
    double towards[3] = {-heliocentric[0][0], -heliocentric[0][1], -heliocentric[0][2]};
    double ra = 0.0, dec = 0.0;
    eraC2s(towards, &ra, &dec);
    return {Angle::radians(ra).wrapped_positive(), Angle::radians(dec)};
}

SkyPosition moon(const Instant& instant) {
    const Instant tt = to_tt(instant);
    double pv[2][3] = {};
    eraMoon98(tt.day, tt.fraction, pv);
    double ra = 0.0, dec = 0.0;
    eraC2s(pv[0], &ra, &dec);
    return {Angle::radians(ra).wrapped_positive(), Angle::radians(dec)};
}

double moon_illuminated_fraction(const Instant& instant) {
    // The Sun is far behind: its elongation from the Moon stands for the phase angle within 0.2 degrees.
    const double elongation = separation(sun(instant), moon(instant)).radians();
    return 0.5 * (1.0 - std::cos(elongation));
}

}  // namespace emberline::sky
