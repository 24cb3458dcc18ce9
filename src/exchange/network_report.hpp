// SPDX-License-Identifier: MIT
// exchange/network_report — the variable-star network's "Extended" text format, version 1.2 (2011-07-27,
// update 2021-12-02): written, read back and checked line by line.
#pragma once

#include <functional>
#include <iosfwd>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "exchange/finding.hpp"
#include "quantities/problem.hpp"

namespace emberline::exchange {

struct NetworkHeader {
    std::string observer_code;       // #OBSCODE
    std::string software;            // #SOFTWARE, at most 255 characters
    std::string delimiter = ",";     // #DELIM: the character, or "tab"
    std::string date_format = "JD";  // #DATE: JD or HJD; EXCEL is read, never written
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
    std::string observer_code;  // empty: the header's; else #OBSCODE comes again before the line
    std::string date_format;    // empty: the header's; else #DATE comes again before the line
    bool operator==(const NetworkObservation&) const = default;
};

struct NetworkReport {
    NetworkHeader header;
    std::vector<NetworkObservation> observations;
    bool operator==(const NetworkReport&) const = default;
};

// Magnitudes, errors and airmass are written with three decimals, dates with five, lines end in LF.
// Problem: a value that the format cannot hold, with its observation and field: nothing is cut silently.
// Refused as well: notes that break the identity KMAGSTD = CREFMAG − CMAGINS + KMAGINS.
[[nodiscard]] Result<std::string> write_network_report(const NetworkReport& report);
// One line of it, without its end. `delimiter` as in NetworkHeader. Problem: as above, with its field.
[[nodiscard]] Result<std::string> write_network_line(const NetworkObservation& observation,
                                                     std::string_view delimiter);

// The same line by line, for reports of any length.
class NetworkReportWriter {
  public:
    // Writes the header. Problem: as write_network_report.
    [[nodiscard]] static Result<NetworkReportWriter> begin(std::ostream& out, NetworkHeader header);
    // Whether the disk took it: ask the stream.
    [[nodiscard]] Result<void> write(const NetworkObservation& observation);

  private:
    NetworkReportWriter(std::ostream& out, NetworkHeader header);
    std::ostream* out_;
    NetworkHeader header_;
    std::string code_, date_format_;  // that hold now
    std::size_t written_ = 0;
};

// The network takes files whose name ends in .txt, .csv or .tsv. Problem: another name.
[[nodiscard]] Result<void> check_network_file_name(std::string_view path);

struct CheckedReport {
    NetworkReport report;  // what could be read
    std::vector<Finding> findings;
    std::vector<std::size_t> lines;   // of each observation in the report
    std::vector<std::size_t> unread;  // lines of data that could not be read as one
    [[nodiscard]] bool valid() const;
};
// Reads any such file, whoever wrote it, and names every departure from the specification by line and field.
// Line ends of any kind, a byte-order mark and any letter case are read. A line that cannot be read as an
// observation is left out of `report` and has its finding. After the first thousand findings the rest are
// counted. EXCEL dates come out as Julian dates.
[[nodiscard]] CheckedReport check_network_report(std::string_view text);
// The same of a file of any length: observations are handed out as they come, none is kept.
using NetworkVisitor = std::function<void(const NetworkObservation& observation, std::size_t line)>;
[[nodiscard]] std::vector<Finding> read_network_report(std::istream& in, const NetworkVisitor& visit);

}  // namespace emberline::exchange
