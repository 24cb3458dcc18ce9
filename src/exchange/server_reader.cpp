// SPDX-License-Identifier: MIT
// The validator of single fields and of what they make together.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "exchange/server_fields.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

// The server publishes no length; a longer text is taken for a mistake.
constexpr std::size_t longest_text = 10'000;
constexpr double largest_err_arcsec = 3600.0;
constexpr double largest_flux = 1e12;  // also of fluxes that are no magnitudes
constexpr double longest_exposure_s = 1e7;

constexpr std::array<std::string_view, 20> report_keys{"ra.value",
                                                       "ra.error",
                                                       "ra.units",
                                                       "dec.value",
                                                       "dec.error",
                                                       "dec.units",
                                                       "reporting_groupid",
                                                       "data_source_groupid",
                                                       "reporter",
                                                       "discovery_datetime",
                                                       "at_type",
                                                       "host_name",
                                                       "host_redshift",
                                                       "transient_redshift",
                                                       "internal_name",
                                                       "internal_name_format",
                                                       "remarks",
                                                       "offset_east_arcsec",
                                                       "offset_north_arcsec",
                                                       "offset_east_error_arcsec"};
constexpr std::string_view last_offset_key = "offset_north_error_arcsec";
constexpr std::array<std::string_view, 10> point_keys{
    "obsdate",  "flux",         "flux_error", "limiting_flux", "flux_unitid",
    "filterid", "instrumentid", "exptime",    "observer",      "comments"};

template <class List>
bool is_one_of(const List& list, std::string_view key) {
    return std::find(list.begin(), list.end(), key) != list.end();
}

}  // namespace

bool ServerReader::knows_point(std::string_view key) const {
    return is_one_of(point_keys, spelled(key, ServerKeys::of_2025));
}

bool ServerReader::knows(std::string_view key) const {
    if (!key.starts_with(non_detection_prefix)) {
        const std::string now = spelled(key, ServerKeys::of_2025);
        // The period for which a report stays private has keys that nobody here has seen.
        return is_one_of(report_keys, now) || now == last_offset_key || now.starts_with("proprietary_period");
    }
    const std::string inner = spelled(key.substr(non_detection_prefix.size()), ServerKeys::of_2025);
    return inner == "archiveid" || inner == "archival_remarks" ||
           (is_one_of(point_keys, inner) && inner != "flux" && inner != "flux_error");
}

std::string ServerReader::in_2025(std::string_view key) {
    std::string now = spelled(key, ServerKeys::of_2025);
    if (now != key) {
        ++older_;
    } else if (spelled(key, ServerKeys::older) != key) {
        ++newer_;
    }
    if (older_ > 0 && newer_ > 0 && !mixed_said_) {
        mixed_said_ = true;
        findings_.warning(0, std::string(key), "Keys of 2025 and older ones stand in one file.");
    }
    return now;
}

bool ServerReader::begin_field(std::set<std::string>& seen, const std::string& key, const Where& where) {
    if (seen.insert(key).second) return true;
    findings_.error(where.line, where.field, "The field stands there twice; the first one counts.");
    return false;
}

std::optional<double> ServerReader::number(std::string_view value, const Where& where, double least,
                                           double most) {
    if (trimmed(value).empty()) return std::nullopt;
    const auto number = parse_number(value);
    if (!number) {
        findings_.error(where.line, where.field, fmt::format("{} is no number.", in_quotes(value)));
    } else if (*number < least || *number > most) {
        findings_.error(where.line, where.field, fmt::format("{} is out of range.", in_quotes(value)));
        return std::nullopt;
    }
    return number;
}

std::optional<int> ServerReader::identifier(std::string_view value, const Where& where) {
    if (trimmed(value).empty()) return std::nullopt;
    const auto whole = parse_integer(value);
    if (whole && *whole >= 0 && *whole <= 1'000'000'000) return static_cast<int>(*whole);
    findings_.error(where.line, where.field,
                    fmt::format("{} is no identifier: whole numbers from 0 are.", in_quotes(value)));
    return std::nullopt;
}

std::optional<double> ServerReader::date(std::string_view value, const Where& where) {
    if (trimmed(value).empty()) return std::nullopt;
    const auto jd = parse_server_date(value);
    if (!jd) {
        findings_.error(
            where.line, where.field,
            fmt::format("{} is no date: 2024-02-03.054 or 2024-02-03 01:17:46, in UT.", in_quotes(value)));
    }
    return jd;
}

std::string ServerReader::text(std::string_view value, const Where& where) {
    if (value.size() > longest_text) {
        findings_.error(where.line, where.field,
                        fmt::format("The text has {} bytes; {} are the most.", value.size(), longest_text));
    }
    if (!is_plain_text(value)) {
        findings_.error(where.line, where.field, "The text holds control characters or is no UTF-8.");
        return {};
    }
    return std::string(value);
}

void ServerReader::set_position(std::string_view key, std::string_view value, const Where& where) {
    const bool is_ra = key.starts_with("ra.");
    if (key.ends_with(".units")) {
        if (!value.empty() && value != "arcsec")
            findings_.error(where.line, where.field, fmt::format("{} should be arcsec.", in_quotes(value)));
    } else if (key.ends_with(".error")) {
        (is_ra ? report_.ra_err_arcsec : report_.dec_err_arcsec) =
            number(value, where, 0.0, largest_err_arcsec);
    } else if (!trimmed(value).empty()) {
        const auto angle = is_ra ? parse_right_ascension(value) : parse_declination(value);
        if (!angle) {
            findings_.error(where.line, where.field, angle.error().what);
        } else {
            (is_ra ? report_.position.ra : report_.position.dec) = *angle;
        }
        (is_ra ? has_ra_ : has_dec_) = true;
    }
}

void ServerReader::set(std::string_view given, std::string_view value, std::size_t line) {
    const Where where{std::string(given), line};
    if (!knows(given)) {
        findings_.warning(line, where.field, "The server has no such key; it is passed over.");
        return;
    }
    const std::string key = in_2025(given);
    if (!begin_field(seen_, key, where)) return;
    ServerReport& r = report_;
    const auto offset = [&]() -> ServerOffset& { return r.offset ? *r.offset : r.offset.emplace(); };
    if (key.starts_with(non_detection_prefix)) {
        const std::string_view inner = std::string_view(key).substr(non_detection_prefix.size());
        if (inner == "archiveid") {
            r.non_detection.archive = identifier(value, where);
            if (r.non_detection.archive.value_or(0) > 2)
                findings_.error(line, where.field, "0 other, 1 SDSS and 2 DSS are the archives.");
        } else if (inner == "archival_remarks") {
            r.non_detection.archive_remark = text(value, where);
        } else {
            set_of_point(last_limit_, inner, value, where);
        }
    } else if (key.starts_with("ra.") || key.starts_with("dec.")) {
        set_position(key, value, where);
    } else if (key == "reporting_groupid") {
        r.reporting_group = identifier(value, where);
    } else if (key == "data_source_groupid") {
        r.data_source_group = identifier(value, where);
    } else if (key == "reporter") {
        r.reporter = text(value, where);
    } else if (key == "discovery_datetime") {
        const auto jd = date(value, where);
        r.discovery_jd_utc = jd.value_or(0.0);
        has_discovery_ = !trimmed(value).empty();
    } else if (key == "at_type") {
        r.at_type = identifier(value, where);
        if (r.at_type.value_or(0) > 5) findings_.error(line, where.field, "The types go from 0 to 5.");
    } else if (key == "host_name") {
        r.host_name = text(value, where);
    } else if (key == "host_redshift") {
        r.host_redshift = number(value, where, -0.01, 20.0);
    } else if (key == "transient_redshift") {
        r.transient_redshift = number(value, where, -0.01, 20.0);
    } else if (key == "internal_name") {
        r.internal_name = text(value, where);
    } else if (key == "remarks") {
        r.remarks = text(value, where);
    } else if (key.starts_with("offset_")) {
        const bool is_err = key.find("_error_") != std::string::npos;
        const auto part = number(value, where, is_err ? 0.0 : -1e5, 1e5);
        const bool east = key.starts_with("offset_east");
        if (part && is_err) (east ? offset().east_err_arcsec : offset().north_err_arcsec) = part;
        if (part && !is_err) (east ? offset().east_arcsec : offset().north_arcsec) = *part;
    }
}

bool ServerReader::set_of_point(ServerPoint& point, std::string_view key, std::string_view value,
                                const Where& where) {
    if (key == "obsdate") {
        point.jd_utc = date(value, where).value_or(0.0);
    } else if (key == "flux") {
        point.flux_mag = number(value, where, -largest_flux, largest_flux);
    } else if (key == "flux_error") {
        point.flux_err_mag = number(value, where, 0.0, largest_flux);
    } else if (key == "limiting_flux") {
        point.limit_mag = number(value, where, -largest_flux, largest_flux);
    } else if (key == "flux_unitid") {
        point.units = identifier(value, where);
    } else if (key == "filterid") {
        point.filter = identifier(value, where);
    } else if (key == "instrumentid") {
        point.instrument = identifier(value, where);
    } else if (key == "exptime") {
        point.exposure_s = number(value, where, 0.0, longest_exposure_s);
    } else if (key == "observer") {
        point.observer = text(value, where);
    } else if (key == "comments") {
        point.comments = text(value, where);
    } else {
        return false;
    }
    return true;
}

void ServerReader::begin_point(std::string where, std::size_t line) {
    point_.emplace();
    point_where_ = std::move(where);
    point_line_ = line;
    seen_of_point_.clear();
}

void ServerReader::set_point(std::string_view given, std::string_view value) {
    const Where where{point_where_ + std::string(given), point_line_};
    const std::string key = in_2025(given);
    if (!knows_point(key)) {
        findings_.warning(where.line, where.field, "The server has no such key; it is passed over.");
    } else if (begin_field(seen_of_point_, key, where)) {
        set_of_point(*point_, key, value, where);
    }
}

void ServerReader::missing(const std::string& key, std::size_t line) {
    findings_.error(line, key, "The field is missing or empty.");
}

void ServerReader::check_point(const ServerPoint& point, const std::string& prefix, std::size_t line) {
    const auto named = [&](std::string_view key) { return prefix + spelled(key, keys()); };
    if (point.jd_utc == 0.0) missing(named("obsdate"), line);
    if (!point.units) missing(named("flux_unitid"), line);
    if (!point.filter) missing(named("filterid"), line);
    if (!point.instrument) missing(named("instrumentid"), line);
    constexpr double brightest = -15.0, faintest = 40.0;  // magnitudes
    for (const auto& mag : {point.flux_mag, point.limit_mag}) {
        if (point.units == ab_units && mag && (*mag < brightest || *mag > faintest))
            findings_.error(line, named("flux"), fmt::format("{:g} is no magnitude of anything.", *mag));
    }
}

void ServerReader::end_point() {
    if (!point_) return;
    if (!point_->flux_mag && !point_->limit_mag) {
        findings_.error(point_line_, point_where_ + "flux", "Neither a flux nor a limit stands there.");
    }
    if (point_->flux_mag && point_->limit_mag) {
        findings_.warning(point_line_, point_where_ + "limiting_flux",
                          "A flux and a limit stand side by side; the limit is meant for want of a flux.");
    }
    if (point_->flux_err_mag && !point_->flux_mag)
        findings_.warning(point_line_, point_where_ + "flux_error", "The error belongs to no flux.");
    check_point(*point_, point_where_, point_line_);
    report_.photometry.push_back(std::move(*point_));
    point_.reset();
}

void ServerReader::check_non_detection() {
    const std::string prefix(non_detection_prefix);
    const bool any = last_limit_.jd_utc != 0.0 || last_limit_.limit_mag;
    if (any) {
        report_.non_detection.point = last_limit_;
        if (!last_limit_.limit_mag) missing(prefix + "limiting_flux");
        check_point(last_limit_, prefix, 0);
        if (has_discovery_ && last_limit_.jd_utc > report_.discovery_jd_utc + 1e-5) {
            findings_.error(0, prefix + "obsdate", "The last non-detection is later than the discovery.");
        }
        return;
    }
    if (!report_.non_detection.archive) {
        findings_.error(
            0, prefix + "obsdate",
            "Neither a last non-detection nor an archive is named; the server wants one of them.");
    } else if (*report_.non_detection.archive == 0 && trimmed(report_.non_detection.archive_remark).empty()) {
        missing(prefix + "archival_remarks");
    }
}

void ServerReader::finish() {
    if (!has_ra_) missing("ra.value");
    if (!has_dec_) missing("dec.value");
    if (!report_.reporting_group) missing(spelled("reporting_groupid", keys()));
    if (!report_.data_source_group) missing(spelled("data_source_groupid", keys()));
    if (trimmed(report_.reporter).empty()) missing("reporter");
    if (!has_discovery_) missing("discovery_datetime");
    if (!report_.at_type) missing("at_type");
    check_non_detection();
    if (report_.photometry.empty()) findings_.error(0, "photometry", "There is no photometric point.");
}

}  // namespace emberline::exchange
