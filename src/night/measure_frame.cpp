// SPDX-License-Identifier: MIT
#include "night/measure_frame.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "night/aperture_grid.hpp"
#include "night/find_stars.hpp"
#include "night/frame_needs.hpp"
#include "night/host_template.hpp"
#include "night/judge_linearity.hpp"
#include "night/pattern_check.hpp"
#include "night/psf_fluxes.hpp"
#include "night/sampled_light.hpp"
#include "night/seen_place.hpp"
#include "night/settle_stack.hpp"
#include "night/star_light.hpp"
#include "night/star_noise.hpp"
#include "night/surroundings.hpp"
#include "numerics/robust.hpp"
#include "photometry/growth.hpp"
#include "photometry/local_sky.hpp"
#include "photometry/noise.hpp"
#include "photometry/pixel_correlation.hpp"
#include "quantities/text.hpp"
#include "sky/barycentre.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

using photometry::FrameFluxes;
using photometry::StarFlux;

constexpr double trailed_elongation = 1.5;
constexpr double pointing_off_arcsec = 4.0;
constexpr double low_airmass = 3.0;
// Chosen so that rehearsals with and without a host, and the real supernova at a core, are told apart; not
// tuned beyond that. What they decide is a flag and, for host light, the kind of aperture.
constexpr double uneven_sky = 4.0;            // chi² per degree of freedom of the transient's annulus
constexpr double uneven_against_stars = 3.0;  // … and against the comparison stars' annuli
constexpr double nucleus_reach_fwhm = 3.0;    // a nucleus this near the largest aperture shines into it
constexpr double block_fwhm = 1.8;            // side of a square as large as an aperture of one FWHM
constexpr double blend_sigma = 5.0;           // growth curve beside the others'
constexpr double blend_fraction = 0.03;

// How sky pixels vary together, as a star's annulus shows it.
void add_pulls(const StarOnFrame& star, const StarLight& light, const photometry::Annulus& annulus,
               std::vector<photometry::BlockScale>& scales) {
    for (photometry::BlockScale& scale : scales) {
        const auto own =
            photometry::block_pulls(star.cutout, star.position, annulus, light.sky, scale.side_px);
        scale.pulls.insert(scale.pulls.end(), own.begin(), own.end());
    }
}

double flux_err_e(const FrameFluxes& frame, const StarFlux& star, std::size_t k) {
    return std::sqrt(noise_terms(frame, star, k).variance_e2(star.flux_e[k]));
}

// A star whose light goes on growing where the others' has ended has company. True where the transient's
// does: its host's light.
bool mark_blends(FrameFluxes& frame) {
    if (frame.apertures.size() < 3) return false;
    const std::size_t last = frame.apertures.size() - 1;
    std::size_t core = 0;
    while (core < last && frame.apertures[core].radius_px < 1.2 * frame.fwhm_px)
        ++core;
    struct Growth {
        StarFlux* star;
        double ratio, err;
    };
    std::vector<Growth> growths;
    std::vector<double> ratios;
    for (StarFlux& star : frame.stars) {
        if (!(star.flux_e[core] > 0.0) || star.flux_e[last] < 20.0 * flux_err_e(frame, star, last)) continue;
        const double ratio = star.flux_e[last] / star.flux_e[core];
        growths.push_back({&star, ratio,
                           ratio * std::hypot(flux_err_e(frame, star, last) / star.flux_e[last],
                                              flux_err_e(frame, star, core) / star.flux_e[core])});
        if (star.label != photometry::transient_label) ratios.push_back(ratio);
    }
    if (ratios.size() < 3) return false;
    const double usual = numerics::median(ratios);
    bool transient_grows = false;
    for (const Growth& g : growths) {
        if (g.ratio - usual < std::max(blend_sigma * g.err, blend_fraction * usual)) continue;
        if (g.star->label == photometry::transient_label) {
            transient_grows = true;
            continue;
        }
        for (std::size_t k = core + 1; k <= last; ++k) {
            if (g.star->flux_e[k] > (1.0 + blend_fraction) * g.star->flux_e[core])
                g.star->caveats[k].add(Caveat::blended);
        }
    }
    return transient_grows;
}

// Light that is not flat about the transient, or a nucleus within reach: nothing models it yet.
bool host_shines_in(const FrameFluxes& frame, const Campaign& campaign) {
    const StarFlux& transient = frame.stars.front();
    if (campaign.nucleus) {
        const double distance_px =
            separation(campaign.position, *campaign.nucleus).arcseconds() / frame.scale_arcsec_per_px;
        if (distance_px < frame.apertures.back().radius_px + nucleus_reach_fwhm * frame.fwhm_px) return true;
    }
    std::vector<double> others;
    for (const StarFlux& star : frame.stars) {
        if (&star != &transient) others.push_back(star.sky_unevenness);
    }
    const double usual = others.empty() ? 1.0 : std::max(1.0, numerics::median(others));
    return transient.sky_unevenness > uneven_sky && transient.sky_unevenness > uneven_against_stars * usual;
}

// Debayered, resampled and stacked pixels vary together: an aperture scatters more than its pixels tell. The
// scatter becomes that of apertures in use; each says how it differs from them.
void widen_correlated(FrameFluxes& out, const photometry::NoiseGrowth& growth) {
    if (growth.independent()) return;
    const double usual = growth.of_square(block_fwhm * out.fwhm_px);
    const double wide = growth.of_square(out.apertures.back().radius_px * 2.0);
    for (photometry::FrameAperture& aperture : out.apertures)
        aperture.sky_noise_factor = growth.of_circle(aperture.radius_px) / usual;
    for (StarFlux& star : out.stars) {
        star.sky_scatter_e *= usual;
        star.sky_err_e_per_px *= wide;
        star.sky_pixels *= usual * usual / (wide * wide);
    }
    out.remarks.push_back(fmt::format(
        "Neighbouring pixels vary together: the sky's noise counts {:.2f} times in the smallest "
        "aperture, {:.2f} times in the largest.",
        growth.of_circle(out.apertures.front().radius_px), growth.of_circle(out.apertures.back().radius_px)));
}

// What cannot be had is remarked: the frame still has its plain apertures.
void look_at_host(FrameFluxes& out, const frame::Frame& frame, const frame::Wcs& wcs, const StarField& field,
                  const FrameNeeds& needs, const SampledLight& sampled, const Campaign& campaign,
                  bool keep_surroundings, const Result<HostTemplate>* host_template) {
    std::optional<photometry::Psf> psf;
    if (auto built = add_psf_fluxes(out, field, needs, sampled)) {
        psf = std::move(*built);
    } else {
        out.remarks.push_back(one_line(built.error()));
    }
    if (!keep_surroundings) return;
    auto around = surroundings_of(frame, wcs, needs, campaign, out, psf,
                                  half_width_px(campaign, out.fwhm_px, out.scale_arcsec_per_px));
    if (!around) {
        out.remarks.push_back(one_line(around.error()));
        return;
    }
    if (host_template != nullptr && *host_template) {
        auto light = (*host_template)->subtract_from(out, field, wcs, *around);
        if (light) {
            out.host_lights.push_back(std::move(*light));
        } else {
            out.remarks.push_back(template_refusal + one_line(light.error()));
        }
    }
    out.surroundings = std::move(*around);
}

// Time, air and place.
void add_circumstances(FrameFluxes& out, const frame::FrameFacts& facts, const Campaign& campaign) {
    const std::optional<sky::Site> site =
        campaign.site ? campaign.site
                      : (facts.site ? std::optional<sky::Site>(facts.site->value) : std::nullopt);
    out.bjd_tdb = sky::bjd_tdb(out.mid_exposure, campaign.position, site);
    out.night = sky::night_of(out.mid_exposure, site ? site->longitude.degrees() : 0.0);
    if (site) {
        const sky::Horizon horizon(out.mid_exposure, *site);
        out.airmass = horizon.airmass(campaign.position);
        for (StarFlux& star : out.stars)
            star.airmass = horizon.airmass(star.place);
    } else if (facts.header_airmass) {
        out.airmass = facts.header_airmass->value;
    }
    if (!out.airmass) {
        out.caveats.add(Caveat::no_airmass);
    } else {
        if (*out.airmass > low_airmass) out.caveats.add(Caveat::low_altitude);
        if (facts.aperture_mm) {
            out.scintillation = photometry::scintillation(facts.aperture_mm->value / 1000.0, out.exposure_s,
                                                          *out.airmass, site ? site->elevation_m : 0.0);
        }
    }
}

void describe_frame(FrameFluxes& out, const frame::FrameFacts& facts, const frame::Wcs& wcs,
                    const frame::PlateOrigin& plate, const StarField& field) {
    out.scale_arcsec_per_px = wcs.scale_arcsec_per_px();
    out.mirrored = wcs.mirrored();
    out.rotation_deg = wcs.position_angle_of_y().degrees();
    out.plate = plate.solved ? "solved" : "header";
    out.plate_stars = plate.stars;
    out.plate_rms_arcsec = plate.rms_arcsec;
    if (const auto middle = wcs.sky(facts.middle())) {
        out.middle_ra_deg = middle->ra.degrees();
        out.middle_dec_deg = middle->dec.degrees();
    }
    out.fwhm_px = field.profile.fwhm_px;
    out.elongation = field.profile.elongation;
    out.direction_deg = field.profile.direction.degrees();
    out.shift_x_px = field.registration.dx_px;
    out.shift_y_px = field.registration.dy_px;
    out.shift_scatter_px = field.registration.scatter_px;
    out.stars_expected = field.expected;
    out.stars_found = field.found;
    if (out.elongation > trailed_elongation) out.caveats.add(Caveat::trailed);
    if (std::hypot(out.shift_x_px, out.shift_y_px) * out.scale_arcsec_per_px > pointing_off_arcsec) {
        out.caveats.add(Caveat::pointing_off);
    }
}

}  // namespace

Result<FrameFluxes> measure_frame(const frame::Frame& frame, std::string name, std::string fingerprint,
                                  const standard::Sequence& sequence, const Campaign& campaign,
                                  const HostTemplates* templates) {
    const frame::FrameFacts& facts = frame.facts();
    // Darks and flats lie among the night's files.
    if (facts.kind && facts.kind->value != frame::FrameKind::light) {
        return fail(
            {.what = fmt::format("This is no picture of the sky but a calibration frame, by its {}: it "
                                 "is not measured.",
                                 facts.kind->source),
             .where = facts.path,
             .mend = "Name the frames of the sky only."});
    }
    const auto stated = needs_of(facts);
    if (!stated) return fail(stated.error());
    const Result<frame::Wcs>& wcs = frame.wcs();
    if (!wcs) return fail(wcs.error());
    const double unit = unit_of(frame, *stated);
    auto field = find_stars(frame, *wcs, in_unit(*stated, unit), sequence, campaign);
    if (!field) return fail(field.error());
    auto pattern = check_pattern(frame, *field, sequence);
    if (!pattern) return fail(pattern.error());
    StackVerdict stack = settle_stack(frame, *field, *stated, unit, sequence);
    const FrameNeeds& needs = stack.needs;

    FrameFluxes out;
    out.frame = std::move(name);
    out.fingerprint = std::move(fingerprint);
    out.plane = facts.plane;
    out.band = needs.band;
    out.instrument = facts.instrument;
    if (facts.filter) out.filter = facts.filter->value;
    out.exposure_s = facts.exposure_s->value;
    out.gain_e_per_adu = needs.gain_e_per_adu;
    out.read_noise_e = needs.read_noise_e;
    out.flat_err = campaign.measure.flat_err;
    out.stack_of = facts.stack_of;
    out.caveats = facts.caveats;
    if (!out.stack_of.empty()) out.caveats.add(Caveat::measured_on_stack);
    out.remarks = facts.remarks;
    const auto add = [&out](const Caveats& caveats, const std::vector<std::string>& remarks) {
        out.caveats.add(caveats);
        out.remarks.insert(out.remarks.end(), remarks.begin(), remarks.end());
    };
    add(pattern->caveats, pattern->remarks);
    add(stack.caveats, stack.remarks);
    if (stack.gain_told) out.caveats.remove(Caveat::gain_assumed);
    if (stack.exposure_s) out.exposure_s = *stack.exposure_s;
    out.mid_exposure = sky::to_utc(stack.mid_exposure.value_or(facts.mid_exposure->value));
    describe_frame(out, facts, *wcs, frame.plate(), *field);
    out.apertures = aperture_grid(out.fwhm_px, out.scale_arcsec_per_px, campaign.measure);
    std::vector<double> radii_px;
    for (const auto& aperture : out.apertures)
        radii_px.push_back(aperture.radius_px);
    const photometry::Annulus annulus =
        annulus_around(out.apertures, out.fwhm_px, out.scale_arcsec_per_px, campaign.measure);
    const SampledLight sampled(facts, field->profile, radii_px);
    add(sampled.caveats(), sampled.remarks());
    std::vector<photometry::BlockScale> scales = photometry::block_scales(2.0 * radii_px.back());
    for (const StarOnFrame& star : field->stars) {
        auto light = light_of(star, radii_px, annulus, needs, sampled);
        if (light) {
            if (!star.transient) add_pulls(star, *light, annulus, scales);
            out.stars.push_back(std::move(light->flux));
        } else if (star.transient) {
            return fail(at(facts.path + ", at the transient", light.error()));
        }
    }
    widen_correlated(out, photometry::noise_growth(scales));
    add_circumstances(out, facts, campaign);
    const auto linear = judge_linearity(frame, out, *field, needs, sequence, campaign);
    if (!linear) return fail(linear.error());
    add(linear->caveats, linear->remarks);
    const bool grows = mark_blends(out);
    const bool host = grows || host_shines_in(out, campaign);
    if (host) {
        for (Caveats& caveats : out.stars.front().caveats)
            caveats.add(Caveat::host_unmodelled);
    }
    const Result<HostTemplate>* host_template = templates != nullptr ? templates->find(out.band) : nullptr;
    if (host || host_template != nullptr || campaign.measure.psf.value_or(false))
        look_at_host(out, frame, *wcs, *field, needs, sampled, campaign, host || host_template != nullptr,
                     host_template);
    out.seen = seen_place(out, *field, *wcs, needs, campaign);
    return out;
}

std::string flux_settings(const Campaign& campaign, const standard::Sequence& sequence) {
    const MeasureSettings& m = campaign.measure;
    const auto maybe = [](const auto& v) { return v ? fmt::format("{:.10g}", *v) : std::string("-"); };
    std::string text = fmt::format("transient {:.7f} {:.7f}", campaign.position.ra.degrees(),
                                   campaign.position.dec.degrees());
    if (campaign.nucleus) {
        text += fmt::format(" nucleus {:.7f} {:.7f}", campaign.nucleus->ra.degrees(),
                            campaign.nucleus->dec.degrees());
    }
    if (campaign.site) {
        text += fmt::format("\nsite {:.6f} {:.6f} {:.1f}", campaign.site->latitude.degrees(),
                            campaign.site->longitude.degrees(), campaign.site->elevation_m);
    }
    text += fmt::format("\nmeasure {} {} {:g} {:g} {} {} {:g} {} {:g}", maybe(m.aperture_fwhm),
                        maybe(m.aperture_arcsec), m.annulus_inner_fwhm, m.annulus_outer_fwhm,
                        maybe(m.annulus_inner_arcsec), maybe(m.annulus_outer_arcsec), m.flat_err,
                        m.least_comparison_stars, m.most_shift_arcsec);
    for (const frame::Instrument& i : campaign.instruments) {
        text += fmt::format("\ninstrument {} {} {} {} {} {} {} {}", i.name, i.override_header ? 1 : 0,
                            maybe(i.aperture_mm), maybe(i.gain_e_per_adu), maybe(i.read_noise_e),
                            maybe(i.saturation_adu), maybe(i.linear_to_adu), maybe(i.exposure_s));
        if (i.pattern) text += " pattern " + lower_case(*i.pattern);
        for (const auto& [keyword, value] : i.match)
            text += fmt::format(" {}={}", keyword, value);
        for (const auto& [filter, band] : i.bands)
            text += fmt::format(" {}->{}", filter, band);
        if (i.offset_adu) text += fmt::format(" offset {:g}", *i.offset_adu);
        if (i.stacked) text += fmt::format(" stacked {}", *i.stacked);
        if (i.stack) text += fmt::format(" stack {}", *i.stack);
    }
    // A template that was made anew under its name is another template.
    text += "\nhost";
    if (m.psf.value_or(false)) text += " psf";
    if (!m.refuse_processed) text += " processed";
    for (const auto& [band, path] : campaign.host_templates) {
        const auto print = frame::fingerprint(campaign.path(path));
        text += fmt::format(" {}={} {}", band, path, print ? *print : "-");
    }
    if (!campaign.masters.empty())
        text += "\nmasters" + frame::masters_text(campaign.masters, campaign.folder);
    text += "\nbands";
    for (const Band& band : sequence.bands)
        text += ' ' + band.name();
    std::vector<std::string> stars;
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (!takes_part(star, campaign)) continue;
        stars.push_back(fmt::format("\nstar {} {:.7f} {:.7f}", star.label, star.position.ra.degrees(),
                                    star.position.dec.degrees()));
    }
    std::sort(stars.begin(), stars.end());
    for (const std::string& star : stars)
        text += star;
    return text;
}

}  // namespace emberline::night
