// SPDX-License-Identifier: MIT
// tasks/report_text — a report as somebody looks at it before it goes out: line by line, each with what the
// validator says of it; and the newest one as it was written.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "tasks/report.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct ReportTextLine {
    std::size_t number = 0;  // from 1
    std::string text;
    std::vector<exchange::Finding> findings;
};
// Of a dry run. A finding that names a field and no line, as those of JSON do, stands at the line of that
// field, where there is one.
struct ReportText {
    std::vector<ReportTextLine> lines;
    std::vector<exchange::Finding> whole;  // of no single line
};
[[nodiscard]] ReportText text_lines(const ReportOutcome& outcome);

// The usual name of the file in out/: report.txt, server.json, server.tsv. Empty: no such format.
[[nodiscard]] std::string report_file_name(std::string_view format);

// What to type for the same report.
[[nodiscard]] std::string command_line(const ReportRequest& request);

struct ReportFile {
    std::string name, text;
};
// The newest report of that format that was not taken back. Problem (request): no such format; (input): there
// is none, its file is gone or lies outside the campaign.
[[nodiscard]] Result<ReportFile> newest_report_file(const Workspace& workspace, std::string_view format);

}  // namespace emberline::tasks
