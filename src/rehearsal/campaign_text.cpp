// SPDX-License-Identifier: MIT
#include "rehearsal/campaign_text.hpp"

#include <fmt/format.h>

#include <set>

#include "quantities/delimited_table.hpp"
#include "rehearsal/mosaic.hpp"
#include "rehearsal/plate.hpp"
#include "sky/barycentre.hpp"
#include "sky/time_scales.hpp"
#include "standard/sequence.hpp"

namespace emberline::rehearsal {
namespace {

constexpr double misled_deg = 0.33;  // on each axis, of a wrong plate solution
constexpr const char* telescope = "garden telescope";

frame::Card words(const char* keyword, std::string value, const char* comment) {
    return {keyword, std::move(value), comment, true};
}

frame::Card number(const char* keyword, double value, const char* comment) {
    return {keyword, fmt::format("{:G}", value), comment, false};
}

void append(std::vector<frame::Card>& cards, std::vector<frame::Card> more) {
    for (frame::Card& card : more)
        cards.push_back(std::move(card));
}

std::string colours(const InventedCampaign& campaign) {
    const InventedTransient& transient = campaign.sky.transient;
    std::set<ColourIndex> indices;
    for (const Band& band : campaign.bands) {
        if (const auto index = usual_colour(band)) indices.insert(*index);
    }
    std::string entries;
    for (const ColourIndex& index : indices) {
        const double colour_mag = transient.magnitude(index.blue, transient.peak_bjd_tdb) -
                                  transient.magnitude(index.red, transient.peak_bjd_tdb);
        entries += fmt::format("{}\"{}\" = {:.3f}", entries.empty() ? "" : ", ", index.name(), colour_mag);
    }
    return entries;
}

// The settings in one column, what they mean in another.
std::string setting(const std::string& text, const std::string& meaning = {}) {
    return meaning.empty() ? text + "\n" : fmt::format("{:<33} # {}\n", text, meaning);
}

std::string transient_section(const InventedCampaign& campaign) {
    const InventedSky& sky = campaign.sky;
    std::string text = "[transient]\n";
    text += setting(fmt::format("name = \"{}\"", sky.transient.name), "as the network lists it");
    text += setting(fmt::format("ra = \"{}\"", sexagesimal_hours(sky.transient.position.ra, 2)),
                    "hours, minutes, seconds; or a number of degrees");
    text += setting(fmt::format("dec = \"{}\"", sexagesimal_degrees(sky.transient.position.dec, 1)));
    if (sky.host) {
        text += setting(
            fmt::format("nucleus_ra = {:.6f}", sky.host->nucleus.ra.degrees()),
            fmt::format("the middle of the host galaxy, {:.0f} arcseconds from the transient; degrees",
                        campaign.options.host_offset_arcsec));
        text += setting(fmt::format("nucleus_dec = {:.6f}", sky.host->nucleus.dec.degrees()));
    }
    text += setting("discovered = 2024-03-12");
    const std::string entries = colours(campaign);
    if (campaign.options.transient_colour_known && !entries.empty()) {
        text += setting(fmt::format("colour = {{ {} }}", entries),
                        "for the colour term; leave out what you do not know");
    }
    return text;
}

const char* stack_word(frame::StackKind kind) {
    switch (kind) {
        case frame::StackKind::sum:
            return "sum";
        case frame::StackKind::median:
            return "median";
        case frame::StackKind::mean:
        case frame::StackKind::single:
            break;
    }
    return "mean";
}

std::string instrument_section(const InventedCampaign& campaign) {
    const InventedInstrument& instrument = campaign.instrument;
    std::string text = setting("[instrument]", "fills in what the headers do not say");
    text += setting(fmt::format("aperture_mm = {:.1f}", 1000.0 * instrument.aperture_m),
                    "of the telescope, for scintillation");
    text += setting(fmt::format("gain = {:.3f}", instrument.gain_e_per_adu), "electrons per ADU");
    text += setting(fmt::format("read_noise = {:.1f}", instrument.read_noise_e), "electrons");
    text += setting(fmt::format("saturation = {:.0f}", instrument.full_adu), "ADU");
    text += setting("linear_to = 50000", "ADU: a star with a pixel above it is not used");
    const bool mosaics = !instrument.pattern.empty() && !campaign.options.debayered;
    if (mosaics) {
        text += setting(fmt::format("# pattern = \"{}\"", instrument.pattern),
                        "of the mosaic at the first pixel; here the headers say it");
    }
    if (campaign.options.stack) {
        const StackOptions& stack = *campaign.options.stack;
        const bool told = stack.header != StackHeader::silent;
        text += setting(fmt::format("# stacked = {}", stack.exposures),
                        told ? "exposures in each frame; here the headers say it"
                             : "exposures in each frame: the headers say nothing of them");
        text +=
            setting(fmt::format("# stack = \"{}\"", stack_word(stack.kind)), "how they were put together");
    }
    return text;
}

// Single exposures are no masters: what is to be written once those have been built, named as they will be.
std::string masters_section(const InventedCampaign& campaign) {
    const auto& calibration = campaign.options.calibration;
    if (!calibration) return {};
    std::string flats;
    for (const Band& band : campaign.bands)
        flats += fmt::format("{}{} = \"masters/flat_{}.fits\"", flats.empty() ? "" : ", ", band.name(),
                             band.name());
    const bool colour = !campaign.instrument.pattern.empty();
    std::string text = "\n" + setting("# [masters]", "`emberline masters build calibration` makes them");
    if (calibration->bias > 0) text += setting("# bias = \"masters/bias_gain120_-10C.fits\"");
    if (calibration->dark > 0)
        text += setting(
            fmt::format("# dark = \"masters/dark_{:g}s_gain120_-10C.fits\"", campaign.options.exposure_s));
    if (calibration->flat > 0)
        text += setting(colour ? std::string("# flat = \"masters/flat.fits\"")
                               : fmt::format("# flat = {{ {} }}", flats));
    return text + setting("# defects = \"masters/defects.fits\"");
}

std::string template_section(const InventedCampaign& campaign) {
    if (!campaign.options.host_template) return {};
    const auto bands = template_bands(campaign);
    std::string paths;
    for (const Band& band : bands)
        paths += fmt::format("{}{} = \"{}\"", paths.empty() ? "" : ", ", band.name(),
                             template_path(campaign, band));
    if (bands.size() == 1)
        return fmt::format("\n[host]\ntemplate = \"{}\"\n", template_path(campaign, bands[0]));
    return fmt::format("\n[host]\ntemplate = {{ {} }}\n", paths);
}

std::string star_rows(const InventedStar& star) {
    std::string text;
    for (const auto& [band, catalogue] : star.catalogue) {
        text += fmt::format("{},{},{:.4f},{:.3f},{:.3f}\n", quoted_field(star.label), band.name(),
                            star.true_mag.at(band), catalogue.value, catalogue.err);
    }
    return text;
}

}  // namespace

std::vector<Band> template_bands(const InventedCampaign& campaign) {
    const bool one_for_all = campaign.options.host_template && campaign.options.host_template->band;
    return one_for_all ? std::vector<Band>{campaign.bands.front()} : campaign.bands;
}

std::string template_path(const InventedCampaign& campaign, const Band& band) {
    return template_bands(campaign).size() == 1 ? "template.fits"
                                                : fmt::format("template_{}.fits", band.name());
}

std::string campaign_toml(const InventedCampaign& campaign) {
    std::string text =
        "# An invented campaign: the sky, the transient and the frames are made up, and truth.csv knows\n"
        "# the answers. Change what you like and measure again.\n\n";
    text += transient_section(campaign) + "\n[site]\n";
    text += setting(fmt::format("latitude = {:.4f}", campaign.site.latitude.degrees()),
                    "degrees, north positive");
    text += setting(fmt::format("longitude = {:.4f}", campaign.site.longitude.degrees()),
                    "degrees, east positive");
    text += setting(fmt::format("elevation = {:.1f}", campaign.site.elevation_m), "metres");
    text += "\n[observer]\n" + setting("code = \"XYZ\"", "the network's code for you");
    text += setting("name = \"A. Observer\"") + "\n" + instrument_section(campaign);
    text += template_section(campaign) + masters_section(campaign);
    if (campaign.options.field.solved) {
        text += "\n[plate]\n" + setting(fmt::format("catalogue = \"{}\"", field_catalogue_name),
                                        "stars of the field, for frames without a plate solution");
    }
    text += "\n[comparison]\n" + setting("catalog = \"comparison.csv\"");
    return text + "\n[report]\n" + setting("obstype = \"CCD\"");
}

std::string comparison_csv(const InventedCampaign& campaign) {
    standard::Sequence sequence;
    for (const InventedStar& star : campaign.sky.stars) {
        if (star.label.empty()) continue;
        if (sequence.stars.empty()) {
            for (const auto& [band, magnitude] : star.catalogue)
                sequence.bands.push_back(band);
        }
        sequence.stars.push_back({.label = star.label,
                                  .position = star.position,
                                  .magnitudes = star.catalogue,
                                  .role = star.check ? standard::Role::check : standard::Role::comparison});
    }
    return standard::write_sequence(sequence);
}

std::string field_csv(const InventedCampaign& campaign) {
    std::string text = "id,ra,dec,mag\n";
    std::size_t number = 0;
    const Band band = sequence_band(campaign.bands.front());
    for (const InventedStar& star : campaign.sky.stars) {
        ++number;
        const auto magnitude = star.true_mag.find(band);
        if (magnitude == star.true_mag.end()) continue;
        text += fmt::format("{},{:.6f},{:.6f},{:.2f}\n", number, star.position.ra.degrees(),
                            star.position.dec.degrees(), magnitude->second);
    }
    return text;
}

std::string truth_stars_csv(const InventedCampaign& campaign) {
    std::string text = "label,band,true_mag,catalogue_mag,catalogue_err\n";
    for (const InventedStar& star : campaign.sky.stars) {
        if (!star.label.empty()) text += star_rows(star);
    }
    return text;
}

std::string truth_heading() {
    return "frame,night,band,jd_utc_mid,bjd_tdb,true_mag,true_flux_e,cloud_mag,airmass\n";
}

std::string truth_line(const InventedCampaign& campaign, const PlannedFrame& planned,
                       const FrameTruth& truth) {
    const double bjd_tdb = sky::bjd_tdb(truth.middle, campaign.sky.transient.position, campaign.site);
    const auto line = [&](const Band& band, double transient_mag, double flux_e) {
        return fmt::format("{},{},{},{:.6f},{:.6f},{:.5f},{:.2f},{:.4f},{:.4f}\n", planned.path,
                           planned.night, band.name(), truth.middle.jd(), bjd_tdb, transient_mag, flux_e,
                           planned.air.cloud_mag, truth.airmass);
    };
    if (truth.colours.empty()) return line(planned.band, truth.transient_mag, truth.transient_flux_e);
    std::string lines;
    for (const InventedColour& colour : truth.colours)
        lines += line(colour.band, colour.transient_mag, colour.transient_flux_e);
    return lines;
}

std::string truth_host_heading() {
    return "frame,nucleus_ra,nucleus_dec,offset_arcsec,host_within_4arcsec_e\n";
}

std::string truth_host_line(const InventedCampaign& campaign, const PlannedFrame& planned) {
    const SkyPosition& nucleus = campaign.sky.host->nucleus;
    return fmt::format("{},{:.6f},{:.6f},{:.3f},{:.2f}\n", planned.path, nucleus.ra.degrees(),
                       nucleus.dec.degrees(),
                       separation(nucleus, campaign.sky.transient.position).arcseconds(),
                       host_in_aperture_e(campaign, planned, 4.0));
}

std::vector<frame::Card> camera_cards(const InventedCampaign& campaign, const Exposed& exposed) {
    const InventedInstrument& instrument = campaign.instrument;
    const bool colour = !instrument.pattern.empty();
    std::string start = sky::iso(exposed.start_utc, 3);
    if (start.ends_with('Z')) start.pop_back();  // FITS dates carry no zone
    std::vector<frame::Card> cards = {
        words("IMAGETYP", exposed.kind, ""),
        words("DATE-OBS", start, "start of exposure"),
        words("TIMESYS", "UTC", ""),
        number("EXPTIME", exposed.exposure_s, "[s] open shutter"),
    };
    if (exposed.band && !colour) cards.push_back(words("FILTER", exposed.band->name(), ""));
    append(cards, {
                      number("GAIN", 120.0, "camera setting"),
                      number("EGAIN", instrument.gain_e_per_adu, "[e-/ADU]"),
                      number("RDNOISE", instrument.read_noise_e, "[e-]"),
                      number("XBINNING", 1, ""),
                      number("YBINNING", 1, ""),
                      number("CCD-TEMP", -10.0, "[deg C]"),
                      words("TELESCOP", telescope, ""),
                      words("INSTRUME", colour ? "colour camera" : "monochrome camera", ""),
                  });
    if (!colour) return cards;
    cards.push_back(words("ROWORDER", instrument.top_down ? "TOP-DOWN" : "BOTTOM-UP", "of the stored rows"));
    if (exposed.debayered) return cards;
    // As it is seen, the top row first: in a file that begins at the bottom the rows may change places.
    const auto stored = pattern_of(instrument);
    const std::string seen = instrument.top_down || !stored
                                 ? instrument.pattern
                                 : stored->upside_down(instrument.height_px).word();
    append(cards,
           {words("BAYERPAT", seen, "top row first"), number("XBAYROFF", 0, ""), number("YBAYROFF", 0, "")});
    return cards;
}

std::vector<frame::Card> header_cards(const InventedCampaign& campaign, const PlannedFrame& planned,
                                      double airmass) {
    const InventedInstrument& instrument = campaign.instrument;
    std::vector<frame::Card> cards = {words("OBJECT", campaign.sky.transient.name, "invented")};
    append(cards, camera_cards(campaign, {.kind = "Light Frame",
                                          .start_utc = planned.start_utc,
                                          .exposure_s = planned.exposure_s,
                                          .band = planned.band,
                                          .debayered = campaign.options.debayered}));
    append(cards, {
                      number("APTDIA", 1000.0 * instrument.aperture_m, "[mm]"),
                      words("OBSERVER", "A. Observer", ""),
                      words("SITELAT", sexagesimal_degrees(campaign.site.latitude, 0), "north positive"),
                      words("SITELONG", sexagesimal_degrees(campaign.site.longitude, 0), "east positive"),
                      number("SITEELEV", campaign.site.elevation_m, "[m]"),
                      frame::Card{"AIRMASS", fmt::format("{:.3f}", airmass), "at mid-exposure", false},
                  });
    if (planned.plate == HeaderPlate::none) return cards;
    InventedPointing told = planned.pointing;
    if (planned.plate == HeaderPlate::misled)
        told.centre = displaced(told.centre, {Angle::degrees(misled_deg), Angle::degrees(-misled_deg)});
    append(cards, Plate(instrument, told).cards());
    return cards;
}

}  // namespace emberline::rehearsal
