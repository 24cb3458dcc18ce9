// SPDX-License-Identifier: MIT
#include "frame/read_facts.hpp"

#include <fmt/format.h>

#include <cmath>
#include <initializer_list>

#include "frame/read_sensor.hpp"
#include "frame/read_time.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr const char* campaign_source = "campaign.toml, instrument.";

MaybeFact<std::string> first_text(const Header& header, std::initializer_list<const char*> keywords) {
    for (const char* keyword : keywords) {
        if (auto text = header.text(keyword)) return Fact<std::string>{*text, keyword};
    }
    return std::nullopt;
}

const Instrument* matching_instrument(const Header& header, const std::vector<Instrument>& instruments) {
    for (const Instrument& instrument : instruments) {
        bool all = true;
        for (const auto& [keyword, wanted] : instrument.match) {
            const auto value = header.text(keyword);
            all = all && value && lower_case(trimmed(*value)) == lower_case(trimmed(wanted));
        }
        if (all) return &instrument;
    }
    return nullptr;
}

// What the campaign calls that filter, else what the trade does.
void read_band(const Instrument& instrument, FrameFacts& facts) {
    std::string filter = facts.filter ? facts.filter->value : std::string();
    std::string source = facts.filter ? facts.filter->source : std::string("FILTER");
    constexpr const char* plane_names[] = {"Red", "Green", "Blue"};
    constexpr const char* plane_bands[] = {"TR", "TG", "TB"};
    if (facts.planes == 3) {
        filter = plane_names[facts.plane];
        source = fmt::format("plane {} of a colour cube", facts.plane + 1);
    }
    for (const auto& [name, band] : instrument.bands) {
        if (lower_case(trimmed(name)) != lower_case(filter)) continue;
        if (const auto known = parse_band(band)) {
            facts.band = Fact<Band>{*known, fmt::format("{}, campaign.toml, instrument.bands", source)};
            return;
        }
    }
    if (facts.planes == 3) {
        facts.band = Fact<Band>{*parse_band(plane_bands[facts.plane]), source};
        return;
    }
    if (filter.empty()) return;
    if (const auto known = parse_band(filter)) facts.band = Fact<Band>{*known, source};
}

std::optional<Angle> site_angle(const Header& header, const char* keyword, double limit_deg) {
    const auto text = header.text(keyword);
    if (!text) return std::nullopt;
    const auto angle = parse_degrees(*text, keyword, limit_deg);
    return angle ? std::optional<Angle>(*angle) : std::nullopt;
}

// Signs of longitudes in headers cannot be trusted: the campaign's site wins wherever there is one.
void read_site(const Header& header, FrameFacts& facts) {
    constexpr const char* latitudes[] = {"OBSGEO-B", "SITELAT", "LAT-OBS", "OBSLAT", "LATITUDE", "OBS-LAT"};
    constexpr const char* longitudes[] = {"OBSGEO-L", "SITELONG", "LONG-OBS",
                                          "OBSLONG",  "LONGITUD", "OBS-LONG"};
    constexpr const char* heights[] = {"OBSGEO-H", "SITEELEV", "ALT-OBS", "OBSALT", "ALTITUDE", "OBS-ELEV"};
    for (std::size_t i = 0; i < std::size(latitudes); ++i) {
        const auto latitude = site_angle(header, latitudes[i], 90.0);
        const auto longitude = site_angle(header, longitudes[i], 360.0);
        if (!latitude || !longitude) continue;
        double height = 0.0;
        for (const char* keyword : heights)
            height = height == 0.0 ? header.number(keyword).value_or(0.0) : height;
        if (!(std::abs(height) < 9000.0)) height = 0.0;
        facts.site =
            Fact<sky::Site>{{*latitude, *longitude, height},
                            fmt::format("{}, {} (east taken as positive)", latitudes[i], longitudes[i])};
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
        facts.aperture_mm =
            Fact<double>{*instrument.aperture_mm, std::string(campaign_source) + "aperture_mm"};
    } else if (stated) {
        facts.aperture_mm = Fact<double>{*header_mm, "APTDIA"};
    }
}

}  // namespace

FrameFacts read_facts(const Header& header, const std::vector<Instrument>& instruments, FrameFacts seed) {
    FrameFacts facts = std::move(seed);
    static const Instrument none;
    const Instrument* matched = matching_instrument(header, instruments);
    if (matched == nullptr && !instruments.empty()) {
        facts.remarks.emplace_back(
            "No [instrument.…] of the campaign matches this header; what it says is not used.");
    }
    const Instrument& instrument = matched != nullptr ? *matched : none;
    facts.instrument = instrument.name;
    facts.filter = first_text(header, {"FILTER", "FILTER1", "FILTNAM", "FILT", "INSFILTE"});
    facts.observer = first_text(header, {"OBSERVER"});
    facts.telescope = first_text(header, {"TELESCOP"});
    facts.camera = first_text(header, {"INSTRUME", "CAMERA", "DETECTOR"});
    facts.object = first_text(header, {"OBJECT", "OBJNAME"});
    read_band(instrument, facts);
    read_exposure(header, instrument, facts);
    read_time(header, facts);
    read_sensor(header, instrument, facts);
    read_aperture(header, instrument, facts);
    read_site(header, facts);
    read_airmass(header, facts);
    return facts;
}

}  // namespace emberline::frame
