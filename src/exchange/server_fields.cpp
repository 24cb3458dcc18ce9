// SPDX-License-Identifier: MIT
#include "exchange/server_fields.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

struct Renamed {
    std::string_view of_2025, older;
};
constexpr std::array renamed{Renamed{"reporting_groupid", "reporting_group_id"},
                             Renamed{"data_source_groupid", "discovery_data_source_id"},
                             Renamed{"flux_unitid", "flux_units"}, Renamed{"filterid", "filter_value"},
                             Renamed{"instrumentid", "instrument_value"}};

std::string optional_number(const std::optional<double>& value, int decimals) {
    if (!value) return {};
    const std::string text = fmt::format("{:.{}f}", *value, decimals);
    // No minus before a value that rounds to nothing.
    return text.find_first_not_of("-0.") == std::string::npos && text.front() == '-' ? text.substr(1) : text;
}

std::string optional_identifier(const std::optional<int>& value) {
    return value ? fmt::format("{}", *value) : std::string();
}

// What a photometric point and a non-detection have in common.
std::vector<ServerField> shared_fields(const ServerPoint& point) {
    return {{"limiting_flux", optional_number(point.limit_mag, 3)},
            {"flux_unitid", optional_identifier(point.units)},
            {"filterid", optional_identifier(point.filter)},
            {"instrumentid", optional_identifier(point.instrument)},
            {"exptime", optional_number(point.exposure_s, 3)},
            {"observer", point.observer},
            {"comments", point.comments}};
}

// Keys with their prefix, for as long as the program runs.
std::string_view non_detection_key(std::string_view key) {
    static const std::array<std::string, 10> known = [] {
        std::array<std::string, 10> names{"obsdate",      "limiting_flux",   "flux_unitid", "filterid",
                                          "instrumentid", "exptime",         "observer",    "comments",
                                          "archiveid",    "archival_remarks"};
        for (std::string& name : names)
            name.insert(0, non_detection_prefix);
        return names;
    }();
    const auto found = std::find_if(known.begin(), known.end(), [&](const std::string& name) {
        return std::string_view(name).substr(non_detection_prefix.size()) == key;
    });
    return *found;
}

}  // namespace

std::string spelled(std::string_view key, ServerKeys keys) {
    const auto point = key.rfind('.');
    const std::size_t from = point == std::string_view::npos ? 0 : point + 1;
    for (const Renamed& name : renamed) {
        if (key.substr(from) != name.of_2025 && key.substr(from) != name.older) continue;
        const std::string_view now = keys == ServerKeys::older ? name.older : name.of_2025;
        return std::string(key.substr(0, from)).append(now);
    }
    return std::string(key);
}

std::vector<ServerField> fields_of(const ServerReport& r) {
    const auto units = [](const std::optional<double>& err) { return std::string(err ? "arcsec" : ""); };
    std::vector<ServerField> fields{{"ra.value", sexagesimal_hours(r.position.ra.wrapped_positive(), 3)},
                                    {"ra.error", optional_number(r.ra_err_arcsec, 3)},
                                    {"ra.units", units(r.ra_err_arcsec)},
                                    {"dec.value", sexagesimal_degrees(r.position.dec, 2)},
                                    {"dec.error", optional_number(r.dec_err_arcsec, 3)},
                                    {"dec.units", units(r.dec_err_arcsec)},
                                    {"reporting_groupid", optional_identifier(r.reporting_group)},
                                    {"data_source_groupid", optional_identifier(r.data_source_group)},
                                    {"reporter", r.reporter},
                                    {"discovery_datetime", server_day(r.discovery_jd_utc)},
                                    {"at_type", optional_identifier(r.at_type)},
                                    {"host_name", r.host_name},
                                    {"host_redshift", optional_number(r.host_redshift, 6)},
                                    {"transient_redshift", optional_number(r.transient_redshift, 6)},
                                    {"internal_name", r.internal_name},
                                    {"remarks", r.remarks}};
    const ServerPoint limit = r.non_detection.point.value_or(ServerPoint{});
    fields.push_back({non_detection_key("obsdate"), r.non_detection.point ? server_time(limit.jd_utc) : ""});
    for (const ServerField& field : shared_fields(limit))
        fields.push_back({non_detection_key(field.key), field.value});
    fields.push_back({non_detection_key("archiveid"), optional_identifier(r.non_detection.archive)});
    fields.push_back({non_detection_key("archival_remarks"), r.non_detection.archive_remark});
    return fields;
}

std::vector<ServerField> fields_of(const ServerPoint& point) {
    std::vector<ServerField> fields{{"obsdate", server_time(point.jd_utc)},
                                    {"flux", optional_number(point.flux_mag, 3)},
                                    {"flux_error", optional_number(point.flux_err_mag, 3)}};
    for (ServerField& field : shared_fields(point))
        fields.push_back(std::move(field));
    return fields;
}

std::vector<ServerField> fields_of(const std::optional<ServerOffset>& offset) {
    const auto part = [&](auto value) { return offset ? optional_number(value(*offset), 2) : std::string(); };
    using Value = std::optional<double>;
    return {{"offset_east_arcsec", part([](const ServerOffset& o) { return Value(o.east_arcsec); })},
            {"offset_north_arcsec", part([](const ServerOffset& o) { return Value(o.north_arcsec); })},
            {"offset_east_error_arcsec", part([](const ServerOffset& o) { return o.east_err_arcsec; })},
            {"offset_north_error_arcsec", part([](const ServerOffset& o) { return o.north_err_arcsec; })}};
}

std::string server_day(double jd_utc) {
    constexpr double steps = 1e5;  // of a day, 0.9 s
    const double stepped = std::round((jd_utc - jd_minus_mjd) * steps);
    const double day = std::floor(stepped / steps);
    return fmt::format("{}.{:05.0f}", sky::iso_date(sky::from_jd(jd_minus_mjd, day, TimeScale::utc)),
                       stepped - day * steps);
}

std::string server_time(double jd_utc) {
    std::string text = sky::iso(sky::from_jd(jd_utc, TimeScale::utc), 0);
    if (const auto t = text.find('T'); t != std::string::npos) text[t] = ' ';
    if (text.ends_with('Z')) text.pop_back();
    return text;
}

std::optional<double> parse_server_date(std::string_view text) {
    constexpr std::size_t date_length = 10;
    text = trimmed(text);
    if (text.size() < date_length || text[4] != '-' || text[7] != '-') return std::nullopt;
    std::string plain(text);
    double part_of_day = 0.0;
    if (plain.size() > date_length && plain[date_length] == '.') {
        const bool digits = std::all_of(plain.begin() + date_length + 1, plain.end(),
                                        [](char c) { return c >= '0' && c <= '9'; });
        const auto part = parse_number("0" + plain.substr(date_length));
        if (!digits || !part) return std::nullopt;
        part_of_day = *part;
        plain.resize(date_length);
    } else if (plain.size() > date_length && plain[date_length] == ' ') {
        plain[date_length] = 'T';
    }
    const auto instant = sky::parse_instant(plain);
    if (!instant) return std::nullopt;
    return instant->jd() + part_of_day;
}

}  // namespace emberline::exchange
