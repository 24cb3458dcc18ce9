// SPDX-License-Identifier: MIT
#include "sky/barycentre.hpp"

#include <erfa.h>
#include <erfam.h>

#include <array>
#include <cmath>

#include "sky/time_scales.hpp"

namespace emberline::sky {
namespace {

using Vector = std::array<double, 3>;

constexpr double light_time_of_au_s = ERFA_AULT;

Vector direction(const SkyPosition& star) {
    Vector out{};
    eraS2c(star.ra.radians(), star.dec.radians(), out.data());
    return out;
}

// The observer from the Earth's centre, au, along GCRS axes. UT1 = UTC: 0.9 s of turning is 0.4 km.
Vector observer_au(const Instant& utc, const Instant& tt, const Site& site) {
    double pv[2][3] = {};
    const double era = eraEra00(utc.day, utc.fraction);
    eraPvtob(site.longitude.radians(), site.latitude.radians(), site.elevation_m, 0.0, 0.0, 0.0, era, pv);
    double celestial_to_intermediate[3][3] = {};
    eraC2i06a(tt.day, tt.fraction, celestial_to_intermediate);
    Vector out{};
    eraTrxp(celestial_to_intermediate, pv[0], out.data());
    for (double& x : out)
        x /= ERFA_DAU;
    return out;
}

double correction_s(const Instant& instant, const SkyPosition& star, const std::optional<Site>& site,
                    bool barycentric) {
    const Instant utc = to_utc(instant);
    const Instant tt = to_tt(instant);
    const Instant tdb = to_tdb(instant);
    double heliocentric[2][3] = {}, barycentric_earth[2][3] = {};
    eraEpv00(tdb.day, tdb.fraction, heliocentric, barycentric_earth);
    const double(&earth)[3] = barycentric ? barycentric_earth[0] : heliocentric[0];
    Vector place{earth[0], earth[1], earth[2]};
    if (site) {
        const Vector observer = observer_au(utc, tt, *site);
        for (std::size_t i = 0; i < 3; ++i)
            place[i] += observer[i];
    }
    const Vector towards = direction(star);
    double projected = 0.0;
    for (std::size_t i = 0; i < 3; ++i)
        projected += place[i] * towards[i];
    return projected * light_time_of_au_s;
}

}  // namespace

double heliocentric_correction_s(const Instant& instant, const SkyPosition& star,
                                 const std::optional<Site>& site) {
    return correction_s(instant, star, site, false);
}

double barycentric_correction_s(const Instant& instant, const SkyPosition& star,
                                const std::optional<Site>& site) {
    return correction_s(instant, star, site, true);
}

double hjd_utc(const Instant& instant, const SkyPosition& star, const std::optional<Site>& site) {
    return to_utc(instant).jd() + heliocentric_correction_s(instant, star, site) / seconds_per_day;
}

double bjd_tdb(const Instant& instant, const SkyPosition& star, const std::optional<Site>& site) {
    return to_tdb(instant).jd() + barycentric_correction_s(instant, star, site) / seconds_per_day;
}

}  // namespace emberline::sky
