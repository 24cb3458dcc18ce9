// SPDX-License-Identifier: MIT
// Notation: s scatter of a sky pixel, r read noise, e; z zero point; F flux at one zero point for all.
#include "night/judge_night.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "night/flip_step.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"
#include "quantities/text.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;

constexpr double little_weight = 0.5;      // below it, what made it so is told
constexpr double dim_transparency = 0.75;  // against the night's best
constexpr double worse_than_usual = 1.25;  // widths and sky noise against the night's middle
constexpr double drawn_out = 1.5;

double middle_scatter_e(const FrameFluxes& frame) {
    std::vector<double> scatters;
    for (const photometry::StarFlux& star : frame.stars) {
        if (star.label != photometry::transient_label) scatters.push_back(star.sky_scatter_e);
    }
    return scatters.empty() ? 0.0 : numerics::median(std::move(scatters));
}

// By the noise of the pixels: their level holds the camera's offset.
double sky_light_e(const FrameFluxes& frame) {
    const double scatter = middle_scatter_e(frame);
    return std::max(0.0, scatter * scatter - frame.read_noise_e * frame.read_noise_e);
}

// Where the frame's middle points, by its plate solution and its stars' shift against it.
std::optional<SkyPosition> pointed_at(const FrameFluxes& f) {
    if (!f.middle_ra_deg || !f.middle_dec_deg) return std::nullopt;
    const double angle = Angle::degrees(f.rotation_deg).radians();
    const double hand = f.mirrored ? -1.0 : 1.0;
    const double x = -f.shift_x_px * f.scale_arcsec_per_px, y = -f.shift_y_px * f.scale_arcsec_per_px;
    const SkyOffset by{Angle::arcseconds(-hand * std::cos(angle) * x + std::sin(angle) * y),
                       Angle::arcseconds(hand * std::sin(angle) * x + std::cos(angle) * y)};
    return displaced({Angle::degrees(*f.middle_ra_deg), Angle::degrees(*f.middle_dec_deg)}, by);
}

double one_sigma_at_common_zero(const FrameMeasurement& m) {
    return m.flux_e.err * flux_ratio(m.zero_point_mag);
}

// What made a frame count for little, in words.
std::string why_little(const JudgedExposure& e, double usual_fwhm_arcsec, double usual_sky_e) {
    std::vector<std::string> causes;
    if (e.transparency && *e.transparency < dim_transparency)
        causes.push_back(fmt::format("{:.0f} % of the light came through", 100.0 * *e.transparency));
    if (e.fwhm_arcsec > worse_than_usual * usual_fwhm_arcsec) causes.emplace_back("wide stars");
    if (e.elongation > drawn_out) causes.emplace_back("drawn-out stars");
    if (e.sky_e_per_px > worse_than_usual * worse_than_usual * usual_sky_e)
        causes.emplace_back("a bright sky");
    std::string text;
    for (std::size_t i = 0; i < causes.size(); ++i)
        text += (i == 0 ? "" : i + 1 == causes.size() ? " and " : ", ") + causes[i];
    return text.empty() ? "Its noise is larger than its companions'." : "Little weight: " + text + ".";
}

JudgedExposure judged(const FrameInSolution& both, const FrameFluxes& first) {
    const FrameFluxes& f = *both.fluxes;
    const FrameMeasurement& m = *both.measured;
    JudgedExposure out;
    out.frame = f.frame;
    out.plane = f.plane;
    out.night = f.night;
    out.band = f.band;
    out.instrument = f.instrument;
    out.jd_utc = m.jd_utc;
    out.fwhm_arcsec = f.fwhm_px * f.scale_arcsec_per_px;
    out.elongation = f.elongation;
    out.direction_deg = f.direction_deg;
    out.sky_e_per_px = sky_light_e(f);
    out.stars_found = f.stars_found;
    out.stars_expected = f.stars_expected;
    const auto here = pointed_at(f), there = pointed_at(first);
    if (here && there) {
        const SkyOffset moved = offset(*there, *here);
        out.shift_east_arcsec = moved.east.arcseconds();
        out.shift_north_arcsec = moved.north.arcseconds();
    }
    out.rotation_deg = std::remainder(f.rotation_deg - first.rotation_deg, 360.0);
    out.flipped = turned_round(out.rotation_deg);
    out.solved_here = f.plate == "solved";
    out.used = m.used;
    out.reason = m.used ? std::string() : m.reason;
    out.caveats = m.caveats;
    return out;
}

using NightInBand = std::tuple<std::string, Band, std::string>;  // night, band, instrument

NightInBand night_of(const JudgedExposure& e) {
    return {e.night, e.band, e.instrument};
}

// Light by the zero points of the frames in use: one that was refused by its light has a transparency against
// them, and nothing is known of one that was never solved. The sky shines from below the clouds: in each
// frame it is told by the zero point of the clear air, or cloud would seem to light it up.
void add_light(std::vector<JudgedExposure>& exposures, const std::vector<FrameInSolution>& both) {
    std::map<NightInBand, std::vector<double>> clear_zero_points;
    for (std::size_t i = 0; i < exposures.size(); ++i) {
        const FrameMeasurement& m = *both[i].measured;
        if (m.used && m.relative_transparency > 0.0)
            clear_zero_points[night_of(exposures[i])].push_back(m.zero_point_mag -
                                                                2.5 * std::log10(m.relative_transparency));
    }
    for (std::size_t i = 0; i < exposures.size(); ++i) {
        JudgedExposure& e = exposures[i];
        const FrameMeasurement& m = *both[i].measured;
        const auto clear = clear_zero_points.find(night_of(e));
        if (clear == clear_zero_points.end()) continue;
        const double scale = both[i].fluxes->scale_arcsec_per_px;
        if (e.sky_e_per_px > 0.0) {
            e.sky_mag_arcsec2 =
                numerics::median(clear->second) - 2.5 * std::log10(e.sky_e_per_px / (scale * scale));
        }
        if (m.used || m.relative_transparency != 1.0) e.transparency = m.relative_transparency;
    }
}

// The best of a night is a robust one: a frame may have let more through.
void scale_transparency(std::vector<JudgedExposure>& exposures) {
    std::map<NightInBand, double> best;
    for (const JudgedExposure& e : exposures) {
        double& most = best[night_of(e)];
        most = std::max(most, e.transparency.value_or(0.0));
    }
    for (JudgedExposure& e : exposures) {
        if (e.transparency) *e.transparency /= best[night_of(e)];
    }
}

void weigh(std::vector<JudgedExposure>& exposures, const std::vector<FrameInSolution>& both) {
    struct Usual {
        double least_sigma = HUGE_VAL;
        std::vector<double> fwhm_arcsec, sky_e;
    };
    std::map<NightInBand, Usual> nights;
    for (std::size_t i = 0; i < exposures.size(); ++i) {
        if (!exposures[i].used) continue;
        Usual& usual = nights[night_of(exposures[i])];
        const double sigma = one_sigma_at_common_zero(*both[i].measured);
        if (sigma > 0.0) usual.least_sigma = std::min(usual.least_sigma, sigma);
        usual.fwhm_arcsec.push_back(exposures[i].fwhm_arcsec);
        usual.sky_e.push_back(exposures[i].sky_e_per_px);
    }
    for (std::size_t i = 0; i < exposures.size(); ++i) {
        JudgedExposure& e = exposures[i];
        if (!e.used) continue;
        const Usual& usual = nights[night_of(e)];
        const double sigma = one_sigma_at_common_zero(*both[i].measured);
        if (!(sigma > 0.0) || !std::isfinite(usual.least_sigma)) continue;
        e.weight = std::pow(usual.least_sigma / sigma, 2);
        if (e.weight < little_weight)
            e.reason = why_little(e, numerics::median(usual.fwhm_arcsec), numerics::median(usual.sky_e));
    }
}

}  // namespace

JudgedNights judge_nights(const std::vector<FrameFluxes>& frames, const Solution& solution) {
    JudgedNights out;
    const std::vector<FrameInSolution> both = frames_in_solution(frames, solution);
    std::map<std::pair<std::string, std::string>, const FrameFluxes*> first;  // night, instrument
    for (const FrameInSolution& one : both) {
        const auto at = first.try_emplace({one.fluxes->night, one.fluxes->instrument}, one.fluxes).first;
        out.exposures.push_back(judged(one, *at->second));
    }
    add_light(out.exposures, both);
    scale_transparency(out.exposures);
    weigh(out.exposures, both);
    out.flips = flips_of(frames, solution);
    for (const FlipOfNight& flip : out.flips) {
        if (flip.stands_out) out.remarks.push_back(flip_sentence(flip));
    }
    return out;
}

}  // namespace emberline::night
