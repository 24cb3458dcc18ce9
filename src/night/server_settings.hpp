// SPDX-License-Identifier: MIT
// night/server_settings — [report.server] of campaign.toml: what the IAU transient server's bulk report wants
// and no frame can tell. Its numeric identifiers stand in lists that the server keeps for its users; none is
// guessed here.
#pragma once

#include <map>
#include <optional>
#include <string>

#include "quantities/problem.hpp"

namespace emberline::night {

class SettingsTable;

struct ServerSettings {
    std::optional<int> reporting_group, data_source_group, instrument;
    std::optional<int> at_type;          // 0 other, 1 possible supernova, 2 possible nova, 3 known AGN, …
    std::map<std::string, int> filters;  // band -> the server's filter
    std::map<std::string, int> units;    // "Vega", "AB" -> the server's unit of flux
    std::string reporter;                // names and affiliations; empty: [observer] name
    std::string archive;                 // "DSS", "SDSS", another's name: for want of a non-detection
    std::string archive_remark;
    std::string host_name, internal_name, remarks;
    std::optional<double> host_redshift;
    std::optional<std::string> discovery;       // UT, date with or without a time of day
    std::optional<double> position_err_arcsec;  // of the campaign's position, each axis
    bool operator==(const ServerSettings&) const = default;
};

// Strict as every section. Problem (kind request): as read_campaign.
[[nodiscard]] Result<ServerSettings> read_server_settings(SettingsTable table);

}  // namespace emberline::night
