// SPDX-License-Identifier: MIT
#include "sky/horizon.hpp"

#include <erfa.h>

#include <cmath>
#include <numbers>

#include "sky/time_scales.hpp"

namespace emberline::sky {

struct Horizon::Context {
    eraASTROM astrom{};
    Site site;
    Instant instant;
};

namespace {

constexpr double metres_per_au = 149597870.7e3;

// ERFA takes non-const contexts that it only reads.
eraASTROM* readable(const eraASTROM& astrom) {
    return const_cast<eraASTROM*>(&astrom);
}

SkyPosition place_of(double direction[3]) {
    double ra = 0.0, dec = 0.0;
    eraC2s(direction, &ra, &dec);
    return {Angle::radians(ra).wrapped_positive(), Angle::radians(dec)};
}

// From the Earth's centre, along the axes of the ICRS.
void observer_au(const Site& site, const eraASTROM& astrom, double au[3]) {
    double pv[2][3] = {}, metres[3] = {};
    // The angle through which the Earth has turned is what `eral` holds beyond the longitude.
    eraPvtob(site.longitude.radians(), site.latitude.radians(), site.elevation_m, 0.0, 0.0, 0.0,
             astrom.eral - astrom.along, pv);
    eraTrxp(readable(astrom)->bpn, pv[0], metres);
    for (int k = 0; k < 3; ++k)
        au[k] = metres[k] / metres_per_au;
}

struct Seen {
    double azimuth = 0.0, zenith = 0.0, hour_angle = 0.0, dec = 0.0, ra = 0.0;  // radians
};
// Of an intermediate place.
Seen seen(double ra, double dec, const eraASTROM& astrom) {
    Seen out;
    eraAtioq(ra, dec, readable(astrom), &out.azimuth, &out.zenith, &out.hour_angle, &out.dec, &out.ra);
    return out;
}

Seen seen(const SkyPosition& star, const eraASTROM& astrom) {
    double ra = 0.0, dec = 0.0;
    eraAtciq(star.ra.radians(), star.dec.radians(), 0.0, 0.0, 0.0, 0.0, readable(astrom), &ra, &dec);
    return seen(ra, dec, astrom);
}

HorizontalPosition horizontal_of(const Seen& seen) {
    return {Angle::degrees(90.0) - Angle::radians(seen.zenith), Angle::radians(seen.azimuth)};
}

}  // namespace

Horizon::Horizon(const Instant& instant, const Site& site) {
    const Instant utc = to_utc(instant);
    auto context = std::make_shared<Context>();
    double origins = 0.0;
    // A "dubious year" only means that UTC may be off by a second: see beyond_leap_second_table().
    eraApco13(utc.day, utc.fraction, 0.0, site.longitude.radians(), site.latitude.radians(), site.elevation_m,
              0.0, 0.0, 0.0, 0.0, 0.0, 0.55, &context->astrom, &origins);
    context->site = site;
    context->instant = utc;
    context_ = std::move(context);
}

Horizon Horizon::turned_to(const Instant& instant) const {
    auto context = std::make_shared<Context>(*context_);
    context->instant = to_utc(instant);
    eraAper13(context->instant.day, context->instant.fraction, &context->astrom);
    Horizon out;
    out.context_ = std::move(context);
    return out;
}

HorizontalPosition Horizon::position(const SkyPosition& star) const {
    return horizontal_of(seen(star, context_->astrom));
}

HorizontalPosition Horizon::position_of_apparent(const SkyPosition& place) const {
    double direction[3] = {}, intermediate[3] = {};
    eraS2c(place.ra.radians(), place.dec.radians(), direction);
    eraRxp(readable(context_->astrom)->bpn, direction, intermediate);
    const SkyPosition turned = place_of(intermediate);
    return horizontal_of(seen(turned.ra.radians(), turned.dec.radians(), context_->astrom));
}

Angle Horizon::hour_angle(const SkyPosition& star) const {
    return Angle::radians(std::remainder(seen(star, context_->astrom).hour_angle, 2.0 * std::numbers::pi));
}

SkyPosition Horizon::apparent(const SkyPosition& star) const {
    double ra = 0.0, dec = 0.0, intermediate[3] = {}, direction[3] = {};
    eraASTROM* astrom = readable(context_->astrom);
    eraAtciq(star.ra.radians(), star.dec.radians(), 0.0, 0.0, 0.0, 0.0, astrom, &ra, &dec);
    eraS2c(ra, dec, intermediate);
    eraTrxp(astrom->bpn, intermediate, direction);
    return place_of(direction);
}

SkyPosition Horizon::apparent_sun() const {
    const Instant tdb = to_tdb(context_->instant);
    double heliocentric[2][3] = {}, barycentric[2][3] = {}, towards[3] = {}, direction[3] = {},
           natural[3] = {};
    eraEpv00(tdb.day, tdb.fraction, heliocentric, barycentric);
    double at_site_au[3] = {};
    observer_au(context_->site, context_->astrom, at_site_au);
    double distance_au = 0.0;
    for (int k = 0; k < 3; ++k)
        towards[k] = -heliocentric[0][k] - at_site_au[k];
    eraPn(towards, &distance_au, natural);
    eraAb(natural, readable(context_->astrom)->v, context_->astrom.em, context_->astrom.bm1, direction);
    return place_of(direction);
}

SkyPosition Horizon::apparent_moon() const {
    const Instant tt = to_tt(context_->instant);
    // Its light time is in the theory, and the Earth's motion about the Sun is the Moon's too: no aberration.
    double pv[2][3] = {}, at_site_au[3] = {};
    eraMoon98(tt.day, tt.fraction, pv);
    observer_au(context_->site, context_->astrom, at_site_au);
    for (int k = 0; k < 3; ++k)
        pv[0][k] -= at_site_au[k];
    return place_of(pv[0]);
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
    return place_of(towards);
}

SkyPosition moon(const Instant& instant) {
    const Instant tt = to_tt(instant);
    double pv[2][3] = {};
    eraMoon98(tt.day, tt.fraction, pv);
    return place_of(pv[0]);
}

double moon_illuminated_fraction(const Instant& instant) {
    // The Sun is far behind: its elongation from the Moon stands for the phase angle within 0.2 degrees.
    const double elongation = separation(sun(instant), moon(instant)).radians();
    return 0.5 * (1.0 - std::cos(elongation));
}

}  // namespace emberline::sky
