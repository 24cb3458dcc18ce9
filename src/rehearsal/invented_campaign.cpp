// SPDX-License-Identifier: MIT
#include "rehearsal/invented_campaign.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "frame/colour_pattern.hpp"
#include "numerics/random.hpp"
#include "rehearsal/mosaic.hpp"
#include "rehearsal/night_times.hpp"
#include "rehearsal/option_limits.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

constexpr std::uint64_t night_stream = 1000, frame_seed_stream = 2, defocus_stream = 3, trouble_stream = 40,
                        star_stream = 50;
constexpr double readout_s = 5.0;
constexpr double longest_run_s = 12.0 * 3600.0;
constexpr double demo_pixels = 800.0 * 600.0;  // that the counts of hot pixels and cosmic rays are for
constexpr double comparison_margin_px = 36.0;  // a star's annulus, and the scatter of the pointing

constexpr const char* rehearsal_options = "rehearsal options";

Problem refusal(std::string what, std::string mend) {
    return {.what = std::move(what),
            .where = rehearsal_options,
            .mend = std::move(mend),
            .kind = ProblemKind::request};
}

double seconds_a_frame(const RehearsalOptions& o) {
    if (!o.stack) return o.exposure_s;
    const double taken = static_cast<double>(o.stack->exposures) + o.stack->dropped;
    return taken * (o.exposure_s + o.stack->between_s);
}

Result<std::vector<Band>> check_time(const RehearsalOptions& o, std::vector<Band> bands,
                                     double files_a_turn) {
    if (o.frames * files_a_turn * (seconds_a_frame(o) + readout_s) <= longest_run_s) return bands;
    return fail(refusal("The frames do not fit into a night.",
                        "Ask for fewer frames, fewer bands or shorter exposures: twelve hours in all."));
}

// What colour cameras, calibration frames and stacks ask for besides.
Result<void> check_extras(const RehearsalOptions& o) {
    if (o.pattern && !frame::parse_colour_pattern(*o.pattern)) {
        return fail(refusal(fmt::format("A mosaic cannot have the pattern '{}'.", *o.pattern),
                            "Choose RGGB, BGGR, GRBG or GBRG."));
    }
    if (o.debayered && !o.pattern) {
        return fail(refusal("Only a colour camera's frames can be debayered.",
                            "Name the pattern of its mosaic as well, such as RGGB."));
    }
    if (o.processed_share > 0.0 && o.processing == Processing::none) {
        return fail(refusal("It is not said how the processed frames were processed.",
                            "Name a kind, such as gamma, or let the share of processed frames be 0."));
    }
    if (o.stack) {
        auto good =
            check_limits({{"number of stacked exposures", static_cast<double>(o.stack->exposures), 1, 1000},
                          {"number of dropped exposures", static_cast<double>(o.stack->dropped), 0, 1000},
                          {"pause between exposures in seconds", o.stack->between_s, 0, 3600},
                          {"drift of the field in pixels", o.stack->drift_px, 0, 50}},
                         rehearsal_options);
        if (!good) return good;
    }
    if (!o.calibration) return {};
    return check_limits(
        {{"number of bias exposures", static_cast<double>(o.calibration->bias), 0, 1000},
         {"number of dark exposures", static_cast<double>(o.calibration->dark), 0, 1000},
         {"number of flat exposures", static_cast<double>(o.calibration->flat), 0, 1000},
         {"level of the flats as a share of saturation", o.calibration->flat_level, 0.001, 1.5}},
        rehearsal_options);
}

Result<std::vector<Band>> check(const RehearsalOptions& o) {
    const std::vector<OptionLimit> limits = {
        {"number of nights", static_cast<double>(o.nights), 1, 3000},
        {"number of frames a night", static_cast<double>(o.frames), 1, 100000},
        {"spacing of nights in days", o.night_spacing_days, 1, 365},
        {"exposure in seconds", o.exposure_s, 0.001, 7200},
        {"peak magnitude", o.peak_mag, -5, 30},
        {"decline in magnitudes a day", o.decline_mag_per_day, -5, 5},
        {"catalogue error in magnitudes", o.catalogue_err_mag, 0, 2},
        {"number of comparison stars", static_cast<double>(o.comparison_stars), 0, 1000},
        {"faintest comparison magnitude", o.faintest_comparison_mag, 5, 25},
        {"distance of the host in arcseconds", o.host_offset_arcsec, 0, 3600},
        {"frame width in pixels", static_cast<double>(o.width_px), 100, 20000},
        {"frame height in pixels", static_cast<double>(o.height_px), 100, 20000},
        {"width of star images in arcseconds", o.fwhm_arcsec, 1.2, 30},
        {"colour term", o.colour_term, -2, 2},
        {"angle of the host in degrees", o.host_angle_deg.value_or(0.0), -360, 360},
        {"share of defocused frames", o.defocused_share, 0, 1},
        {"blur of defocused frames in pixels", o.defocus_px, 0, 20},
        {"share of light lost in the corners", o.vignetting, 0, 0.95},
        {"number of dust rings", static_cast<double>(o.dust_rings), 0, 1000},
        {"amplifier glow in electrons a second", o.amp_glow_e_per_s, 0, 1000},
        {"number of dead pixels", static_cast<double>(o.dead_pixels), 0, 1e6},
        {"dark current in electrons a second", o.dark_e_per_s.value_or(0.0), 0, 1000},
        {"number of hot pixels", static_cast<double>(o.hot_pixels.value_or(0)), 0, 1e6},
        {"share of processed frames", o.processed_share, 0, 1},
    };
    if (auto good = check_limits(limits, rehearsal_options); !good) return fail(good.error());
    if (auto good = check_extras(o); !good) return fail(good.error());
    if (auto good = check_troubles(o.field, rehearsal_options); !good) return fail(good.error());
    if (auto good = check_troubles(o.stars, o.comparison_stars, rehearsal_options); !good)
        return fail(good.error());
    if (o.pattern) return check_time(o, std::vector<Band>(mosaic_bands().begin(), mosaic_bands().end()), 1.0);
    std::vector<Band> bands;
    for (const std::string& name : o.bands) {
        auto band = parse_band(name);
        if (!band) {
            band.error().kind = ProblemKind::request;
            return fail(at(rehearsal_options, band.error()));
        }
        if (std::find(bands.begin(), bands.end(), *band) != bands.end()) {
            return fail(
                refusal(fmt::format("The band {} is named twice.", band->name()), "Name each band once."));
        }
        bands.push_back(*band);
    }
    if (bands.empty()) return fail(refusal("There is no band.", "Name at least one, such as V."));
    const auto number = static_cast<double>(bands.size());
    return check_time(o, std::move(bands), number);
}

InventedInstrument instrument_of(const RehearsalOptions& o, const std::vector<Band>& bands) {
    InventedInstrument instrument;
    instrument.width_px = o.width_px;
    instrument.height_px = o.height_px;
    const double share = static_cast<double>(o.width_px) * o.height_px / demo_pixels;
    instrument.hot_pixels = static_cast<int>(std::lround(instrument.hot_pixels * share));
    instrument.cosmic_rays_per_minute *= share;
    instrument.sensor_seed = o.seed;
    for (const Band& band : bands) {
        instrument.zero_point_mag[band] = usual_zero_point_mag - 0.2 * std::abs(colour_slope(band));
        instrument.colour_term[band] = o.colour_term;
    }
    instrument.pattern = o.pattern ? frame::parse_colour_pattern(*o.pattern)->word() : "";
    if (o.pattern) give_dye_filters(instrument, usual_zero_point_mag);
    instrument.top_down = o.top_down;
    instrument.vignetting = o.vignetting;
    instrument.dust_rings = o.dust_rings;
    instrument.amp_glow_e_per_s = o.amp_glow_e_per_s;
    instrument.dead_pixels = o.dead_pixels;
    instrument.dark_e_per_s = o.dark_e_per_s.value_or(instrument.dark_e_per_s);
    instrument.hot_pixels = o.hot_pixels.value_or(instrument.hot_pixels);
    if (o.calibration) {
        // What calibration frames are taken for, and what they cannot cure.
        instrument.flat_err = 0.008;
        instrument.column_err_adu = 2.0;
        instrument.unstable_share = 0.1;
    }
    return instrument;
}

// The one whose magnitudes the options tell first, then the others.
std::vector<Band> bands_as_told(const RehearsalOptions& o, std::vector<Band> bands) {
    if (o.pattern)
        std::stable_partition(bands.begin(), bands.end(),
                              [](const Band& band) { return band == green_band(); });
    return bands;
}

InventedSky sky_of(const RehearsalOptions& o, const std::vector<Band>& bands, double scale_arcsec_per_px) {
    SkyOptions options{.seed = o.seed,
                       .centre = {*parse_right_ascension("13:25:21.12"), *parse_declination("+37:16:12.0")},
                       .comparison_stars = o.comparison_stars,
                       .faintest_mag = o.faintest_comparison_mag,
                       .catalogue_err_mag = o.catalogue_err_mag,
                       .host = o.host,
                       .host_kind = o.host_kind,
                       .host_offset_arcsec = o.host_offset_arcsec,
                       .host_angle_deg = o.host_angle_deg,
                       .bands = bands};
    options.brightest_mag = std::min(options.brightest_mag, o.faintest_comparison_mag - 1.0);
    const double side_px = std::min(o.width_px, o.height_px) - 2.0 * comparison_margin_px;
    options.field_arcmin = side_px * scale_arcsec_per_px / 60.0;
    // A frame's corners reach beyond the square of the table's stars, and a galaxy field has its due of
    // faint stars: about one in three square arcminutes.
    options.spread_over = 1.1 * std::hypot(o.width_px, o.height_px) / side_px;
    options.field_stars = static_cast<int>(std::pow(options.field_arcmin * options.spread_over, 2.0) / 3.0);
    InventedSky sky = invent_sky(options);
    give_troubles(sky, o.stars, numerics::Random(o.seed).stream(star_stream));
    sky.transient.name = "DEMO SN 1";
    const Band first = sequence_band(bands.front());
    for (const Band& band : with_partners(bands)) {
        sky.transient.peak_mag[band] =
            o.peak_mag + (colour_slope(band) - colour_slope(first)) * transient_colour_mag;
        sky.transient.decline_mag_per_day[band] = o.decline_mag_per_day;
    }
    return sky;
}

// What a night has for all its frames.
struct Night {
    double fwhm_arcsec, sky_mag, extra_extinction_mag, camera_angle_deg;
    bool cloudy;
    SkyOffset aim;  // of the frame's middle from the transient
};

Night invent_night(const RehearsalOptions& o, int number, double scale_arcsec_per_px,
                   numerics::Random& random) {
    const auto aim = [&] {
        return Angle::arcseconds(scale_arcsec_per_px * std::clamp(random.gaussian(0.0, 6.0), -12.0, 12.0));
    };
    return {.fwhm_arcsec = o.fwhm_arcsec * std::exp(random.gaussian(0.0, 0.10)),
            .sky_mag = random.uniform(19.6, 20.3),
            .extra_extinction_mag = std::max(-0.03, random.gaussian(0.0, 0.02)),
            .camera_angle_deg = random.gaussian(1.5, 0.3) + o.field.camera_angle_deg.value_or(0.0),
            .cloudy = o.cloud && number % 3 == 1,
            .aim = {aim(), aim()}};
}

// Cloud comes and goes: the square of a wandering number, so that some frames of a cloudy night are clear.
class Cloud {
  public:
    double next_mag(numerics::Random& random) {
        wander_ = 0.85 * wander_ + random.gaussian(0.0, 0.28);
        return std::min(1.2, wander_ * wander_);
    }

  private:
    double wander_ = 0.5;
};

InventedAir air_of(const RehearsalOptions& o, const Night& night, const Band& band, double airmass,
                   Cloud& cloud, numerics::Random& random) {
    InventedAir air;
    air.fwhm_arcsec = night.fwhm_arcsec * std::pow(airmass, 0.6) * std::exp(random.gaussian(0.0, 0.04));
    air.elongation = 1.0 + std::abs(random.gaussian(0.04, 0.02));
    air.direction_deg = random.uniform(0.0, 180.0);
    if (random.uniform() < 0.05 && o.trailing) {
        air.elongation = random.uniform(1.5, 2.0);
        air.direction_deg = random.gaussian(10.0, 5.0);  // trails along right ascension, mostly
    }
    const double cloud_mag = cloud.next_mag(random);
    air.cloud_mag = night.cloudy ? cloud_mag : 0.0;
    air.cloud_unevenness_mag = 0.03 * air.cloud_mag;
    air.sky_mag_per_arcsec2 = night.sky_mag + 0.7 * colour_slope(band);
    air.extinction_mag_per_airmass = facts(band).extinction_mag_per_airmass + night.extra_extinction_mag;
    return air;
}

double defocus_of(const RehearsalOptions& o, numerics::Random random) {
    const bool defocused = random.uniform() < o.defocused_share;
    const double radius_px = o.defocus_px * random.uniform(0.5, 1.0);
    return defocused ? radius_px : 0.0;
}

InventedPointing pointing_of(const Night& night, const SkyPosition& transient, bool flipped,
                             double scale_arcsec_per_px, numerics::Random& random) {
    const auto drift = [&] { return Angle::arcseconds(scale_arcsec_per_px * random.gaussian(0.0, 1.5)); };
    InventedPointing pointing;
    // Seen from the other side of the mount, the aim misses to the other side.
    const SkyOffset aim = flipped ? SkyOffset{-night.aim.east, -night.aim.north} : night.aim;
    pointing.centre = displaced(transient, {aim.east + drift(), aim.north + drift()});
    pointing.dx_px = random.gaussian(0.0, 0.7);
    pointing.dy_px = random.gaussian(0.0, 0.7);
    pointing.rotation_deg = night.camera_angle_deg + (flipped ? 180.0 : 0.0);
    return pointing;
}

void take_trouble(PlannedFrame& frame, const FrameTroubles& troubles, bool mirrored) {
    frame.plate = troubles.plate;
    frame.air.jump = troubles.jump;
    frame.air.satellite = troubles.satellite;
    frame.pointing.mirrored = mirrored;
}

void add_night(InventedCampaign& campaign, const Instant& noon, int number, numerics::Random random) {
    const RehearsalOptions& o = campaign.options;
    const SkyPosition& place = campaign.sky.transient.position;
    const double scale = campaign.instrument.scale_arcsec_per_px;
    const double cadence_s = seconds_a_frame(o) + readout_s;
    const std::vector<Band> bands = o.pattern ? std::vector<Band>{green_band()} : campaign.bands;
    const double run_s = cadence_s * o.frames * static_cast<double>(bands.size());
    const Night night = invent_night(o, number, scale, random);
    // One night across the meridian, the next in the east.
    const double wanted_airmass = number % 2 == 0 ? 1.0 : random.uniform(1.2, 1.9);
    Instant start = start_of_run(noon, run_s, wanted_airmass, place, campaign.site);
    start = sky::later_by(start, random.uniform(0.0, 60.0));
    const std::string date = sky::night_of(start, campaign.site.longitude.degrees());
    Cloud cloud;
    const numerics::Random random_of_troubles =
        numerics::Random(o.seed).stream(trouble_stream).stream(static_cast<std::uint64_t>(number));
    for (int i = 0; i < o.frames; ++i) {
        const bool flipped = o.flip && i >= (o.frames + 1) / 2;
        for (const Band& band : bands) {
            const double airmass = sky::airmass(start, place, campaign.site).value_or(most_airmass);
            const std::string word = o.pattern ? "colour" : band.name();
            PlannedFrame frame{.path = fmt::format("frames/{}/{}_{:03}.fits", date, word, i + 1),
                               .night = date,
                               .band = band,
                               .start_utc = start,
                               .exposure_s = o.exposure_s};
            frame.air = air_of(o, night, band, airmass, cloud, random);
            frame.pointing = pointing_of(night, place, flipped, scale, random);
            const FrameTroubles troubles =
                troubles_of(o.field, i, o.frames, o.width_px, o.height_px, random_of_troubles,
                            random_of_troubles.stream(1000 + campaign.frames.size()));
            take_trouble(frame, troubles, o.field.mirrored);
            if (o.field.drift_px > 0.0)
                frame.pointing.centre =
                    displaced(frame.pointing.centre, {Angle::arcseconds(scale * troubles.drift_x_px),
                                                      Angle::arcseconds(scale * troubles.drift_y_px)});
            frame.seed =
                numerics::Random(o.seed).stream(frame_seed_stream).stream(campaign.frames.size()).bits();
            frame.air.defocus_px =
                defocus_of(o, numerics::Random(o.seed).stream(defocus_stream).stream(campaign.frames.size()));
            campaign.frames.push_back(std::move(frame));
            start = sky::later_by(start, cadence_s);
        }
    }
}

}  // namespace

Result<InventedCampaign> invent_campaign(const RehearsalOptions& options) {
    auto bands = check(options);
    if (!bands) return fail(bands.error());
    InventedCampaign campaign{.options = options, .bands = std::move(*bands)};
    campaign.site = {Angle::degrees(51.1), Angle::degrees(-1.2), 95.0};
    campaign.instrument = instrument_of(options, campaign.bands);
    campaign.sky =
        sky_of(options, bands_as_told(options, campaign.bands), campaign.instrument.scale_arcsec_per_px);

    const auto first_noon = sky::parse_instant("2024-03-14T12:00:00");
    if (!first_noon) return fail(first_noon.error());
    campaign.sky.transient.peak_bjd_tdb = first_noon->jd();  // before the first frame: straight from there on
    for (int i = 0; i < options.nights; ++i) {
        const double days = std::floor(i * options.night_spacing_days);
        add_night(campaign, sky::later_by(*first_noon, days * seconds_per_day), i,
                  numerics::Random(options.seed).stream(night_stream + static_cast<std::uint64_t>(i)));
    }
    return campaign;
}

InventedFrame expose(const InventedCampaign& campaign, const PlannedFrame& frame) {
    const auto expose_sky = [&](const InventedSky& sky) {
        return expose(sky, campaign.instrument, frame.air, frame.pointing, campaign.site, frame.band,
                      frame.start_utc, frame.exposure_s, frame.seed);
    };
    if (frame.transient_share == 1.0) return expose_sky(campaign.sky);
    InventedSky sky = campaign.sky;
    sky.transient.light_share *= frame.transient_share;
    return expose_sky(sky);
}

}  // namespace emberline::rehearsal
