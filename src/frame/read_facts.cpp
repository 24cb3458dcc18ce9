// SPDX-License-Identifier: MIT
#include "frame/read_facts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <initializer_list>

#include "frame/own_stack.hpp"
#include "frame/read_calibration_facts.hpp"
#include "frame/read_sensor.hpp"
#include "frame/read_stack.hpp"
#include "frame/read_time.hpp"
#include "quantities/text.hpp"
#include "sky/site.hpp"

namespace emberline::frame {
namespace {

MaybeFact<std::string> first_text(const Header& header, std::initializer_list<const char*> keywords) {
    for (const char* keyword : keywords) {
        if (auto text = header.text(keyword)) return Fact<std::string>{*text, keyword};
    }
    return std::nullopt;
}

bool same_value(const std::string& value, const std::string& wanted) {
    const auto a = parse_number(value), b = parse_number(wanted);
    if (a && b) return *a == *b;
    return lower_case(trimmed(value)) == lower_case(trimmed(wanted));
}

// With two wheels, the one that does not stand at an open place.
MaybeFact<std::string> read_filter(const Header& header) {
    MaybeFact<std::string> open;
    for (const char* keyword : {"FILTER", "FILTNAM", "FILTNAM1", "FILT", "INSFILTE", "FILTER1", "FILTER2",
                                "FILTER3", "FILTERID", "INSFLNAM"}) {
        const auto text = header.text(keyword);
        if (!text) continue;
        const std::string word = lower_case(*text);
        const bool no_glass = word.starts_with("open") || word.starts_with("clear") || word == "air" ||
                              word == "none" || word == "empty" || parse_number(word);
        if (!no_glass) return Fact<std::string>{*text, keyword};
        if (!open) open = Fact<std::string>{*text, keyword};
    }
    return open;
}

// The observer's word for a filter: as it is written, else whatever its case ("r" is not "R").
std::optional<Band> campaign_band(const Instrument& instrument, std::string_view filter) {
    std::optional<Band> any_case;
    for (const auto& [name, band] : instrument.bands) {
        const std::string_view written = trimmed(name);
        if (lower_case(written) != lower_case(filter)) continue;
        const auto known = parse_band(band);
        if (!known) continue;
        if (written == filter) return *known;
        any_case = *known;
    }
    return any_case;
}

// A picture's planes, or a mosaic's pixels.
void read_colour_band(const Instrument& instrument, FrameFacts& facts) {
    constexpr const char* colours[] = {"Red", "Green", "Blue"};
    constexpr const char* bands[] = {"TR", "TG", "TB"};
    if (facts.plane < 0 || facts.plane > 2) return;
    const std::string colour = colours[facts.plane];
    const std::string source = facts.lattice ? fmt::format("{} pixels of a colour mosaic", lower_case(colour))
                                             : fmt::format("plane {} of a colour cube", facts.plane + 1);
    for (const std::string& name : {colour, colour + " plane", colour.substr(0, 1) + " plane"}) {
        if (const auto known = campaign_band(instrument, name)) {
            facts.band = Fact<Band>{*known, fmt::format("{}, {}", source, campaign_source("bands"))};
            return;
        }
    }
    if (const auto known = parse_band(bands[facts.plane])) facts.band = Fact<Band>{*known, source};
}

// What the campaign calls that filter, else what the trade does.
void read_band(const Instrument& instrument, FrameFacts& facts) {
    if (facts.planes == 3) return read_colour_band(instrument, facts);
    // Unfiltered cameras write no FILTER: the campaign may name the band under an empty name.
    const Fact<std::string> nothing{"", "no FILTER"};
    const auto& [filter, source] = facts.filter ? *facts.filter : nothing;
    if (const auto known = campaign_band(instrument, filter)) {
        facts.band = Fact<Band>{*known, fmt::format("{}, {}", source, campaign_source("bands"))};
    } else if (const auto usual = parse_band(filter)) {
        facts.band = Fact<Band>{*usual, source};
    }
}

std::optional<Angle> site_angle(const Header& header, const char* keyword, double limit_deg) {
    const auto text = header.text(keyword);
    if (!text) return std::nullopt;
    const auto angle = parse_degrees(*text, keyword, limit_deg);
    return angle ? std::optional<Angle>(*angle) : std::nullopt;
}

// Elevations in metres; a header without one, or with nonsense, stands at sea level.
double site_height_m(const Header& header) {
    for (const char* keyword : {"OBSGEO-H", "SITEELEV", "ALT-OBS", "OBSALT", "ALTITUDE", "OBS-ELEV"}) {
        const auto height = header.number(keyword);
        if (height && *height > -500.0 && *height < 9000.0) return *height;
    }
    return 0.0;
}

// Signs of longitudes in headers cannot be trusted: the campaign's site wins wherever there is one.
void read_site(const Header& header, FrameFacts& facts) {
    const auto x = header.number("OBSGEO-X"), y = header.number("OBSGEO-Y"), z = header.number("OBSGEO-Z");
    if (x && y && z) {
        if (const auto site = sky::site_from_geocentric(*x, *y, *z)) {
            facts.site = Fact<sky::Site>{*site, "OBSGEO-X, OBSGEO-Y, OBSGEO-Z"};
            return;
        }
    }
    constexpr const char* latitudes[] = {"OBSGEO-B", "SITELAT", "LAT-OBS",  "OBSLAT",
                                         "LATITUDE", "OBS-LAT", "OBSERLAT", "GEOLAT"};
    constexpr const char* longitudes[] = {"OBSGEO-L", "SITELONG", "LONG-OBS", "OBSLONG",
                                          "LONGITUD", "OBS-LONG", "OBSERLON", "GEOLON"};
    for (std::size_t i = 0; i < std::size(latitudes); ++i) {
        const auto latitude = site_angle(header, latitudes[i], 90.0);
        const auto longitude = site_angle(header, longitudes[i], 360.0);
        if (!latitude || !longitude) continue;
        // Zeros stand where a program had nothing to write.
        if (latitude->radians() == 0.0 && longitude->radians() == 0.0) continue;
        const std::string comment = lower_case(header.find(longitudes[i])->comment);
        const bool west =
            comment.find("west") != std::string::npos || comment.find("+w") != std::string::npos;
        const double turned_deg = (west ? -*longitude : *longitude).wrapped_positive().degrees();
        const Angle east = Angle::degrees(turned_deg > 180.0 ? turned_deg - 360.0 : turned_deg);
        facts.site =
            Fact<sky::Site>{{*latitude, east, site_height_m(header)},
                            fmt::format("{}, {} ({})", latitudes[i], longitudes[i],
                                        west ? "west positive, by its comment" : "east taken as positive")};
        return;
    }
}

void read_airmass(const Header& header, FrameFacts& facts) {
    if (const auto x = header.number("AIRMASS")) {
        if (*x >= 0.99 && *x < 40.0) facts.header_airmass = Fact<double>{*x, "AIRMASS"};
    }
}

void read_aperture(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto header_mm = header.number("APTDIA");
    const bool stated = header_mm && *header_mm > 1.0 && *header_mm < 20000.0;
    if (instrument.aperture_mm && (instrument.override_header || !stated)) {
        facts.aperture_mm = Fact<double>{*instrument.aperture_mm, campaign_source("aperture_mm")};
    } else if (stated) {
        facts.aperture_mm = Fact<double>{*header_mm, "APTDIA"};
    }
}

}  // namespace

const Instrument* instrument_of(const Header& header, const std::vector<Instrument>& instruments) {
    const Instrument* best = nullptr;
    for (const Instrument& instrument : instruments) {
        const bool all = std::all_of(instrument.match.begin(), instrument.match.end(), [&](const auto& ask) {
            const auto value = header.text(upper_case(ask.first));
            return value && same_value(*value, ask.second);
        });
        if (all && (best == nullptr || instrument.match.size() > best->match.size())) best = &instrument;
    }
    return best;
}

FrameFacts read_facts(const Header& header, const std::vector<Instrument>& instruments, FrameFacts seed) {
    FrameFacts facts = std::move(seed);
    static const Instrument none;
    const Instrument* matched = instrument_of(header, instruments);
    if (matched == nullptr && !instruments.empty()) {
        facts.remarks.emplace_back(
            "No [instrument.…] of the campaign matches this header; what it says is not used.");
    }
    const auto own_stack = read_own_stack(header);
    Instrument instrument = matched != nullptr ? *matched : none;
    if (own_stack) instrument = instrument_of_stack(instrument);
    facts.instrument = instrument.name;
    facts.filter = read_filter(header);
    facts.observer = first_text(header, {"OBSERVER"});
    facts.telescope = first_text(header, {"TELESCOP"});
    facts.camera = first_text(header, {"INSTRUME", "CAMERA", "DETECTOR"});
    facts.object = first_text(header, {"OBJECT", "OBJNAME"});
    read_band(instrument, facts);
    read_kind(header, facts);
    if (own_stack)
        take_own_stack(*own_stack, facts);
    else
        read_exposure(header, instrument, facts);
    read_time(header, facts);
    if (!own_stack) read_sensor(header, instrument, facts);
    read_calibration_facts(header, instrument, facts);
    if (!own_stack) apply_stack(header, facts);
    read_aperture(header, instrument, facts);
    read_site(header, facts);
    read_airmass(header, facts);
    return facts;
}

}  // namespace emberline::frame
