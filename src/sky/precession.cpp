// SPDX-License-Identifier: MIT
#include "sky/precession.hpp"

#include <erfa.h>

#include "sky/time_scales.hpp"

namespace emberline::sky {

SkyPosition from_equinox_of_date(const SkyPosition& mean_place, const Instant& date) {
    const Instant tt = to_tt(date);
    double to_date[3][3], place[3], icrs[3];
    eraPmat06(tt.day, tt.fraction, to_date);
    eraS2c(mean_place.ra.radians(), mean_place.dec.radians(), place);
    eraTrxp(to_date, place, icrs);
    double ra = 0.0, dec = 0.0;
    eraC2s(icrs, &ra, &dec);
    return {Angle::radians(ra).wrapped_positive(), Angle::radians(dec)};
}

}  // namespace emberline::sky
