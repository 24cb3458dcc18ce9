// SPDX-License-Identifier: MIT
#include "night/look_at_star.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "night/aperture_grid.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "night/sampled_light.hpp"
#include "night/settle_stack.hpp"
#include "night/star_light.hpp"

namespace emberline::night {
namespace {

using photometry::FrameAperture;
using photometry::FrameFluxes;
using photometry::StarFlux;

// What pixels that vary together do to the noise of a star's sky.
struct Widening {
    double scatter = 1.0, level_err = 1.0;
};

}  // namespace

struct FrameLook::Opened {
    Opened(const frame::Frame& opened, const FrameFluxes& of) : frame(opened), measured(of) {}

    frame::Frame frame;
    const FrameFluxes& measured;
    FrameNeeds needs;
    std::vector<std::size_t> circles;  // of the frame's apertures
    std::vector<double> radii_px;      // of those
    photometry::Annulus annulus;
    std::optional<SampledLight> sampled;
    Widening widening;

    [[nodiscard]] Result<frame::Cutout> read(const frame::PixelPosition& place, double beyond_px) const {
        return frame.read(box_around(place, annulus.outer_px + beyond_px));
    }
    [[nodiscard]] Result<StarLook> look(StarOnFrame star, const StarFlux* known) const;
    void spread(StarFlux& light, const StarFlux* known) const;
    [[nodiscard]] Result<void> settle_widening();
};

// From the circles to all of the frame's apertures.
void FrameLook::Opened::spread(StarFlux& light, const StarFlux* known) const {
    const std::size_t n = measured.apertures.size();
    StarFlux all = light;
    all.flux_e.assign(n, std::numeric_limits<double>::quiet_NaN());
    all.area_px.assign(n, 0.0);
    all.place_err.assign(n, 0.0);
    all.caveats.assign(n, Caveats());
    for (std::size_t j = 0; j < circles.size(); ++j) {
        all.flux_e[circles[j]] = light.flux_e[j];
        all.area_px[circles[j]] = light.area_px[j];
        all.place_err[circles[j]] = light.place_err[j];
        all.caveats[circles[j]] = light.caveats[j];
    }
    for (std::size_t k = 0; known != nullptr && k < n; ++k) {
        all.caveats[k].add(known->caveats[k]);
        if (!measured.apertures[k].is_psf()) continue;
        all.flux_e[k] = known->flux_e[k];
        all.area_px[k] = known->area_px[k];
        if (!known->place_err.empty()) all.place_err[k] = known->place_err[k];
    }
    light = std::move(all);
}

Result<StarLook> FrameLook::Opened::look(StarOnFrame star, const StarFlux* known) const {
    auto light = light_of(star, radii_px, annulus, needs, *sampled);
    if (!light) return fail(emberline::at(frame.facts().path, light.error()));
    StarLook out;
    out.light = std::move(light->flux);
    out.light.sky_scatter_e *= widening.scatter;
    out.light.sky_err_e_per_px *= widening.level_err;
    out.light.sky_pixels *= widening.scatter * widening.scatter / (widening.level_err * widening.level_err);
    if (known != nullptr) out.light.airmass = known->airmass;
    spread(out.light, known);
    out.sky = light->sky;
    out.annulus = annulus;
    out.centroid = star.centroid;
    out.square = gathering_square(frame.facts());
    out.saturation_adu = needs.saturation_adu;
    out.linear_to_adu = needs.linear_to_adu;
    const frame::PixelBox wanted = box_around(star.position, annulus.outer_px);
    out.near_edge = wanted.inside(frame.facts().width_px, frame.facts().height_px) != wanted;
    if (star.centroid && out.light.peak_adu < needs.linear_to_adu) {
        const auto fitted = stars::fit_profile(star.cutout, star.centroid->position, measured.fwhm_px,
                                               needs.gain_e_per_adu, needs.read_noise_e, out.square);
        if (fitted) out.profile = *fitted;
    }
    if (out.profile) out.light.fwhm_px = out.profile->fwhm_px;
    out.cutout = std::move(star.cutout);
    return out;
}

// The ledger keeps it in the numbers of the stars: the transient, which every frame has, tells it.
Result<void> FrameLook::Opened::settle_widening() {
    const bool independent =
        std::all_of(measured.apertures.begin(), measured.apertures.end(),
                    [](const FrameAperture& aperture) { return aperture.sky_noise_factor == 1.0; });
    const StarFlux* transient = measured.find(photometry::transient_label);
    if (independent || transient == nullptr) return {};
    const auto cutout = read(transient->position, 2.0);
    if (!cutout) return fail(cutout.error());
    const auto sky = photometry::estimate_sky(*cutout, transient->position, annulus);
    if (!sky) return fail(sky.error());
    if (sky->scatter_adu > 0.0 && sky->level_err_adu > 0.0) {
        widening = {transient->sky_scatter_e / (sky->scatter_adu * needs.gain_e_per_adu),
                    transient->sky_err_e_per_px / (sky->level_err_adu * needs.gain_e_per_adu)};
    }
    return {};
}

Result<FrameLook> FrameLook::open(const frame::Frame& frame, const FrameFluxes& measured,
                                  const standard::Sequence& sequence, const Campaign& campaign) {
    const auto stated = needs_of(frame.facts());
    if (!stated) return fail(stated.error());
    if (!frame.wcs()) return fail(frame.wcs().error());
    const double unit = unit_of(frame, *stated);
    // Its profile tells what the pixels' lattice does to a star's light.
    const auto field = find_stars(frame, *frame.wcs(), in_unit(*stated, unit), sequence, campaign);
    if (!field) return fail(field.error());
    auto out = std::make_unique<Opened>(frame, measured);
    out->needs = settle_stack(frame, *field, *stated, unit, sequence).needs;
    std::vector<FrameAperture> grid;
    for (std::size_t k = 0; k < measured.apertures.size(); ++k) {
        if (measured.apertures[k].is_psf()) continue;
        out->circles.push_back(k);
        out->radii_px.push_back(measured.apertures[k].radius_px);
        grid.push_back(measured.apertures[k]);
    }
    out->annulus = annulus_around(grid, measured.fwhm_px, measured.scale_arcsec_per_px, campaign.measure);
    out->sampled.emplace(out->frame.facts(), field->profile, out->radii_px);
    if (auto settled = out->settle_widening(); !settled) return fail(settled.error());
    return FrameLook(std::move(out));
}

Result<StarLook> FrameLook::at(const StarFlux& star) const {
    StarOnFrame one;
    one.label = star.label;
    one.place = star.place;
    one.transient = star.label == photometry::transient_label;
    one.position = one.predicted = star.position;
    one.position_err_px = star.position_err_px;
    one.forced = star.forced;
    auto cutout = opened_->read(star.position, 2.0);
    if (!cutout) return fail(cutout.error());
    one.cutout = std::move(*cutout);
    const auto centroid = stars::measure_centroid(one.cutout, star.position, opened_->measured.fwhm_px,
                                                  opened_->measured.fwhm_px, opened_->needs.gain_e_per_adu);
    if (centroid) one.centroid = *centroid;
    auto out = opened_->look(std::move(one), &star);
    if (out) out->place = star.place;
    return out;
}

Result<StarLook> FrameLook::at(const frame::PixelPosition& place, double reach_px) const {
    if (!opened_->frame.facts().holds(place)) {
        return fail({.what = "That place is off the frame.",
                     .where = opened_->frame.facts().path,
                     .mend = "Pixels count from 0, the first stored row is y = 0.",
                     .kind = ProblemKind::request});
    }
    auto cutout = opened_->read(place, reach_px + 2.0);
    if (!cutout) return fail(cutout.error());
    StarOnFrame one;
    one.position = one.predicted = place;
    one.forced = true;
    one.cutout = std::move(*cutout);
    const auto found = stars::measure_centroid(one.cutout, place, opened_->measured.fwhm_px, reach_px,
                                               opened_->needs.gain_e_per_adu);
    if (found) {
        one.centroid = *found;
        one.position = found->position;
        one.position_err_px = std::max(found->x_err_px, found->y_err_px);
        one.forced = false;
    }
    // On the sky as the comparison stars have it.
    const auto& wcs = *opened_->frame.wcs();
    const auto sky = wcs.sky(
        {one.position.x - opened_->measured.shift_x_px, one.position.y - opened_->measured.shift_y_px});
    auto out = opened_->look(std::move(one), nullptr);
    if (out && sky) out->place = *sky;
    return out;
}

FrameLook::FrameLook(std::unique_ptr<Opened> opened) : opened_(std::move(opened)) {}
FrameLook::FrameLook(FrameLook&&) noexcept = default;
FrameLook& FrameLook::operator=(FrameLook&&) noexcept = default;
FrameLook::~FrameLook() = default;

}  // namespace emberline::night
