// SPDX-License-Identifier: MIT
// exchange/network_report — the variable-star network's "Extended" text format, version 1.2 (2011-07-27,
// update 2021-12-02): written, read back and checked line by line.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "quantities/problem.hpp"

namespace emberline::exchange {

struct NetworkHeader {
    std::string observer_code;       // #OBSCODE
    std::string software;            // #SOFTWARE, at most 255 characters
    std::string delimiter = ",";     // #DELIM: the character, or "tab"
    std::string date_format = "JD";  // #DATE: JD, HJD, EXCEL
    std::string obstype = "CCD";     // CCD, DSLR, PEP, VISDIG
    bool operator==(const NetworkHeader&) const = default;
};

struct NetworkObservation {
    std::string star;   // STARID, at most 30
    double date = 0.0;  // JD (UTC) of mid-exposure; five decimals are written
    double magnitude_mag = 0.0;
    bool fainter_than = false;
    std::optional<double> err_mag;
    std::string filter;  // network code
    bool transformed = false;
    std::string magnitude_type = "STD";
    std::string comparison_name;           // label or ENSEMBLE; empty: na
    std::optional<double> comparison_mag;  // instrumental; na for ENSEMBLE
    std::string check_name;
    std::optional<double> check_mag;
    std::optional<double> airmass;
    std::optional<int> group;
    std::string chart;
    std::vector<std::pair<std::string, std::string>> notes;  // KEY=value pairs, joined by |
    std::string note_text;                                   // free text, first
    bool operator==(const NetworkObservation&) const = default;
};

struct NetworkReport {
    NetworkHeader header;
    std::vector<NetworkObservation> observations;
    bool operator==(const NetworkReport&) const = default;
};

// Problem: a value that the format cannot hold, with its field: nothing is cut silently.
[[nodiscard]] Result<std::string> write_network_report(const NetworkReport& report);

// One finding of the validator.
struct Finding {
    std::size_t line = 0;
    std::string field;  // "MAGNITUDE", "#OBSCODE", or empty
    std::string what;
    bool error = true;  // false: a warning, e.g. an obsolete filter code
};
struct CheckedReport {
    NetworkReport report;  // what could be read
    std::vector<Finding> findings;
    [[nodiscard]] bool valid() const;
};
// Reads any such file, whoever wrote it, and names every departure from the specification by line and field.
[[nodiscard]] CheckedReport check_network_report(std::string_view text);

}  // namespace emberline::exchange
