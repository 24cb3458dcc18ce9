// SPDX-License-Identifier: MIT
#include "rehearsal/invented_template.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "frame/write_frame.hpp"
#include "rehearsal/option_limits.hpp"
#include "rehearsal/plate.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr const char* template_options = "template options";
constexpr double wider = 1.15;  // than the campaign's frames, where no size is asked for
constexpr int least_px = 100, most_px = 20000;

Result<void> check(const TemplateOptions& o) {
    return check_limits(
        {
            {"template's exposure in seconds", o.exposure_s, 0.001, 1e6},
            {"template's scale in arcseconds a pixel", o.scale_arcsec_per_px, 0.1, 10},
            {"template's rotation in degrees", o.rotation_deg, -360, 360},
            {"template's width of star images in arcseconds", o.fwhm_arcsec, 1.0 * o.scale_arcsec_per_px, 30},
            {"template's Moffat exponent", o.moffat_beta, 1.5, 20},
            {"template's elongation", o.elongation, 1, 5},
            {"template's zero point", o.zero_point_mag, 5, 35},
            {"template's colour term", o.colour_term.value_or(0.0), -2, 2},
            {"template's gain in electrons per ADU", o.gain_e_per_adu, 0.005, 100},
            {"template's read noise in electrons", o.read_noise_e, 0, 1000},
            {"template's sky in magnitudes a square arcsecond", o.sky_mag_per_arcsec2, 10, 30},
            {"template's distance to the east in arcseconds", o.east_arcsec, -36000, 36000},
            {"template's distance to the north in arcseconds", o.north_arcsec, -36000, 36000},
            {"transient's share in the template", o.residual_share, 0, 100},
            {"template's width in pixels", static_cast<double>(o.width_px), 0, most_px},
            {"template's height in pixels", static_cast<double>(o.height_px), 0, most_px},
        },
        template_options);
}

// Magnitudes in a band that the tables may lack: along the line in 1/wavelength that made them.
void add_band(std::map<Band, double>& magnitudes, const Band& wanted) {
    const Band band = sequence_band(wanted);
    if (magnitudes.size() < 2 || magnitudes.contains(band)) return;
    const auto& [first, first_mag] = *magnitudes.begin();
    const auto& [last, last_mag] = *magnitudes.rbegin();
    const double colour_mag = (last_mag - first_mag) / (colour_slope(last) - colour_slope(first));
    magnitudes[band] = first_mag + (colour_slope(band) - colour_slope(first)) * colour_mag;
}

InventedSky sky_of(const InventedCampaign& campaign, const TemplateOptions& o, const Band& band,
                   const Instant& start) {
    InventedSky sky = campaign.sky;
    for (InventedStar& star : sky.stars)
        add_band(star.true_mag, band);
    if (sky.host) add_band(sky.host->colour_offset_mag, band);
    InventedTransient& transient = sky.transient;
    add_band(transient.peak_mag, band);
    // As at its peak, dimmed to its share, whenever the template was taken.
    transient.peak_bjd_tdb = start.jd() - 1.0;
    transient.decline_mag_per_day.clear();
    transient.light_share = o.residual_share;
    return sky;
}

InventedInstrument instrument_of(const InventedCampaign& campaign, const TemplateOptions& o,
                                 const Band& band) {
    const InventedInstrument& other = campaign.instrument;
    const double finer = wider * other.scale_arcsec_per_px / o.scale_arcsec_per_px;
    const auto size = [&](int asked, int usual) {
        return asked > 0 ? asked : std::clamp(static_cast<int>(finer * usual), least_px, most_px);
    };
    InventedInstrument instrument;
    instrument.width_px = size(o.width_px, other.width_px);
    instrument.height_px = size(o.height_px, other.height_px);
    instrument.scale_arcsec_per_px = o.scale_arcsec_per_px;
    instrument.gain_e_per_adu = o.gain_e_per_adu;
    instrument.read_noise_e = o.read_noise_e;
    instrument.offset_adu = 100.0;
    instrument.aperture_m = 0.6;
    instrument.hot_pixels = 0;  // a stack has neither
    instrument.cosmic_rays_per_minute = 0.0;
    instrument.zero_point_mag[band] = o.zero_point_mag;
    const auto term = other.colour_term.find(band);
    instrument.colour_term[band] =
        o.colour_term.value_or(term == other.colour_term.end() ? 0.0 : term->second);
    instrument.sensor_seed = o.seed;
    return instrument;
}

}  // namespace

Result<ExposedTemplate> expose_template(const InventedCampaign& campaign, const TemplateOptions& o,
                                        const Band& usual_band) {
    if (auto good = check(o); !good) return fail(good.error());
    auto band = o.band ? parse_band(*o.band) : Result<Band>(usual_band);
    auto start = sky::parse_instant(o.start_utc);
    for (Problem* problem : {band ? nullptr : &band.error(), start ? nullptr : &start.error()}) {
        if (problem == nullptr) continue;
        problem->kind = ProblemKind::request;
        return fail(at(template_options, *problem));
    }
    const SkyPosition& transient = campaign.sky.transient.position;
    if (!sky::airmass(sky::later_by(*start, 0.5 * o.exposure_s), transient, campaign.site)) {
        return fail({.what = "The field is below the horizon when the template is taken.",
                     .where = template_options,
                     .mend = "Choose a time of a night in which it is up.",
                     .kind = ProblemKind::request});
    }
    ExposedTemplate exposed{.instrument = instrument_of(campaign, o, *band),
                            .pointing = {.centre = displaced(transient, {Angle::arcseconds(o.east_arcsec),
                                                                         Angle::arcseconds(o.north_arcsec)}),
                                         .rotation_deg = o.rotation_deg,
                                         .mirrored = o.mirrored},
                            .band = *band,
                            .start_utc = *start,
                            .exposure_s = o.exposure_s};
    const InventedAir air{.fwhm_arcsec = o.fwhm_arcsec,
                          .moffat_beta = o.moffat_beta,
                          .elongation = o.elongation,
                          .sky_mag_per_arcsec2 = o.sky_mag_per_arcsec2};
    exposed.frame = expose(sky_of(campaign, o, *band, *start), exposed.instrument, air, exposed.pointing,
                           campaign.site, *band, *start, o.exposure_s, o.seed);
    return exposed;
}

Result<ExposedTemplate> expose_template(const InventedCampaign& campaign, const TemplateOptions& options) {
    return expose_template(campaign, options, campaign.bands.front());
}

std::vector<frame::Card> template_cards(const ExposedTemplate& exposed) {
    const auto words = [](const char* keyword, std::string value, const char* comment) {
        return frame::Card{keyword, std::move(value), comment, true};
    };
    const auto number = [](const char* keyword, double value, const char* comment) {
        return frame::Card{keyword, fmt::format("{:.10G}", value), comment, false};
    };
    std::string start = sky::iso(exposed.start_utc, 2);
    if (start.ends_with('Z')) start.pop_back();  // FITS dates carry no zone
    std::vector<frame::Card> cards = {
        words("ORIGIN", "an invented survey", ""),
        words("TELESCOP", "hilltop reflector", ""),
        words("INSTRUME", "survey camera", ""),
        words("FILTER", exposed.band.name(), ""),
        words("DATE-BEG", start, "UTC"),
        number("XPOSURE", exposed.exposure_s, "[s]"),
        number("EGAIN", exposed.instrument.gain_e_per_adu, "[e-/ADU]"),
        number("RDNOISE", exposed.instrument.read_noise_e, "[e-]"),
        number("SATURATE", exposed.instrument.full_adu, "[adu]"),
    };
    for (frame::Card& card : Plate(exposed.instrument, exposed.pointing).cards())
        cards.push_back(std::move(card));
    return cards;
}

Result<void> write_template(const std::string& path, const ExposedTemplate& exposed) {
    auto written = frame::write_frame(path, exposed.frame.width_px, exposed.frame.height_px,
                                      exposed.frame.adu, template_cards(exposed));
    if (!written) written.error().kind = ProblemKind::storage;
    return written;
}

}  // namespace emberline::rehearsal
