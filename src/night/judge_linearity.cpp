// SPDX-License-Identifier: MIT
// Each sign alone is enough, so each asks for much: what a linear frame can show by bad luck, by its field or
// by its optics must stay below every bound. The bounds were set between 200 linear and 200 processed
// pictures of rehearsals (tests/studies/linearity_study.cpp) and the real frames; not tuned beyond that.
#include "night/judge_linearity.hpp"

#include <fmt/format.h>

#include <cmath>

#include "night/linearity_evidence.hpp"

namespace emberline::night {
namespace {

constexpr double sure_sigma = 5.0;
constexpr double least_slope_off = 0.08;     // of the slope of magnitudes
constexpr double least_shape_change = 0.10;  // of the share of light in the core, over the stars' range
constexpr double deep_ring = 0.003, shallow_ring = 0.0008, least_ring_share = 0.7;  // of a star's height
constexpr double plainly_contrary = 0.05,
                 least_contrary = 0.03;  // by which sharpened neighbours vary against each other
constexpr double each_sigma = 2.0, joint_sigma = 3.7;  // of two signs that come together
constexpr std::size_t least_ring_stars = 3;
constexpr double least_texture_gap = 0.03;
constexpr std::size_t least_texture_places = 3;
constexpr double shared_share = 0.8;  // of a star's area; debayered and turned pictures reach 0.5
constexpr double least_tail_ratio = 0.34;
constexpr double blurred_correlation = 0.5;  // of neighbours: a sky of many faint stars stays below
constexpr double least_ties = 0.05;
constexpr double few_levels = 256.5, least_coarse_step = 128.0;
constexpr double nearest_cut_sigma = 6.0;
constexpr double most_noise = 4.0, most_noise_of_a_guess = 15.0;
constexpr double sky_cut_share = 0.5;
constexpr double wide_gaps = 0.2, gaps = 0.5;  // of the levels that should be in use
constexpr double noise_of_scaled = 5.0;  // over what its level can bring, where a picture was spread out
constexpr double ceiling_share = 0.3;    // of the stars

using Finding = std::optional<std::string>;

Finding magnitudes_out_of_step(const LinearityEvidence& e) {
    if (!e.magnitudes) return std::nullopt;
    const auto& t = *e.magnitudes;
    const double off = t.slope + e.catalogue_dilution - 1.0;
    if (std::abs(t.significance) < sure_sigma || std::abs(off) < least_slope_off) return std::nullopt;
    return fmt::format(
        "One magnitude of the catalogue is {:.2f} ± {:.2f} mag here, over {} comparison stars that span "
        "{:.1f} mag; it is 1 where pixels count light",
        t.slope, t.slope_err, t.points, t.range);
}

Finding shapes_change(const LinearityEvidence& e) {
    if (!e.shapes) return std::nullopt;
    const auto& t = *e.shapes;
    const double change = t.slope * t.range;
    if (std::abs(t.significance) < sure_sigma || std::abs(change) < least_shape_change) return std::nullopt;
    return fmt::format(
        "bright stars have {} of their light in the core than faint ones, by {:.0f} ± {:.0f} % over {:.1f} "
        "mag; "
        "all stars of a frame have one shape",
        change > 0.0 ? "less" : "more", 100.0 * std::abs(change), 100.0 * t.slope_err * t.range, t.range);
}

// Neighbours that vary against each other. Resampling lets them vary together, or leaves them alone; columns
// or colours of different level do so too, but then those two apart vary together.
double contrary_by(const photometry::SkyTexture& t) {
    const bool alternate = t.second_correlation > -0.3 * t.lag_correlation;
    if (alternate || t.lag_correlation > -least_contrary) return 0.0;
    return -t.lag_correlation / t.lag_correlation_err;
}

Finding dark_rings(const LinearityEvidence& e) {
    const auto& r = e.ring;
    const double contrary = contrary_by(e.texture);
    const bool ringed = r.stars >= least_ring_stars && r.depth > 0.0;
    const bool deep =
        ringed && r.depth > deep_ring && (r.depth > sure_sigma * r.depth_err || r.share > least_ring_share);
    const double ring = ringed && r.depth > shallow_ring ? r.depth / r.depth_err : 0.0;
    const bool joint = std::min(ring, contrary) > each_sigma && std::hypot(ring, contrary) > joint_sigma;
    const bool plainly = contrary > sure_sigma && e.texture.lag_correlation < -plainly_contrary;
    if (!deep && !joint && !plainly) return std::nullopt;
    std::string sign;
    if (deep || joint) {
        sign =
            fmt::format("dark rings lie about the stars, {:.1f} % of their height below the sky at {:.1f} px",
                        100.0 * r.depth, r.radius_px);
    }
    if (contrary > each_sigma) {
        sign += fmt::format(
            "{}neighbouring pixels of the sky vary against each other (correlation {:.2f} ± {:.2f})",
            sign.empty() ? "" : " and ", e.texture.lag_correlation, e.texture.lag_correlation_err);
    }
    return sign + ": it was sharpened or restored";
}

Finding noise_taken_out(const LinearityEvidence& e) {
    const auto& t = e.texture;
    if (t.skies < least_texture_places) return std::nullopt;
    const double gap = t.star_ratio - t.sky_ratio;
    if (t.stars >= least_texture_places && gap > least_texture_gap &&
        gap > sure_sigma * std::hypot(t.star_ratio_err, t.sky_ratio_err)) {
        return fmt::format(
            "the sky's noise is smoother than the stars are sharp (pixels {} and {} apart differ in the "
            "ratio "
            "{:.2f} in the sky, {:.2f} across stars): noise was taken out",
            t.lag_px, 2 * t.lag_px, t.sky_ratio, t.star_ratio);
    }
    // A blur spreads stars at least as far as it lets noise be shared: Σ p² of a star is below Σ h² of the
    // blur.
    if (e.noise_area_px > shared_share * e.star_area_px && t.lag_correlation > blurred_correlation) {
        return fmt::format(
            "the sky's noise is shared by {:.0f} pixels and a star's light by {:.0f}, where a blur would "
            "have "
            "spread stars as far: noise was taken out",
            e.noise_area_px, e.star_area_px);
    }
    if (t.tail_ratio > 0.0 && t.tail_ratio < least_tail_ratio - sure_sigma * t.tail_ratio_err) {
        return fmt::format(
            "neighbouring pixels of the sky differ mostly by little and sometimes by much (median over nine "
            "in "
            "ten {:.2f}, 0.41 for noise of light): noise was taken out",
            t.tail_ratio);
    }
    return std::nullopt;
}

Finding equal_neighbours(const LinearityEvidence& e) {
    const auto& t = e.texture;
    if (t.ties < least_ties || t.ties < sure_sigma * t.ties_err) return std::nullopt;
    return fmt::format(
        "{:.0f} % of neighbouring pixels of the sky have the very same value, far more than chance: a filter "
        "chose among them",
        100.0 * t.ties);
}

Finding few_steps(const LinearityEvidence& e) {
    const auto& h = e.levels;
    if (h.step < least_coarse_step || h.levels > few_levels) return std::nullopt;
    return fmt::format(
        "its pixels have only {:.0f} levels, {:.0f} ADU apart: 8 bits, whatever the file holds", h.levels,
        h.step);
}

bool piled_up(const LinearityEvidence& e) {
    const auto& h = e.levels;
    const auto n = static_cast<double>(h.pixels);
    const double more = (h.at_lowest - h.at_lowest_expected) * n;
    return h.at_lowest > 0.0 && more > sure_sigma * std::sqrt(h.at_lowest_expected * n + 1.0) &&
           h.lowest > e.sky_adu - nearest_cut_sigma * e.scatter_adu;
}

Finding spread_out(const LinearityEvidence& e, const FrameNeeds& needs, bool gain_assumed) {
    const double g = needs.gain_e_per_adu, read_adu = needs.read_noise_e / g;
    // No sky that a sensor can hold is noisier than its full well.
    const double full = std::sqrt(std::max(needs.saturation_adu, e.levels.highest) / g + read_adu * read_adu);
    const double noise = e.scatter_adu / full;
    if (noise > (gain_assumed ? most_noise_of_a_guess : most_noise)) {
        return fmt::format(
            "the sky scatters by {:.0f} ADU, {:.0f} times what a full pixel's photons bring: its levels were "
            "spread "
            "out",
            e.scatter_adu, noise);
    }
    const double level = std::sqrt(std::max(e.sky_adu, 0.0) / g + read_adu * read_adu);
    const bool noisy = e.scatter_adu > noise_of_scaled * level;
    const bool white = e.at_ceiling > ceiling_share * e.stars && e.ceiling_adu;
    if (noisy && e.levels.used < wide_gaps) {
        return fmt::format(
            "the sky scatters by {:.0f} ADU, {:.0f} times what its level brings, and {:.0f} % of the "
            "levels in it are empty: they were spread out",
            e.scatter_adu, e.scatter_adu / level, 100.0 * (1.0 - e.levels.used));
    }
    if (!piled_up(e)) return std::nullopt;
    const bool comb = e.levels.used < gaps;
    const bool cut = e.levels.at_lowest > sky_cut_share;
    if (!cut && !comb && !(noisy && white)) return std::nullopt;
    return fmt::format("{:.1f} % of the sky's pixels were cut off at {:.0f} ADU{}{}",
                       100.0 * e.levels.at_lowest, e.levels.lowest,
                       white ? fmt::format(" and {} stars at {:.0f}", e.at_ceiling, *e.ceiling_adu) : "",
                       comb ? ", and the levels between were spread out with gaps" : "");
}

}  // namespace

Result<LinearityVerdict> judge_linearity(const frame::Frame& frame, const photometry::FrameFluxes& fluxes,
                                         const StarField& field, const FrameNeeds& needs,
                                         const standard::Sequence& sequence, const Campaign& campaign) {
    const LinearityEvidence e = gather_evidence(fluxes, field, needs, sequence, campaign);
    std::string found;
    for (const Finding& finding : {magnitudes_out_of_step(e), shapes_change(e), few_steps(e),
                                   spread_out(e, needs, fluxes.caveats.has(Caveat::gain_assumed)),
                                   dark_rings(e), equal_neighbours(e), noise_taken_out(e)}) {
        if (!finding) continue;
        found += std::string(found.empty() ? "" : "; ") + *finding;
    }
    LinearityVerdict verdict;
    if (!found.empty() && !campaign.measure.refuse_processed) {
        verdict.caveats.add(Caveat::processed);
        verdict.remarks.push_back("This picture may no longer count light: " + found + ".");
    } else if (!found.empty()) {
        return fail(
            {.what = "This picture no longer counts light: " + found + ".",
             .where = frame.facts().path,
             .mend = "Save the frame as the camera gave it: as FITS with 16 bits or more, without "
                     "stretching, sharpening or noise reduction. Calibration and plain stacking are "
                     "welcome. If you know that it is linear: refuse_processed = false under [measure]."});
    }
    if (piled_up(e)) {
        verdict.remarks.push_back(fmt::format(
            "The darkest {:.1f} % of the sky's pixels were cut off at {:.0f} ADU: faint stars come out "
            "too faint.",
            100.0 * e.levels.at_lowest, e.levels.lowest));
    }
    return verdict;
}

}  // namespace emberline::night
