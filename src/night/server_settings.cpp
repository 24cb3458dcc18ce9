// SPDX-License-Identifier: MIT
#include "night/server_settings.hpp"

#include <fmt/format.h>

#include "night/settings_table.hpp"
#include "quantities/band.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::night {
namespace {

constexpr long long largest_identifier = 1'000'000'000;

// Written as a number or as text: both are seen in the server's own samples.
std::optional<int> identifier(SettingsTable& table, std::string_view key) {
    const auto text = table.text_or_number(key);
    if (!text) return std::nullopt;
    const auto number = parse_integer(*text);
    if (number && *number >= 0 && *number <= largest_identifier) return static_cast<int>(*number);
    table.refuse(key, fmt::format("'{}' is no identifier.", *text),
                 fmt::format("Write the whole number that the server lists, such as {} = 21.", key));
    return std::nullopt;
}

void read_filters(SettingsTable& table, ServerSettings& settings) {
    SettingsTable filters = table.table("filters");
    for (const std::string& key : filters.keys()) {
        const auto band = parse_band(key);
        const auto id = identifier(filters, key);
        if (!band) {
            filters.refuse(key, band.error());
        } else if (id) {
            settings.filters[band->name()] = *id;
        }
    }
    if (auto good = filters.finish(); !good) table.refuse("filters", good.error());
}

void read_units(SettingsTable& table, ServerSettings& settings) {
    SettingsTable units = table.table("units");
    for (const std::string system : {"Vega", "AB"}) {
        if (const auto id = identifier(units, system)) settings.units[system] = *id;
    }
    if (auto good = units.finish(); !good) table.refuse("units", good.error());
}

}  // namespace

Result<ServerSettings> read_server_settings(SettingsTable table) {
    constexpr int most_at_type = 5;
    ServerSettings settings;
    settings.reporting_group = identifier(table, "reporting_group");
    settings.data_source_group = identifier(table, "data_source_group");
    settings.instrument = identifier(table, "instrument");
    settings.at_type = identifier(table, "at_type");
    if (settings.at_type.value_or(0) > most_at_type) {
        table.refuse("at_type", fmt::format("{} is no type of transient.", *settings.at_type),
                     "Use 0 other, 1 possible supernova, 2 possible nova, 3 known AGN, 4 possibly nuclear or "
                     "5 fast radio burst.");
    }
    read_filters(table, settings);
    read_units(table, settings);
    settings.reporter = table.text("reporter").value_or("");
    settings.archive = table.text("archive").value_or("");
    settings.archive_remark = table.text("archive_remark").value_or("");
    settings.host_name = table.text("host_name").value_or("");
    settings.internal_name = table.text("internal_name").value_or("");
    settings.remarks = table.text("remarks").value_or("");
    settings.host_redshift = table.number("host_redshift", -0.01, 20.0);
    settings.position_err_arcsec = table.number("position_err_arcsec", 1e-4, 3600.0);
    settings.discovery = table.text("discovery");
    if (settings.discovery && !sky::parse_instant(*settings.discovery)) {
        table.refuse("discovery", fmt::format("'{}' is not a date.", *settings.discovery),
                     "Write discovery = \"2024-02-03T21:04:05\", in UT; the time of day may be left out.");
    }
    if (auto good = table.finish(); !good) return fail(good.error());
    return settings;
}

}  // namespace emberline::night
