// SPDX-License-Identifier: MIT
// exchange/server_report — the IAU transient server's bulk report of one transient ("AT report"), as JSON and
// as columns between tabs: written to a file for the observer to look at, never sent.
// Needs: night measurements, the campaign, the transient's place.  Feeds: tasks.
// Sources: the keys, which of them are required, at_type and archive numbers, the filter numbers of g, r, i
// and z and the unit number of AB magnitudes: a table of the server's keys of January 2025 taken from an
// alert group's help pages and a second copy of the server's sample; `reporter` and the nesting of the JSON:
// from memory, to verify before the first use. The columns between tabs are our own: the JSON's keys joined
// by points, one line a photometric point, what is of the report itself on the first line alone. The offset
// from the nucleus has no key there: it stands in the remarks, and in columns of its own.
#pragma once

#include <functional>
#include <iosfwd>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "exchange/finding.hpp"
#include "exchange/network_lines.hpp"
#include "night/campaign.hpp"
#include "night/mean_place.hpp"
#include "night/measurement.hpp"
#include "quantities/problem.hpp"
#include "quantities/sky_position.hpp"

namespace emberline::exchange {

struct ServerPoint {
    double jd_utc = 0.0;  // written to the second
    std::optional<double> flux_mag, flux_err_mag;
    std::optional<double> limit_mag;               // instead of flux_mag
    std::optional<int> units, filter, instrument;  // the server's numbers
    std::optional<double> exposure_s;
    std::string observer, comments;
    bool operator==(const ServerPoint&) const = default;
};

// What shows that it was not there before.
struct ServerNonDetection {
    std::optional<ServerPoint> point;  // the last limit before the discovery
    std::optional<int> archive;        // 0 other, 1 SDSS, 2 DSS
    std::string archive_remark;        // required where archive is 0
    bool operator==(const ServerNonDetection&) const = default;
};

struct ServerOffset {
    double east_arcsec = 0.0, north_arcsec = 0.0;
    std::optional<double> east_err_arcsec, north_err_arcsec;
    bool operator==(const ServerOffset&) const = default;
};

struct ServerReport {
    SkyPosition position;                                 // ICRS; hours to 0.001 s, degrees to 0.01 arcsec
    std::optional<double> ra_err_arcsec, dec_err_arcsec;  // on the sky: of ra already times cos(dec)
    std::optional<int> reporting_group, data_source_group;
    std::string reporter;
    double discovery_jd_utc = 0.0;  // to 1e-5 day
    std::optional<int> at_type;
    std::string host_name, internal_name, remarks;
    std::optional<double> host_redshift, transient_redshift;
    ServerNonDetection non_detection;
    std::optional<ServerOffset> offset;  // of the transient from the nucleus
    std::vector<ServerPoint> photometry;
    bool operator==(const ServerReport&) const = default;
};

struct ServerLines {
    ServerReport report;
    std::vector<std::string> subjects;  // one a photometric point: subject_of its night
    std::vector<SkippedLine> skipped;
    std::vector<std::string> remarks;  // "Nobody gave the time of day of the discovery: …"
};
// Whether a night and band goes out; the others still tell when the transient was first seen, and not seen.
using ServerChoice = std::function<bool(const night::NightMeasurement&)>;

// `nights`: all that the ledger has, by time or not. Discovery: [report.server] discovery, else [transient]
// discovered, else the first detection. The last non-detection: the newest limit before it, else
// [report.server] archive. Without a `place` the campaign's position goes out, with [report.server]
// position_err_arcsec or one arcsecond. Problem (kind request): a number of the server, a reporter or a
// non-detection is missing (with what to add), no night goes out.
[[nodiscard]] Result<ServerLines> server_report(std::span<const night::NightMeasurement> nights,
                                                const night::Campaign& campaign,
                                                const std::optional<night::TransientPlace>& place,
                                                const ServerChoice& choice = {});

// The server renamed some keys: reporting_group_id, discovery_data_source_id, flux_units, filter_value and
// instrument_value became reporting_groupid, data_source_groupid, flux_unitid, filterid and instrumentid.
enum class ServerKeys { of_2025, older };

// Magnitudes, errors and limits to 0.001, exposures to 0.001 s, offsets to 0.01 arcsec. Problem: a value that
// the format cannot hold, with its field: nothing is cut silently. In TSV also: letters beyond ASCII, since
// nothing says how a reader would take them; line ends and tabs in texts.
[[nodiscard]] Result<std::string> write_server_json(const ServerReport& report,
                                                    ServerKeys keys = ServerKeys::of_2025);
[[nodiscard]] Result<std::string> write_server_tsv(const ServerReport& report,
                                                   ServerKeys keys = ServerKeys::of_2025);
// The same, point by point. Whether the disk took it all: ask the stream.
[[nodiscard]] Result<void> write_server_json(const ServerReport& report, ServerKeys keys, std::ostream& out);
[[nodiscard]] Result<void> write_server_tsv(const ServerReport& report, ServerKeys keys, std::ostream& out);

struct CheckedServerReport {
    bool is_json = true;
    ServerKeys keys = ServerKeys::of_2025;
    ServerReport report;  // what could be read
    std::vector<Finding> findings;
    [[nodiscard]] bool valid() const { return !any_error(findings); }
};
// Reads such a file, whoever wrote it, JSON or TSV, keys old or new, and names every departure by field and,
// in TSV, by line. One report a file: of several only the first is read, and a finding says so. After the
// first thousand findings the rest are counted.
[[nodiscard]] CheckedServerReport check_server_report(std::string_view text);

}  // namespace emberline::exchange
