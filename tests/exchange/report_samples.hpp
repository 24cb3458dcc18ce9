// SPDX-License-Identifier: MIT
// Reports to write and to damage. The star and the observer are invented.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "exchange/network_report.hpp"

namespace emberline::test {

inline exchange::NetworkObservation sample_observation() {
    exchange::NetworkObservation o;
    o.star = "DEMO SN 1";
    o.date = 2460344.51234;
    o.magnitude_mag = 15.234;
    o.err_mag = 0.012;
    o.filter = "V";
    o.comparison_name = "126";
    o.comparison_mag = -9.876;
    o.check_name = "131";
    o.check_mag = -9.4;
    o.airmass = 1.234;
    o.group = 7;
    o.chart = "X00000";
    o.notes = {{"CMAGINS", "-9.876"}, {"CREFMAG", "12.600"}, {"KMAGINS", "-9.400"}, {"KMAGSTD", "13.076"}};
    o.note_text = "12 frames combined";
    return o;
}

inline exchange::NetworkReport sample_report() {
    exchange::NetworkReport report;
    report.header.observer_code = "XYZ";
    report.header.software = "Emberline 0.1.0";
    report.observations = {sample_observation()};
    return report;
}

inline const std::vector<std::string> sample_header = {"#TYPE=Extended", "#OBSCODE=XYZ", "#SOFTWARE=Pencil 1",
                                                       "#DELIM=,",       "#DATE=JD",     "#OBSTYPE=CCD"};
inline const std::vector<std::string> sample_fields = {
    "DEMO SN 1", "2460344.51234", "15.234", "0.012", "V", "NO",     "STD", "126",
    "-9.876",    "131",           "-9.400", "1.234", "7", "X00000", "na"};

inline std::string joined(const std::vector<std::string>& parts, const std::string& between) {
    std::string text;
    for (std::size_t i = 0; i < parts.size(); ++i)
        text += (i > 0 ? between : "") + parts[i];
    return text;
}

// The six parameters, then one line of these fields: it is line 7.
inline std::string file_of(const std::vector<std::string>& fields) {
    return joined(sample_header, "\n") + "\n" + joined(fields, ",") + "\n";
}
inline std::string file_with(std::size_t field, const std::string& value) {
    auto fields = sample_fields;
    fields.at(field) = value;
    return file_of(fields);
}

inline const exchange::Finding* find(const exchange::CheckedReport& checked, std::size_t line,
                                     const std::string& field, bool error) {
    const auto found = std::find_if(checked.findings.begin(), checked.findings.end(), [&](const auto& f) {
        return f.line == line && f.field == field && f.error == error;
    });
    return found == checked.findings.end() ? nullptr : &*found;
}

}  // namespace emberline::test
