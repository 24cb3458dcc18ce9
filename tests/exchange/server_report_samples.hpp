// SPDX-License-Identifier: MIT
// An invented campaign whose nights go to the transient server, and what its validator says.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "exchange/measurement_samples.hpp"
#include "exchange/server_report.hpp"

namespace emberline::exchange::server_test {

// A report as the server's own sample nests it, with the older keys: from memory (nesting and keys agree with
// the table of keys named in the header), values invented. Nothing of it was sent anywhere.
inline std::string sample_of_older_keys() {
    std::ifstream in(std::string(EMBERLINE_TEST_DATA) + "/exchange/server_report_older_keys.json");
    std::string text{std::istreambuf_iterator<char>(in), {}};
    REQUIRE_FALSE(text.empty());
    return text;
}

inline night::Campaign campaign() {
    auto c = test::sample_campaign();
    c.position = {Angle::degrees(201.338), Angle::degrees(37.27)};
    c.nucleus = SkyPosition{Angle::degrees(201.3331), Angle::degrees(37.2719)};
    c.observer_name = "A. Observer";
    auto& server = c.report.server;
    server.reporting_group = 101;
    server.data_source_group = 102;
    server.instrument = 103;
    server.at_type = 1;
    server.filters = {{"V", 201}, {"B", 202}};
    server.units = {{"Vega", 301}};
    server.reporter = "A. Observer (Example Observatory)";
    return c;
}

inline night::NightMeasurement night_at(const std::string& date, double jd, const std::string& band = "V") {
    auto m = test::sample_night(date, band);
    m.jd_utc = jd;
    return m;
}

// 2024-02-01T21:36:00 and so on: jd 2460342.4 is 2024-02-01.9.
inline std::vector<night::NightMeasurement> nights() {
    return {test::as_limit(night_at("2024-02-01", 2460342.4)),
            test::as_limit(night_at("2024-02-02", 2460343.4)), night_at("2024-02-03", 2460344.4),
            night_at("2024-02-03", 2460344.41, "B"), test::as_limit(night_at("2024-02-06", 2460347.4))};
}

inline night::TransientPlace seen_place() {
    night::TransientPlace place;
    place.place = {Angle::degrees(201.33801), Angle::degrees(37.27002)};
    place.east_err_arcsec = 0.12;
    place.north_err_arcsec = 0.09;
    return place;
}

inline bool has(const std::vector<Finding>& findings, const std::string& field, const std::string& saying,
                bool error = true) {
    return std::any_of(findings.begin(), findings.end(), [&](const Finding& f) {
        return f.field == field && f.error == error && f.what.find(saying) != std::string::npos;
    });
}

inline std::string words(const std::vector<Finding>& findings) {
    std::string all;
    for (const Finding& f : findings)
        all += std::to_string(f.line) + " " + f.field + ": " + f.what + "\n";
    return all;
}

inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
}

}  // namespace emberline::exchange::server_test
