// SPDX-License-Identifier: MIT
// From the ledger's nights to the report.
#include "exchange/server_report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "exchange/server_fields.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::exchange {
namespace {

using night::Campaign;
using night::NightMeasurement;
using night::ServerSettings;
using night::TransientPlace;

// Where nothing says better: a position out of a discovery announcement. common practice, no source
constexpr double assumed_position_err_arcsec = 1.0;
constexpr double largest_mag = 60.0;
constexpr double seconds_of_a_date = 1e-9;  // days: a date without a time of day is midnight

Problem wanting(const Campaign& campaign, std::string what, std::string_view key, std::string mend) {
    return {.what = std::move(what),
            .where = fmt::format("{}, [report.server] {}", campaign.path("campaign.toml"), key),
            .mend = std::move(mend),
            .kind = ProblemKind::request};
}

// What can stand for a band without the observer's settings (public sample code; see the header).
std::optional<int> known_filter(const Band& band) {
    constexpr std::pair<std::string_view, int> known[] = {{"g", 21}, {"r", 22}, {"i", 23}, {"z", 24}};
    for (const auto& [name, id] : known) {
        if (band.name() == name) return id;
    }
    return std::nullopt;
}

bool is_value(const std::optional<double>& mag) {
    return mag && std::isfinite(*mag) && std::abs(*mag) <= largest_mag;
}
bool is_detection(const NightMeasurement& m) {
    return !m.is_limit && is_value(m.magnitude_mag);
}
bool is_limit(const NightMeasurement& m) {
    return m.is_limit && is_value(m.limit_mag);
}

std::optional<std::string> reason_to_skip(const NightMeasurement& m) {
    if (m.band.empty()) return "Its band is not known.";
    if (m.is_limit) return is_limit(m) ? std::optional<std::string>() : "It is a limit without a value.";
    if (!is_detection(m)) return "It has no magnitude.";
    const auto err = m.total_err_mag();
    if (!err || !std::isfinite(*err)) return "Its error is not known.";
    return std::nullopt;
}

std::string comments_of(const NightMeasurement& m, double limit_sigma) {
    std::vector<std::string> parts{
        fmt::format("{}, {} frame{}", m.band.name(), m.n_frames, m.n_frames == 1 ? "" : "s combined")};
    if (m.is_limit) {
        parts.push_back(fmt::format("limit at {:g} sigma", limit_sigma));
    } else {
        parts.emplace_back(m.transformed ? "transformed" : "not transformed");
        parts.push_back(fmt::format("error random {:.3f} common {:.3f}", m.random_err_mag.value_or(0.0),
                                    m.common_err_mag.value_or(0.0)));
    }
    std::string flags;
    for (const Caveat caveat : m.caveats.list())
        flags += fmt::format(" {}", word(caveat));
    if (!flags.empty()) parts.push_back("flags" + flags);
    return fmt::format("{}", fmt::join(parts, "; "));
}

class ReportBuilder {
  public:
    ReportBuilder(const Campaign& campaign, const std::optional<TransientPlace>& place)
        : campaign_(campaign), settings_(campaign.report.server), place_(place) {}

    [[nodiscard]] Result<ServerLines> build(std::span<const NightMeasurement> nights,
                                            const ServerChoice& choice) {
        if (auto good = set_names(); !good) return fail(good.error());
        set_position();
        if (auto good = add_points(nights, choice); !good) return fail(good.error());
        if (auto good = set_discovery(nights); !good) return fail(good.error());
        if (auto good = set_non_detection(nights); !good) return fail(good.error());
        return std::move(lines_);
    }

  private:
    [[nodiscard]] Result<int> number_of(const std::optional<int>& number, std::string_view key,
                                        std::string_view meaning) const {
        if (number) return *number;
        return fail(
            wanting(campaign_, fmt::format("The server's number of {} is missing.", meaning), key,
                    fmt::format("Add {} = … under [report.server]: it stands in the server's lists.", key)));
    }

    [[nodiscard]] Result<void> set_names() {
        ServerReport& r = lines_.report;
        for (const auto& [target, number, key, meaning] :
             {std::tuple{&r.reporting_group, settings_.reporting_group, "reporting_group",
                         "the reporting group"},
              std::tuple{&r.data_source_group, settings_.data_source_group, "data_source_group",
                         "the group whose data these are"},
              std::tuple{&r.at_type, settings_.at_type, "at_type", "the type of transient"}}) {
            const auto known = number_of(number, key, meaning);
            if (!known) return fail(known.error());
            *target = *known;
        }
        r.reporter = trimmed(settings_.reporter.empty() ? campaign_.observer_name : settings_.reporter);
        if (r.reporter.empty()) {
            return fail(wanting(campaign_, "Nobody is named as the reporter.", "reporter",
                                "Add reporter = \"A. Observer (Example Observatory)\"."));
        }
        r.host_name = settings_.host_name;
        r.host_redshift = settings_.host_redshift ? settings_.host_redshift : campaign_.redshift;
        r.internal_name = settings_.internal_name.empty() ? campaign_.name : settings_.internal_name;
        r.remarks = settings_.remarks;
        return {};
    }

    void add_remark(std::string_view sentence) {
        std::string& remarks = lines_.report.remarks;
        if (!remarks.empty()) remarks += ' ';
        remarks += sentence;
    }

    void set_position() {
        ServerReport& r = lines_.report;
        if (place_) {
            r.position = place_->place;
            r.ra_err_arcsec = place_->east_err_arcsec;
            r.dec_err_arcsec = place_->north_err_arcsec;
        } else {
            r.position = campaign_.position;
            r.ra_err_arcsec = settings_.position_err_arcsec.value_or(assumed_position_err_arcsec);
            r.dec_err_arcsec = r.ra_err_arcsec;
            lines_.remarks.push_back(fmt::format(
                "No frame gives the transient's place: the campaign's position goes out, with {:g} arcsec.",
                *r.ra_err_arcsec));
        }
        if (!campaign_.nucleus) return;
        const SkyOffset away = offset(*campaign_.nucleus, r.position);
        r.offset =
            ServerOffset{away.east.arcseconds(), away.north.arcseconds(), r.ra_err_arcsec, r.dec_err_arcsec};
        add_remark(fmt::format("Offset from the nucleus: {:.2f} arcsec {}, {:.2f} arcsec {}.",
                               std::abs(r.offset->east_arcsec), r.offset->east_arcsec < 0.0 ? "west" : "east",
                               std::abs(r.offset->north_arcsec),
                               r.offset->north_arcsec < 0.0 ? "south" : "north"));
    }

    [[nodiscard]] Result<ServerPoint> point_of(const NightMeasurement& m) const {
        ServerPoint point;
        point.jd_utc = m.jd_utc;
        const auto own_filter = settings_.filters.find(m.band.name());
        point.filter = own_filter != settings_.filters.end() ? own_filter->second : known_filter(m.band);
        if (!point.filter) {
            return fail(wanting(
                campaign_, fmt::format("The server's number of the filter {} is missing.", m.band.name()),
                "filters",
                fmt::format("Add filters = {{ {} = … }} under [report.server]: it stands in "
                            "the server's lists.",
                            m.band.name())));
        }
        const std::string& system = facts(m.band).system;
        const auto own_units = settings_.units.find(system);
        if (own_units != settings_.units.end()) point.units = own_units->second;
        if (!point.units && system == "AB") point.units = ab_units;
        if (!point.units) {
            return fail(wanting(
                campaign_, fmt::format("The server's number of {} magnitudes is missing.", system), "units",
                fmt::format(
                    "Add units = {{ {} = … }} under [report.server]: it stands in the server's lists.",
                    system)));
        }
        const auto instrument = number_of(settings_.instrument, "instrument", "the instrument");
        if (!instrument) return fail(instrument.error());
        point.instrument = *instrument;
        if (m.is_limit) {
            point.limit_mag = m.limit_mag;
        } else {
            point.flux_mag = m.magnitude_mag;
            point.flux_err_mag = m.total_err_mag();
        }
        if (m.exposure_s > 0.0) point.exposure_s = m.exposure_s;
        point.observer = campaign_.observer_name.empty() ? campaign_.observer_code : campaign_.observer_name;
        point.comments = comments_of(m, campaign_.measure.limit_sigma);
        return point;
    }

    [[nodiscard]] Result<void> add_points(std::span<const NightMeasurement> nights,
                                          const ServerChoice& choice) {
        for (const NightMeasurement& m : nights) {
            if (choice && !choice(m)) continue;
            if (auto reason = reason_to_skip(m)) {
                lines_.skipped.push_back({m.night, m.band.name(), "", std::move(*reason)});
                continue;
            }
            auto point = point_of(m);
            if (!point) return fail(point.error());
            lines_.report.photometry.push_back(std::move(*point));
            lines_.subjects.push_back(subject_of(m));
        }
        if (!lines_.report.photometry.empty()) return {};
        return fail({.what = "There is no night to report.",
                     .where = campaign_.path("campaign.ledger"),
                     .mend = "Measure one, or choose other nights.",
                     .kind = ProblemKind::request});
    }

    // The day alone is known of [transient] discovered; our own first detection on it gives the time.
    [[nodiscard]] Result<void> set_discovery(std::span<const NightMeasurement> nights) {
        const NightMeasurement* first = nullptr;
        for (const NightMeasurement& m : nights) {
            if (is_detection(m) && (first == nullptr || m.jd_utc < first->jd_utc)) first = &m;
        }
        const auto given = settings_.discovery ? settings_.discovery : campaign_.discovered;
        const auto announced = given ? parse_server_date(*given) : std::nullopt;
        if (!announced && first == nullptr) {
            return fail(wanting(campaign_, "Nothing says when the transient was discovered.", "discovery",
                                "Add discovery = \"2024-02-03T21:04:05\", in UT."));
        }
        const bool is_day = announced && std::abs(std::remainder(*announced - 0.5, 1.0)) < seconds_of_a_date;
        const bool ours =
            first != nullptr &&
            (!announced || (is_day && first->jd_utc >= *announced && first->jd_utc < *announced + 1.0));
        lines_.report.discovery_jd_utc = ours ? first->jd_utc : *announced;
        if (!ours && is_day) {
            add_remark("The discovery is dated to the day alone.");
            lines_.remarks.emplace_back(
                "The time of day of the discovery is not known: add discovery under [report.server].");
        }
        const double earliest = lines_.report.discovery_jd_utc - (is_day && !ours ? 0.0 : seconds_of_a_date);
        if (first != nullptr && first->jd_utc < earliest) {
            lines_.remarks.push_back(
                fmt::format("The night of {} shows the transient before its discovery: check [transient] "
                            "discovered, or give discovery under [report.server].",
                            first->night));
        }
        // Until then nobody can have seen it: a later limit says nothing about the time before.
        latest_limit_jd_ = is_day && !ours ? *announced : lines_.report.discovery_jd_utc;
        return {};
    }

    [[nodiscard]] Result<void> set_non_detection(std::span<const NightMeasurement> nights) {
        const NightMeasurement* last = nullptr;
        for (const NightMeasurement& m : nights) {
            if (is_limit(m) && !m.band.empty() && m.jd_utc < latest_limit_jd_ &&
                (last == nullptr || m.jd_utc > last->jd_utc)) {
                last = &m;
            }
        }
        ServerNonDetection& none = lines_.report.non_detection;
        if (last != nullptr) {
            auto point = point_of(*last);
            if (!point) return fail(point.error());
            none.point = std::move(*point);
            return {};
        }
        const std::string archive = upper_case(trimmed(settings_.archive));
        if (archive.empty()) {
            return fail(wanting(campaign_,
                                "No night before the discovery has a limit, and no archive is named that "
                                "shows the place empty.",
                                "archive", "Add archive = \"DSS\", once you have looked there."));
        }
        none.archive = archive == "SDSS" ? 1 : archive == "DSS" ? 2 : 0;
        none.archive_remark = settings_.archive_remark;
        if (none.archive == 0 && none.archive_remark.empty()) none.archive_remark = settings_.archive;
        return {};
    }

    const Campaign& campaign_;
    const ServerSettings& settings_;
    const std::optional<TransientPlace>& place_;
    ServerLines lines_;
    double latest_limit_jd_ = 0.0;
};

}  // namespace

Result<ServerLines> server_report(std::span<const NightMeasurement> nights, const Campaign& campaign,
                                  const std::optional<TransientPlace>& place, const ServerChoice& choice) {
    return ReportBuilder(campaign, place).build(nights, choice);
}

}  // namespace emberline::exchange
