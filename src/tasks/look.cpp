// SPDX-License-Identifier: MIT
#include "tasks/look.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "night/flip_step.hpp"
#include "night/look_at_star.hpp"
#include "night/star_noise.hpp"
#include "night/star_residuals.hpp"
#include "numerics/robust.hpp"
#include "photometry/sampling.hpp"
#include "tasks/measured_frame.hpp"

namespace emberline::tasks {
namespace {

using night::StarLook;
using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double reach_fwhm = 2.5;         // how far from a click a star is looked for
constexpr double same_star_fwhm = 0.75;    // centres nearer than that are of one star
constexpr double usual_radius_fwhm = 1.5;  // where no aperture is in use; common practice, no source
constexpr double rings_a_fwhm = 4.0;
constexpr int curve_points = 60, directions = 24;
constexpr double company_sigma = 5.0, company_share = 0.02;  // of a peak beside the star

// Beside the star, above its own profile and the sky: the highest mean of 3 × 3 pixels.
struct Company {
    double distance_px = 0.0, adu = 0.0;
};

photometry::GatheredImage image_of(const StarLook& look) {
    const stars::StarProfile& p = *look.profile;
    return photometry::GatheredImage({.fwhm_px = p.fwhm_px,
                                      .elongation = p.elongation,
                                      .direction = p.direction,
                                      .moffat_beta = p.moffat_beta,
                                      .square = look.square});
}

double sky_at(const StarLook& look, double dx_px, double dy_px) {
    return look.sky.level_adu + look.sky.slope_x_adu * dx_px + look.sky.slope_y_adu * dy_px;
}

template <class Visit>
void for_each_pixel(const StarLook& look, const frame::PixelPosition& centre, const Visit& visit) {
    const frame::PixelBox& box = look.cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const float adu = look.cutout.at(x, y);
            const double dx = x - centre.x, dy = y - centre.y;
            if (std::isfinite(adu)) visit(dx, dy, static_cast<double>(adu) - sky_at(look, dx, dy));
        }
    }
}

// Rings a quarter of the FWHM wide, at least half a pixel; a ring without a pixel is left out.
std::vector<RadialPoint> rings_of(const StarLook& look, const frame::PixelPosition& centre, double fwhm_px) {
    const double width_px = std::max(0.5, fwhm_px / rings_a_fwhm);
    struct Sum {
        double radius = 0.0, adu = 0.0, n = 0.0;
    };
    std::vector<Sum> sums(static_cast<std::size_t>(std::ceil(look.annulus.outer_px / width_px)));
    for_each_pixel(look, centre, [&](double dx, double dy, double adu) {
        const double r = std::hypot(dx, dy);
        const auto i = static_cast<std::size_t>(r / width_px);
        if (i >= sums.size()) return;
        sums[i].radius += r;
        sums[i].adu += adu;
        sums[i].n += 1.0;
    });
    std::vector<RadialPoint> rings;
    for (const Sum& sum : sums) {
        if (sum.n > 0.0) rings.push_back({sum.radius / sum.n, sum.adu / sum.n});
    }
    return rings;
}

std::vector<RadialPoint> fitted_curve(const StarLook& look) {
    if (!look.profile) return {};
    const photometry::GatheredImage image = image_of(look);
    std::vector<RadialPoint> curve;
    for (int i = 0; i <= curve_points; ++i) {
        const double r = look.annulus.outer_px * i / curve_points;
        double sum = 0.0;
        for (int k = 0; k < directions; ++k) {
            const double angle = 2.0 * std::numbers::pi * (k + 0.5) / directions;
            sum += image.at(r * std::cos(angle), r * std::sin(angle));
        }
        curve.push_back({r, look.profile->flux_adu * sum / directions});
    }
    return curve;
}

// The inner circle's light is part of the outer's, and both have the same sky: s = F/L, L − F what lies
// between them; (L δs)² = (1 − s)² V_F + s² (V_L − V_F) + (a_F − s a_L)² σ², V the photons' and pixels'
// noise, a the areas, σ the sky level's error. Scintillation and the flat's error are the same in both.
std::vector<GrowthPoint> growth_of(const FrameFluxes& frame, const StarFlux& light) {
    struct Circle {
        double radius, flux, pixels, area;
    };
    std::vector<Circle> circles;
    const double pixel_noise_e2 = light.sky_scatter_e * light.sky_scatter_e;
    for (std::size_t k = 0; k < frame.apertures.size(); ++k) {
        if (frame.apertures[k].is_psf() || !std::isfinite(light.flux_e[k])) continue;
        const double factor = frame.apertures[k].sky_noise_factor;
        circles.push_back(
            {frame.apertures[k].radius_px, light.flux_e[k],
             std::max(light.flux_e[k], 0.0) +
                 factor * factor * photometry::square_area_px(light.area_px[k]) * pixel_noise_e2,
             light.area_px[k]});
    }
    if (circles.empty() || !(circles.back().flux > 0.0)) return {};
    const Circle& last = circles.back();
    const double level_e2 = light.sky_err_e_per_px * light.sky_err_e_per_px;
    std::vector<GrowthPoint> growth;
    for (const Circle& c : circles) {
        const double s = c.flux / last.flux, common = c.area - s * last.area;
        const double variance = (1.0 - s) * (1.0 - s) * c.pixels +
                                s * s * std::max(0.0, last.pixels - c.pixels) + common * common * level_e2;
        growth.push_back({c.radius, s, std::sqrt(variance) / last.flux});
    }
    return growth;
}

std::optional<Company> company_of(const StarLook& look, const frame::PixelPosition& centre, double fwhm_px,
                                  double reach_px) {
    if (!look.profile) return std::nullopt;
    const photometry::GatheredImage image = image_of(look);
    const auto left = [&](int x, int y) {
        const double dx = x - centre.x, dy = y - centre.y;
        return static_cast<double>(look.cutout.at(x, y)) - sky_at(look, dx, dy) -
               look.profile->flux_adu * image.at(dx, dy);
    };
    const frame::PixelBox& box = look.cutout.box;
    Company most;
    for (int y = box.y0 + 1; y < box.y0 + box.height - 1; ++y) {
        for (int x = box.x0 + 1; x < box.x0 + box.width - 1; ++x) {
            const double r = std::hypot(x - centre.x, y - centre.y);
            if (r < fwhm_px || r > reach_px) continue;
            double sum = 0.0;
            for (int j = -1; j <= 1; ++j) {
                for (int i = -1; i <= 1; ++i)
                    sum += left(x + i, y + j);
            }
            if (sum / 9.0 > most.adu) most = {r, sum / 9.0};
        }
    }
    // The star's own light is noise there too, and no profile fits to the last percent.
    const double core_adu = look.profile->flux_adu * image.at(0.0, 0.0);
    const double least = std::max(company_sigma * look.sky.scatter_adu / 3.0, company_share * core_adu);
    return most.adu > least ? std::optional(most) : std::nullopt;
}

std::size_t aperture_for(const MeasuredFrame& frame) {
    if (frame.measured) {
        if (const auto k = night::aperture_in_use(frame.fluxes, *frame.measured)) return *k;
    }
    const auto& grid = frame.fluxes.apertures;
    const double wanted = usual_radius_fwhm * frame.fluxes.fwhm_px;
    std::size_t best = 0;
    for (std::size_t k = 0; k < grid.size(); ++k) {
        if (!grid[k].is_psf() &&
            std::abs(grid[k].radius_px - wanted) < std::abs(grid[best].radius_px - wanted))
            best = k;
    }
    return best;
}

// A star that the PSF was not fitted to is summed in the circle nearest to a FWHM. `ratio`: the fit's light
// over the circle's, as the frame's stars have it.
struct CircleInPlace {
    std::size_t aperture = 0;
    std::optional<double> ratio;
};
CircleInPlace circle_for(const FrameFluxes& frame, std::size_t psf) {
    CircleInPlace out;
    double nearest = -1.0;
    for (std::size_t k = 0; k < frame.apertures.size(); ++k) {
        const double away = std::abs(frame.apertures[k].radius_px - frame.fwhm_px);
        if (frame.apertures[k].is_psf() || (nearest >= 0.0 && away >= nearest)) continue;
        nearest = away;
        out.aperture = k;
    }
    std::vector<double> ratios;
    for (const StarFlux& star : frame.stars) {
        if (star.label == photometry::transient_label || night::light_lost(frame, star, out.aperture) ||
            night::light_lost(frame, star, psf) || !(star.flux_e[out.aperture] > 0.0))
            continue;
        ratios.push_back(star.flux_e[psf] / star.flux_e[out.aperture]);
    }
    if (!ratios.empty()) out.ratio = numerics::median(std::move(ratios));
    return out;
}

Flux flux_at(const FrameFluxes& frame, const StarFlux& light, std::size_t k) {
    const double flux = light.flux_e[k];
    return {flux, std::sqrt(night::noise_terms(frame, light, k).variance_e2(flux))};
}

std::string role_of(const MeasuredFrame& frame, const std::string& label) {
    if (label.empty()) return {};
    if (label == photometry::transient_label) return label;
    if (!frame.measured) return "unused";
    return role_word(mark_in(*frame.measured, label));
}

// The transient's is the ledger's, from the night's own solution; a star's goes through the frame's zero
// point.
void set_magnitude(LookedStar& out, const MeasuredFrame& frame, const Workspace& workspace, double ratio) {
    if (!frame.measured) {
        out.remarks.emplace_back("The campaign was not solved since the frame was measured: no zero point.");
        return;
    }
    const night::FrameMeasurement& m = *frame.measured;
    if (!m.used) out.remarks.push_back(fmt::format("The frame is not used: {}", m.reason));
    if (out.label == photometry::transient_label) {
        if (m.magnitude_mag) out.magnitude = ValueWithError{*m.magnitude_mag, m.random_err_mag.value_or(0.0)};
        return;
    }
    if (const standard::ComparisonStar* star = workspace.sequence.find(out.label))
        out.catalogue_mag = star->magnitude(sequence_band(m.band));
    for (const night::FrameResidual& r : night::frame_residuals(frame.fluxes, m, workspace.sequence)) {
        if (r.label != out.label) continue;
        out.residual_mag = r.residual_mag;
        out.magnitude = ValueWithError{out.catalogue_mag->value + r.residual_mag,
                                       std::hypot(r.err_mag, m.zero_point_err_mag)};
    }
    const bool lost = out.caveats.has(Caveat::saturated) || out.caveats.has(Caveat::edge) ||
                      out.caveats.has(Caveat::not_linear);
    if (out.catalogue_mag || lost || m.zero_point_mag == 0.0 || !(out.flux_e.value * ratio > 0.0)) return;
    out.magnitude = ValueWithError{
        m.zero_point_mag - 2.5 * std::log10(out.flux_e.value * ratio),
        std::hypot(mag_per_relative_flux / out.flux_e.signal_to_noise(), m.zero_point_err_mag)};
    if (m.colour_term)
        out.remarks.emplace_back(
            "Its colour is not known: its magnitude holds for a star as the transient is.");
}

void add_remarks(LookedStar& out, const MeasuredFrame& frame, const StarLook& look) {
    const auto say = [&](std::string sentence) { out.remarks.push_back(std::move(sentence)); };
    if (out.saturated)
        say("A pixel is saturated: neither its profile nor its light can be told.");
    else if (look.light.peak_adu >= look.linear_to_adu)
        say("A pixel is above the linear range: its light is told too faint, and no profile was fitted.");
    else if (!look.profile)
        say("Too faint, or too crowded, for a profile to be fitted.");
    if (look.near_edge) say("The frame ends within its annulus.");
    if (out.caveats.has(Caveat::bad_pixels)) say("Undefined pixels were filled from their neighbours.");
    if (out.label.empty() && !frame.fluxes.apertures.empty()) {
        const double largest_px = frame.fluxes.apertures.back().radius_px;
        for (const StarFlux& star : frame.fluxes.stars) {
            const double away =
                std::hypot(star.position.x - out.position.x, star.position.y - out.position.y);
            if (away < 2.0 * largest_px)
                say(fmt::format("Star {} of the sequence lies {:.1f} px away.", star.label, away));
        }
    }
    const auto company =
        company_of(look, out.position, frame.fluxes.fwhm_px,
                   std::max(out.aperture_px, 2.0 * frame.fluxes.fwhm_px) + frame.fluxes.fwhm_px);
    if (company) {
        say(fmt::format("Something else shines {:.1f} px away: its light reaches into the circles.",
                        company->distance_px));
    }
    const StarFlux* transient =
        out.label == photometry::transient_label ? frame.fluxes.find(out.label) : nullptr;
    if (transient != nullptr && frame.measured && frame.measured->method.find('-') != std::string::npos) {
        say(fmt::format(
            "The host's light is in its flux and in the growth; its magnitude is without it ({}).",
            frame.measured->method));
    }
}

LookedStar told(const MeasuredFrame& frame, const StarLook& look, const Workspace& workspace,
                const std::string& label) {
    const FrameFluxes& fluxes = frame.fluxes;
    LookedStar out;
    out.frame = fluxes.frame;
    out.label = label;
    out.role = role_of(frame, label);
    out.position = look.light.position;
    out.position_err_px = look.light.position_err_px;
    out.place = look.place;
    out.profile = look.profile;
    out.peak_adu = look.light.peak_adu;
    out.sky_adu = look.sky.level_adu;
    out.sky_err_adu = look.sky.level_err_adu;
    out.sky_noise_adu = look.sky.scatter_adu;
    out.inner_px = look.annulus.inner_px;
    out.outer_px = look.annulus.outer_px;
    std::size_t k = aperture_for(frame);
    double ratio = 1.0;
    if (fluxes.apertures[k].is_psf() && label.empty()) {
        const CircleInPlace circle = circle_for(fluxes, k);
        k = circle.aperture;
        ratio = circle.ratio.value_or(std::nan(""));
        out.remarks.emplace_back(
            "The frame's stars are measured by a fit of its PSF; this one in a circle, by the same stars' "
            "light "
            "in it.");
    }
    out.method = fluxes.apertures[k].is_psf() ? "psf" : "aperture";
    out.aperture_px = fluxes.apertures[k].radius_px;
    out.flux_e = flux_at(fluxes, look.light, k);
    out.caveats = look.light.caveats[k];
    out.saturated = look.light.peak_adu >= look.saturation_adu;
    if (out.saturated) out.caveats.add(Caveat::saturated);
    if (out.flux_e.value > 0.0) out.instrumental_mag = -2.5 * std::log10(out.flux_e.value);
    out.rings = rings_of(look, out.position, fluxes.fwhm_px);
    out.fitted = fitted_curve(look);
    out.growth = growth_of(fluxes, look.light);
    set_magnitude(out, frame, workspace, ratio);
    add_remarks(out, frame, look);
    out.cutout = look.cutout;
    return out;
}

Problem nothing_there(const MeasuredFrame& frame, const StarLook& look, const Workspace& workspace,
                      const frame::PixelPosition& place) {
    std::string limit;
    std::size_t k = aperture_for(frame);
    double ratio = 1.0;
    if (frame.fluxes.apertures[k].is_psf()) {
        const CircleInPlace circle = circle_for(frame.fluxes, k);
        k = circle.aperture;
        ratio = circle.ratio.value_or(1.0);
    }
    if (frame.measured && frame.measured->zero_point_mag != 0.0) {
        const double sigma = workspace.campaign.measure.limit_sigma;
        const double faintest_e =
            sigma * ratio * std::sqrt(night::noise_terms(frame.fluxes, look.light, k).background_e2);
        limit = fmt::format(" A star of {:.1f} mag would show {:g} times its noise.",
                            frame.measured->zero_point_mag - 2.5 * std::log10(faintest_e), sigma);
    }
    return {
        .what = fmt::format("Nothing stands out there: the sky is {:.1f} ADU, a pixel's noise {:.1f} ADU.{}",
                            look.sky.level_adu, look.sky.scatter_adu, limit),
        .where = fmt::format("{}, x = {:.1f}, y = {:.1f} px", frame.fluxes.frame, place.x, place.y),
        .mend = "Take a place nearer to the star, or name a star by its label."};
}

const StarFlux* star_near(const FrameFluxes& frame, const frame::PixelPosition& place, double within_px) {
    const StarFlux* nearest = nullptr;
    double least = within_px;
    for (const StarFlux& star : frame.stars) {
        const double away = std::hypot(star.position.x - place.x, star.position.y - place.y);
        if (away > least) continue;
        least = away;
        nearest = &star;
    }
    return nearest;
}

}  // namespace

Result<LookedStar> look(const Workspace& workspace, const ledger::Ledger& ledger, const MeasuredFrame& frame,
                        const LookRequest& request) {
    const FrameFluxes& fluxes = frame.fluxes;
    const StarFlux* known = request.label ? fluxes.find(*request.label) : nullptr;
    if (request.label && known == nullptr) {
        return fail({.what = fmt::format("Star {} was not measured on that frame.", *request.label),
                     .where = fluxes.frame,
                     .mend = "Name one of the sequence that lies on it, or a place in its pixels.",
                     .kind = ProblemKind::request});
    }
    const auto opened = open_with_plate(workspace, ledger, fluxes);
    if (!opened) return fail(opened.error());
    const auto view = night::FrameLook::open(*opened, fluxes, workspace.sequence, workspace.campaign);
    if (!view) return fail(view.error());
    const auto tell = [&](const StarFlux& star) -> Result<LookedStar> {
        const auto seen = view->at(star);
        if (!seen) return fail(seen.error());
        return told(frame, *seen, workspace, star.label);
    };
    if (known != nullptr) return tell(*known);
    const frame::PixelPosition place = request.place.value_or(frame::PixelPosition{});
    const auto seen = view->at(place, reach_fwhm * fluxes.fwhm_px);
    if (!seen) return fail(seen.error());
    const StarFlux* same = star_near(fluxes, seen->light.position, same_star_fwhm * fluxes.fwhm_px);
    if (same != nullptr) return tell(*same);
    if (seen->centroid) return told(frame, *seen, workspace, {});
    return fail(nothing_there(frame, *seen, workspace, place));
}

}  // namespace emberline::tasks
