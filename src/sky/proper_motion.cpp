// SPDX-License-Identifier: MIT
// Notation: α, δ position, rad; μ motion, rad a year (of α without cos δ, as ERFA has it); ϖ parallax,
// arcsec.
#include "sky/proper_motion.hpp"

#include <erfa.h>
#include <erfam.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline::sky {
namespace {

constexpr double rad_per_mas = ERFA_DAS2R / 1000.0;
constexpr double arcsec_per_mas = 1e-3;
constexpr double light_km_per_s = ERFA_CMPS / 1000.0;
constexpr double most_years_away = 10'000.0;  // motions are not known well enough to say more
// With no parallax a star is put so far away that it flies at a hundredth of the speed of light, as eraPmsafe
// does; at the poles that one finds no motion to do it by.
constexpr double most_speed_km_per_s = light_km_per_s / 100.0;
constexpr double km_per_s_of_au_per_year = 4.740470446;
// Tropical and Julian years differ by 2e-5: a mas in 5 arcsec, which no table is good to.

bool is_motion(const Motion& m) {
    const double all = m.ra_mas_per_year + m.dec_mas_per_year + m.parallax_mas + m.radial_velocity_km_per_s;
    return std::isfinite(all) &&
           std::hypot(m.ra_mas_per_year, m.dec_mas_per_year) <= most_motion_mas_per_year &&
           std::abs(m.radial_velocity_km_per_s) < light_km_per_s;
}

bool is_epoch(double jyear) {
    return std::isfinite(jyear) && std::abs(jyear - 2000.0) <= most_years_away;
}

}  // namespace

Result<SkyPosition> moved(const SkyPosition& position, const Motion& motion, double from_epoch_jyear,
                          double to_epoch_jyear) {
    if (!is_motion(motion)) {
        return fail({.what = fmt::format("{} and {} mas a year at {} km/s are no motion of a star.",
                                         motion.ra_mas_per_year, motion.dec_mas_per_year,
                                         motion.radial_velocity_km_per_s),
                     .mend = "Check the unit of the motions: milliarcseconds a year are meant, and km/s."});
    }
    if (!is_epoch(from_epoch_jyear) || !is_epoch(to_epoch_jyear)) {
        return fail({.what = fmt::format("From epoch {} to epoch {} is no span that a motion is good for.",
                                         from_epoch_jyear, to_epoch_jyear),
                     .mend = "Give epochs as Julian years, for example 2016.0."});
    }
    double from_day = 0.0, from_fraction = 0.0, to_day = 0.0, to_fraction = 0.0;
    eraEpj2jd(from_epoch_jyear, &from_day, &from_fraction);
    eraEpj2jd(to_epoch_jyear, &to_day, &to_fraction);
    const double least_parallax_mas = std::hypot(motion.ra_mas_per_year, motion.dec_mas_per_year) *
                                      km_per_s_of_au_per_year / most_speed_km_per_s;
    const double alpha = position.ra.radians(), delta = position.dec.radians();
    double ra = 0.0, dec = 0.0, unused_ra = 0.0, unused_dec = 0.0, unused_parallax = 0.0, unused_speed = 0.0;
    const int status =
        eraPmsafe(alpha, delta, motion.ra_mas_per_year * rad_per_mas / std::cos(delta),
                  motion.dec_mas_per_year * rad_per_mas,
                  std::max(motion.parallax_mas, least_parallax_mas) * arcsec_per_mas,
                  motion.radial_velocity_km_per_s, from_day, from_fraction, to_day, to_fraction, &ra, &dec,
                  &unused_ra, &unused_dec, &unused_parallax, &unused_speed);
    // 1 says that a parallax was put in where none was given: that is as it should be.
    if (status < 0 || status > 1 || !std::isfinite(ra) || !std::isfinite(dec)) {
        return fail({.what = "The motion is faster than half the speed of light: it is no motion of a star.",
                     .mend = "Check the radial velocity (km/s) and the parallax (mas)."});
    }
    return SkyPosition{Angle::radians(ra).wrapped_positive(), Angle::radians(dec)};
}

double epoch_jyear_of(double jd) {
    return eraEpj(jd, 0.0);
}

double epoch_jyear_of_besselian(double epoch_byear) {
    double day = 0.0, fraction = 0.0;
    eraEpb2jd(epoch_byear, &day, &fraction);
    return eraEpj(day, fraction);
}

SkyPosition from_fk4(const SkyPosition& b1950, double epoch_byear) {
    double ra = 0.0, dec = 0.0;
    eraFk45z(b1950.ra.radians(), b1950.dec.radians(), epoch_byear, &ra, &dec);
    double day = 0.0, fraction = 0.0;
    eraEpb2jd(epoch_byear, &day, &fraction);
    double icrs_ra = 0.0, icrs_dec = 0.0;
    eraFk5hz(ra, dec, day, fraction, &icrs_ra, &icrs_dec);
    return {Angle::radians(icrs_ra).wrapped_positive(), Angle::radians(icrs_dec)};
}

Motion motion_from_fk4(const SkyPosition& b1950, const Motion& motion) {
    double ra = 0.0, dec = 0.0, mu_ra = 0.0, mu_dec = 0.0, parallax = 0.0, speed = 0.0;
    const double delta = b1950.dec.radians();
    eraFk425(b1950.ra.radians(), delta, motion.ra_mas_per_year * rad_per_mas / std::cos(delta),
             motion.dec_mas_per_year * rad_per_mas, motion.parallax_mas * arcsec_per_mas,
             motion.radial_velocity_km_per_s, &ra, &dec, &mu_ra, &mu_dec, &parallax, &speed);
    return {mu_ra * std::cos(dec) / rad_per_mas, mu_dec / rad_per_mas, parallax / arcsec_per_mas, speed};
}

}  // namespace emberline::sky
