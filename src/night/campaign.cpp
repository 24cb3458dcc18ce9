// SPDX-License-Identifier: MIT
#include "night/campaign.hpp"

#include <fmt/format.h>

#include <cmath>
#include <filesystem>

#include "frame/colour_pattern.hpp"
#include "night/no_campaign.hpp"
#include "night/position_slip.hpp"
#include "night/settings_table.hpp"
#include "night/toml_advice.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/nearest_word.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

constexpr std::string_view file_name = "campaign.toml";

// Of the transient from the nucleus of its host; the largest galaxies on the sky reach further, and have none
// of the troubles that the nucleus is asked for.
constexpr double most_of_a_host_deg = 2.0;
// Of one exposure; sensors give up to some tens of electrons for a count. Common practice, no source.
constexpr double most_usual_gain = 50.0;
constexpr double least_usual_aperture_mm = 20.0;

template <class T, class U>
void assign(T& target, std::optional<U> value) {
    if (value) target = std::move(*value);
}

std::optional<SkyPosition> read_position(SettingsTable& table, std::string_view ra_key,
                                         std::string_view dec_key) {
    const auto ra_text = table.text_or_number(ra_key);
    const auto dec_text = table.text_or_number(dec_key);
    if (!ra_text && !dec_text) return std::nullopt;
    if (!ra_text || !dec_text) {
        table.refuse(ra_text ? ra_key : dec_key, fmt::format("'{}' and '{}' go together.", ra_key, dec_key),
                     "Give both, or neither.");
        return std::nullopt;
    }
    const auto ra = parse_right_ascension(*ra_text);
    if (!ra) table.refuse(ra_key, ra.error());
    const auto dec = parse_declination(*dec_text);
    if (!dec) table.refuse(dec_key, dec.error());
    if (!ra || !dec) return std::nullopt;
    return SkyPosition{*ra, *dec};
}

Result<void> read_transient(SettingsTable table, Campaign& campaign) {
    assign(campaign.name, table.text("name"));
    if (campaign.name.empty()) {
        table.refuse("name", "The transient has no name.", "Add name = \"…\" under [transient].");
    }
    const auto position = read_position(table, "ra", "dec");
    if (!position) {
        table.refuse("ra", "The transient has no position.",
                     "Add ra = \"13:25:21.12\" and dec = \"+37:16:12.0\" under [transient].");
    } else {
        campaign.position = *position;
    }
    campaign.nucleus = read_position(table, "nucleus_ra", "nucleus_dec");
    if (position && campaign.nucleus) {
        const Angle apart = separation(*position, *campaign.nucleus);
        if (apart.degrees() > most_of_a_host_deg) {
            table.refuse(
                "nucleus_ra",
                fmt::format("The host's nucleus, {} {}, lies {} from the transient, {} {}.",
                            sexagesimal_hours(campaign.nucleus->ra, 0),
                            sexagesimal_degrees(campaign.nucleus->dec, 0), apart_text(apart),
                            sexagesimal_hours(position->ra, 0), sexagesimal_degrees(position->dec, 0)),
                "Check both positions: a plain number is read as degrees, what has colons as hours.");
        }
    }
    assign(campaign.type, table.text("type"));
    const auto day = [&](const std::string& key) {
        auto date = table.date(key);
        if (date && !sky::parse_instant(*date)) {
            table.refuse(key, fmt::format("'{}' is not a date.", *date),
                         fmt::format("Write {} = 2024-02-03.", key));
        }
        return date;
    };
    campaign.discovered = day("discovered");
    campaign.exploded = day("exploded");
    const auto modulus = table.number("distance_modulus", 0.0, 60.0);
    const auto distance_mpc = table.number("distance_mpc", 1e-6, 1e5);
    const auto modulus_err = table.number("distance_modulus_err", 0.0, 10.0);
    if (modulus) {
        campaign.distance_modulus = ValueWithError{*modulus, modulus_err.value_or(0.0)};
    } else if (distance_mpc) {
        campaign.distance_modulus =
            ValueWithError{25.0 + 5.0 * std::log10(*distance_mpc), modulus_err.value_or(0.0)};
    }
    campaign.redshift = table.number("redshift", -0.01, 20.0);
    campaign.ebv_mag = table.number("ebv", 0.0, 20.0);
    for (const auto& [name, numbers] : table.number_entries("colour")) {
        const auto index = parse_colour_index(name);
        if (!index) {
            table.refuse("colour", index.error());
        } else if (numbers.size() != 1 || std::abs(numbers[0]) > 10.0) {
            table.refuse("colour", fmt::format("The colour {} is not one plausible number.", name),
                         "Write colour = { \"B-V\" = 0.6 }, in magnitudes.");
        } else {
            campaign.colours[index->name()] = numbers[0];
        }
    }
    return table.finish();
}

// A number of degrees. Text is refused with the number that it means.
std::optional<double> site_degrees(SettingsTable& table, const std::string& key, double least, double most) {
    if (!table.is_text(key)) return table.number(key, least, most);
    const auto text = table.text(key);
    if (!text) return std::nullopt;  // refused as text already
    std::string written = *text;
    const char last = written.empty() ? ' ' : upper_case(written).back();
    const bool named = last == 'N' || last == 'S' || last == 'E' || last == 'W';
    if (named) written.pop_back();
    const auto angle = parse_degrees(written, key, 360.0);
    const double sign = last == 'S' || last == 'W' ? -1.0 : 1.0;
    table.refuse(
        key, "This must be a number of degrees, north and east positive.",
        angle ? fmt::format("Write {} = {:.5f}.", key, sign * angle->degrees())
              : fmt::format("Write it as {}.", key == "latitude" ? "latitude = 51.1" : "longitude = -1.2"));
    return std::nullopt;
}

Result<void> read_site(SettingsTable table, bool present, Campaign& campaign) {
    const auto latitude_as_written = table.any_number("latitude");
    if (latitude_as_written && std::abs(*latitude_as_written) > 90.0) {
        table.refuse("latitude", fmt::format("{} is no latitude.", *latitude_as_written),
                     "Latitudes lie between -90 and 90: are latitude and longitude exchanged?");
    }
    const auto latitude = site_degrees(table, "latitude", -90.0, 90.0);
    const auto longitude = site_degrees(table, "longitude", -180.0, 360.0);
    const auto elevation = table.number("elevation", -500.0, 9000.0);
    if (latitude && longitude) {
        campaign.site =
            sky::Site{Angle::degrees(*latitude), Angle::degrees(*longitude), elevation.value_or(0.0)};
    } else if (present) {
        table.refuse(latitude ? "longitude" : "latitude", "The site needs a latitude and a longitude.",
                     "Give both in degrees; east longitudes are positive.");
    }
    return table.finish();
}

// Within what is allowed, and still more likely another quantity: remarked.
void doubt_instrument(const frame::Instrument& instrument, Campaign& campaign) {
    if (instrument.gain_e_per_adu && *instrument.gain_e_per_adu > most_usual_gain) {
        campaign.remarks.push_back(fmt::format(
            "campaign.toml, instrument.gain: {:g} electrons per ADU is more than cameras have: is it the "
            "camera's gain setting? The gain is what `emberline masters gain` measures, 0.1 to 5 mostly.",
            *instrument.gain_e_per_adu));
    }
    if (instrument.aperture_mm && *instrument.aperture_mm < least_usual_aperture_mm) {
        campaign.remarks.push_back(
            fmt::format("campaign.toml, instrument.aperture_mm: {:g} mm is a small telescope: are these "
                        "inches? One inch is 25.4 mm.",
                        *instrument.aperture_mm));
    }
}

Result<void> read_instrument(SettingsTable table, std::string name, Campaign& campaign) {
    frame::Instrument instrument;
    instrument.name = std::move(name);
    for (auto& [key, value] : table.text_entries("match"))
        instrument.match[upper_case(key)] = value;
    assign(instrument.override_header, table.flag("override"));
    instrument.aperture_mm = table.number("aperture_mm", 1.0, 20000.0);
    instrument.gain_e_per_adu = table.number("gain", 1e-4, 1000.0);
    instrument.read_noise_e = table.number("read_noise", 0.0, 1000.0);
    instrument.saturation_adu = table.number("saturation", 1.0, 1e12);
    instrument.linear_to_adu = table.number("linear_to", 1.0, 1e12);
    if (instrument.saturation_adu && instrument.linear_to_adu &&
        *instrument.linear_to_adu > *instrument.saturation_adu) {
        table.refuse("linear_to",
                     fmt::format("{:g} lies above the saturation, {:g}.", *instrument.linear_to_adu,
                                 *instrument.saturation_adu),
                     "A sensor is linear up to less than its saturation: check both, in ADU.");
    }
    doubt_instrument(instrument, campaign);
    instrument.exposure_s = table.number("exposure_s", 1e-6, 1e6);
    instrument.offset_adu = table.number("offset", -1e6, 1e6);
    instrument.stacked = table.whole_number("stacked", 1, 100'000, "exposures");
    if (auto code = table.text("observer_code"); code && !code->empty())
        campaign.observer_codes[instrument.name] = std::move(*code);
    instrument.stack = table.text("stack");
    if (instrument.stack && *instrument.stack != "sum" && *instrument.stack != "mean" &&
        *instrument.stack != "median") {
        table.refuse("stack", fmt::format("'{}' is no way to stack exposures.", *instrument.stack),
                     "Use sum, mean or median: a live stack's is mostly a mean.");
    }
    instrument.pattern = table.text("pattern");
    if (instrument.pattern && lower_case(trimmed(*instrument.pattern)) != "none" &&
        !frame::parse_colour_pattern(*instrument.pattern)) {
        table.refuse("pattern", fmt::format("'{}' is no pattern of a colour mosaic.", *instrument.pattern),
                     "Use RGGB, BGGR, GRBG or GBRG: the colours of the first two pixels of the first two "
                     "rows; or none for a camera without colour.");
    }
    for (auto& [filter, band] : table.text_entries("bands")) {
        if (const auto known = parse_band(band); !known) {
            table.refuse("bands", known.error());
        } else {
            instrument.bands[filter] = known->name();
        }
    }
    for (auto& [band, numbers] : table.number_entries("colour_terms")) {
        const auto known = parse_band(band);
        if (!known) {
            table.refuse("colour_terms", known.error());
        } else if (numbers.size() != 2 || numbers[1] < 0.0) {
            table.refuse(
                "colour_terms", fmt::format("The colour term of {} needs its error.", band),
                fmt::format("Write colour_terms = {{ {} = [0.03, 0.01] }}: value, one sigma.", band));
        } else {
            campaign.colour_terms[instrument.name][known->name()] = {numbers[0], numbers[1]};
        }
    }
    campaign.instruments.push_back(std::move(instrument));
    return table.finish();
}

// [instrument] is one instrument, or holds only tables, one an instrument.
Result<void> read_instruments(SettingsTable table, Campaign& campaign) {
    std::vector<std::string> named;
    std::vector<std::string> loose;
    for (const std::string& key : table.keys()) {
        const bool own_table = key == "match" || key == "bands" || key == "colour_terms";
        (table.is_table(key) && !own_table ? named : loose).push_back(key);
    }
    if (named.empty()) return read_instrument(std::move(table), "main", campaign);
    for (const std::string& name : named) {
        SettingsTable inner = table.table(name);
        if (auto good = read_instrument(std::move(inner), name, campaign); !good) return good;
    }
    for (const std::string& key : loose) {
        table.accept(key);
        table.refuse(key, "Settings beside named instruments belong to none of them.",
                     fmt::format("Move '{}' into [instrument.{}] or another of them.", key, named.front()));
    }
    return table.finish();
}

Result<void> read_measure(SettingsTable table, MeasureSettings& measure) {
    measure.aperture_fwhm = table.number("aperture_fwhm", 0.3, 10.0);
    measure.aperture_arcsec = table.number("aperture_arcsec", 0.05, 600.0);
    assign(measure.annulus_inner_fwhm, table.number("annulus_inner_fwhm", 1.0, 50.0));
    assign(measure.annulus_outer_fwhm, table.number("annulus_outer_fwhm", 1.5, 100.0));
    measure.annulus_inner_arcsec = table.number("annulus_inner_arcsec", 0.1, 3000.0);
    measure.annulus_outer_arcsec = table.number("annulus_outer_arcsec", 0.2, 6000.0);
    assign(measure.limit_sigma, table.number("limit_sigma", 1.0, 20.0));
    assign(measure.flat_err, table.number("flat_err", 0.0, 0.5));
    assign(measure.cloud_mag, table.number("cloud_mag", 0.01, 10.0));
    assign(measure.refuse_cloud_mag, table.number("refuse_cloud_mag", 0.05, 20.0));
    assign(measure.refuse_elongation, table.number("refuse_elongation", 1.05, 100.0));
    assign(measure.least_comparison_stars, table.whole_number("least_comparison_stars", 1, 1000, "stars"));
    assign(measure.most_shift_arcsec, table.number("most_shift_arcsec", 0.1, 600.0));
    assign(measure.refuse_processed, table.flag("refuse_processed"));
    assign(measure.colour_term, table.flag("colour_term"));
    measure.psf = table.flag("psf");
    if (measure.aperture_fwhm && measure.aperture_arcsec) {
        table.refuse("aperture_arcsec", "The aperture is given twice.",
                     "Keep aperture_fwhm or aperture_arcsec, not both.");
    }
    if (measure.annulus_outer_fwhm <= measure.annulus_inner_fwhm) {
        table.refuse("annulus_outer_fwhm", "The annulus ends before it begins.",
                     "Make annulus_outer_fwhm larger than annulus_inner_fwhm.");
    }
    if (measure.annulus_inner_arcsec.has_value() != measure.annulus_outer_arcsec.has_value() ||
        measure.annulus_inner_arcsec.value_or(0.0) >= measure.annulus_outer_arcsec.value_or(1.0)) {
        table.refuse(measure.annulus_inner_arcsec ? "annulus_inner_arcsec" : "annulus_outer_arcsec",
                     "The annulus needs an inner and a larger outer radius.",
                     "Give annulus_inner_arcsec and annulus_outer_arcsec together.");
    }
    return table.finish();
}

Result<void> read_report(SettingsTable table, ReportSettings& report) {
    assign(report.obstype, table.text("obstype"));
    report.obstype = upper_case(report.obstype);
    constexpr std::string_view known[] = {"CCD", "DSLR", "PEP", "VISDIG"};
    if (std::find(std::begin(known), std::end(known), report.obstype) == std::end(known)) {
        table.refuse("obstype", fmt::format("'{}' is not an observation type.", report.obstype),
                     "Use CCD (also for CMOS), DSLR, PEP or VISDIG.");
    }
    for (const std::string& text : table.texts("hold")) {
        const auto caveats = parse_caveats(text);
        if (caveats) {
            report.hold.add(*caveats);
        } else {
            table.refuse("hold", caveats.error());
        }
    }
    assign(report.transformed_only, table.flag("transformed_only"));
    assign(report.limits, table.flag("limits"));
    auto server = read_server_settings(table.table("server"));
    if (!server) return fail(server.error());
    report.server = std::move(*server);
    return table.finish();
}

Result<void> read_host(SettingsTable host, Campaign& campaign) {
    if (host.is_table("template")) {
        for (auto& [band, path] : host.text_entries("template")) {
            const auto known = parse_band(band);
            if (!known) {
                host.refuse("template", known.error());
            } else {
                campaign.host_templates[known->name()] = path;
            }
        }
    } else if (auto path = host.text("template"); path && !path->empty()) {
        campaign.host_templates[""] = std::move(*path);
    }
    campaign.faded = host.date("faded");
    if (campaign.faded && !sky::parse_instant(*campaign.faded)) {
        host.refuse("faded", fmt::format("'{}' is not a date.", *campaign.faded),
                    "Write the first night without the transient: faded = 2025-02-03.");
    }
    if (const auto method = host.text("method")) {
        for (const auto one : {photometry::HostMethod::difference, photometry::HostMethod::scene,
                               photometry::HostMethod::smooth, photometry::HostMethod::annulus}) {
            if (*method == word(one)) campaign.host_method = one;
        }
        if (!campaign.host_method) {
            host.refuse("method", fmt::format("'{}' is no way to take the host's light away.", *method),
                        "Use template, scene, smooth or annulus; or leave it out for the most trusted one.");
        }
    }
    return host.finish();
}

// Of a colour mosaic, or of a camera with one filter, one flat serves every band.
Result<void> read_masters(SettingsTable table, frame::MasterPaths& masters) {
    masters.bias = table.texts("bias");
    masters.dark = table.texts("dark");
    masters.defects = table.texts("defects");
    if (table.is_table("flat")) {
        SettingsTable flats = table.table("flat");
        for (const std::string& key : flats.keys()) {
            const auto known = parse_band(key);
            auto files = flats.texts(key);
            if (!known) {
                flats.refuse(key, known.error());
            } else if (!files.empty()) {
                masters.flat[known->name()] = std::move(files);
            }
        }
        if (auto good = flats.finish(); !good) return good;
    } else if (auto files = table.texts("flat"); !files.empty()) {
        masters.flat[""] = std::move(files);
    }
    const auto unnamed = [](const std::vector<std::string>& files) {
        return std::any_of(files.begin(), files.end(),
                           [](const std::string& f) { return trimmed(f).empty(); });
    };
    const bool any = unnamed(masters.bias) || unnamed(masters.dark) || unnamed(masters.defects) ||
                     std::any_of(masters.flat.begin(), masters.flat.end(),
                                 [&](const auto& entry) { return unnamed(entry.second); });
    if (any) table.refuse("bias", "A file has no name.", "Name the file, or take the entry out.");
    return table.finish();
}

Result<void> read_plate(SettingsTable table, PlateSettings& plate) {
    assign(plate.catalogue, table.text("catalogue"));
    plate.catalogue_epoch = table.number("catalogue_epoch", 1800.0, 2200.0);
    plate.scale_arcsec_per_px = table.number("scale_arcsec_per_px", 0.01, 600.0);
    assign(plate.solve, table.flag("solve"));
    return table.finish();
}

Result<Campaign> read_root(const toml::table& parsed, Campaign campaign, const SettingHomes* homes,
                           SettingHomes* noted) {
    SettingsTable root(&parsed, std::string(file_name), "", homes, noted);
    if (!root.has("transient")) {
        std::string alike;
        for (const std::string& key : root.keys())
            alike = nearest_word(key, {"transient"}).empty() ? alike : key;
        return fail({.what = "The section [transient] is missing.",
                     .where = root.place("transient"),
                     .mend = (alike.empty() ? "" : fmt::format("Is it meant by [{}]? ", alike)) +
                             "`emberline new DIR` writes a campaign file to start from.",
                     .kind = ProblemKind::request});
    }
    if (auto good = read_transient(root.table("transient"), campaign); !good) return fail(good.error());
    if (auto good = read_site(root.table("site"), root.has("site"), campaign); !good)
        return fail(good.error());
    SettingsTable observer = root.table("observer");
    assign(campaign.observer_code, observer.text("code"));
    assign(campaign.observer_name, observer.text("name"));
    if (auto good = observer.finish(); !good) return fail(good.error());
    if (auto good = read_instruments(root.table("instrument"), campaign); !good) return fail(good.error());
    SettingsTable comparison = root.table("comparison");
    assign(campaign.catalog, comparison.text("catalog"));
    assign(campaign.check_label, comparison.text("check"));
    assign(campaign.chart, comparison.text("chart"));
    if (auto good = comparison.finish(); !good) return fail(good.error());
    if (auto good = read_host(root.table("host"), campaign); !good) return fail(good.error());
    if (auto good = read_masters(root.table("masters"), campaign.masters); !good) return fail(good.error());
    if (auto good = read_plate(root.table("plate"), campaign.plate); !good) return fail(good.error());
    if (auto good = read_report(root.table("report"), campaign.report); !good) return fail(good.error());
    if (auto good = read_measure(root.table("measure"), campaign.measure); !good) return fail(good.error());
    if (auto good = root.finish(); !good) return fail(good.error());
    return campaign;
}

// Learnt from reading a campaign that holds next to nothing.
const SettingHomes& every_setting() {
    static const SettingHomes homes = [] {
        SettingHomes noted;
        const toml::table least = toml::parse("transient = { name = \"A\", ra = 0.0, dec = 0.0 }");
        if (!read_root(least, {}, nullptr, &noted)) noted.clear();
        return noted;
    }();
    return homes;
}

}  // namespace

frame::MasterPaths Campaign::master_paths() const {
    frame::MasterPaths paths = masters;
    const auto place = [this](std::vector<std::string>& files) {
        for (std::string& file : files)
            file = path(file);
    };
    place(paths.bias);
    place(paths.dark);
    place(paths.defects);
    for (auto& [band, files] : paths.flat)
        place(files);
    return paths;
}

std::string Campaign::path(std::string_view relative) const {
    const std::filesystem::path inner(relative);
    return inner.is_absolute() ? inner.string() : (std::filesystem::path(folder) / inner).string();
}

Result<Campaign> parse_campaign(std::string_view text, std::string folder) {
    Campaign campaign;
    campaign.folder = std::move(folder);
    try {
        const toml::table parsed = toml::parse(text, file_name);
        return read_root(parsed, std::move(campaign), &every_setting(), nullptr);
    } catch (const toml::parse_error& error) {
        const auto begin = error.source().begin;
        return fail({.what = fmt::format("The file cannot be read as TOML: {}.", error.description()),
                     .where = fmt::format("{}, line {}, column {}", file_name, begin.line, begin.column),
                     .mend = toml_advice(text, begin.line, error.description()),
                     .kind = ProblemKind::request});
    }
}

Result<Campaign> read_campaign(const std::string& folder) {
    const std::string path = (std::filesystem::path(folder) / file_name).string();
    std::error_code error;
    if (!std::filesystem::exists(path, error)) return fail(no_campaign(folder));
    auto text = read_text_file(path, std::size_t{4} << 20U);
    if (!text) {
        text.error().kind = ProblemKind::request;
        return fail(text.error());
    }
    auto campaign = parse_campaign(*text, folder);
    if (!campaign) {
        // The place begins with the file's name, which is then found from anywhere.
        campaign.error().where = (std::filesystem::path(folder) / campaign.error().where).string();
    }
    return campaign;
}

}  // namespace emberline::night
