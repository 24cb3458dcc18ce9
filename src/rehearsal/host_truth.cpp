// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <cmath>

#include "photometry/circle_pixel.hpp"
#include "quantities/magnitude.hpp"
#include "rehearsal/invented_campaign.hpp"
#include "rehearsal/light_path.hpp"
#include "rehearsal/plate.hpp"
#include "sky/barycentre.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

double within_circle(const LightMap& map, const frame::PixelPosition& centre, double radius_px) {
    const auto least = [&](double at) { return std::max(0, static_cast<int>(std::floor(at - radius_px))); };
    const auto most = [&](double at, int size) {
        return std::min(size - 1, static_cast<int>(std::ceil(at + radius_px)));
    };
    double sum = 0.0;
    for (int y = least(centre.y); y <= most(centre.y, map.height_px); ++y) {
        for (int x = least(centre.x); x <= most(centre.x, map.width_px); ++x) {
            sum += map.e[map.index(x, y)] *
                   photometry::circle_pixel_overlap(x - centre.x, y - centre.y, radius_px);
        }
    }
    return sum;
}

Instant middle_of(const PlannedFrame& frame) {
    return sky::later_by(frame.start_utc, 0.5 * frame.exposure_s);
}

LightPath path_of(const InventedCampaign& campaign, const PlannedFrame& frame) {
    return {campaign.instrument, frame.air, campaign.site, frame.band, middle_of(frame), frame.exposure_s};
}

}  // namespace

double host_in_aperture_e(const InventedCampaign& campaign, const PlannedFrame& frame, double radius_arcsec) {
    const InventedInstrument& instrument = campaign.instrument;
    if (!campaign.sky.host || !(radius_arcsec > 0.0)) return 0.0;
    const SkyPosition& place = campaign.sky.transient.position;
    const LightPath path = path_of(campaign, frame);
    const Plate plate(instrument, frame.pointing);
    LightMap map(instrument.width_px, instrument.height_px, 0.0);
    add_host(map, *campaign.sky.host, path.host_light(*campaign.sky.host, path.airmass(place), 1.0), plate,
             Moffat(spread_of(frame.air, instrument)));
    return within_circle(map, plate.truth(place), radius_arcsec / instrument.scale_arcsec_per_px);
}

Result<void> match_transient_to_host(InventedCampaign& campaign, const PlannedFrame& frame,
                                     double radius_arcsec, double ratio) {
    InventedTransient& transient = campaign.sky.transient;
    const LightPath path = path_of(campaign, frame);
    const double bjd_tdb = sky::bjd_tdb(middle_of(frame), transient.position, campaign.site);
    const double flux_e =
        path.flux_e(transient.magnitude(frame.band, bjd_tdb), transient.colour(frame.band, bjd_tdb),
                    path.airmass(transient.position));
    const double wanted_e = ratio * host_in_aperture_e(campaign, frame, radius_arcsec);
    if (!(flux_e > 0.0) || !(wanted_e > 0.0) || !std::isfinite(wanted_e)) {
        return fail({.what = "The transient cannot be matched to the host's light.",
                     .where = frame.path,
                     .mend = "Invent a host, choose a frame that shows it, and a ratio above 0.",
                     .kind = ProblemKind::request});
    }
    for (auto& [band, peak_mag] : transient.peak_mag)
        peak_mag -= 2.5 * std::log10(wanted_e / flux_e);
    return {};
}

}  // namespace emberline::rehearsal
