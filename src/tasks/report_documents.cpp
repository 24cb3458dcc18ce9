// SPDX-License-Identifier: MIT
// A report before it goes out, for somebody who looks through it.
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "tasks/documents.hpp"

namespace emberline::tasks {
namespace {

constexpr std::string_view how_to_mend = "Check names, code and chart in campaign.toml.";

std::string sentence(const exchange::Finding& finding) {
    return finding.field.empty() ? finding.what : fmt::format("{}: {}", finding.field, finding.what);
}

Json line_document(const ReportTextLine& line) {
    Json json{{"number", line.number}, {"text", line.text}, {"severity", nullptr}, {"what", ""}};
    std::string what;
    for (const exchange::Finding& finding : line.findings)
        what += (what.empty() ? "" : " ") + sentence(finding);
    if (line.findings.empty()) return json;
    json["severity"] = exchange::any_error(line.findings) ? "error" : "warning";
    json["what"] = what;
    return json;
}

Json finding_document(const exchange::Finding& finding) {
    return {{"line", finding.line},
            {"severity", finding.error ? "error" : "warning"},
            {"what", sentence(finding)},
            {"mend", finding.error ? how_to_mend : ""}};
}

Json left_out_document(const std::vector<exchange::SkippedLine>& left_out) {
    Json json = Json::array();
    for (const exchange::SkippedLine& one : left_out)
        json.push_back(
            {{"night", one.night}, {"band", one.band}, {"frame", one.frame}, {"what", one.reason}});
    return json;
}

}  // namespace

Json document(const ReportRequest& request, const ReportOutcome& outcome) {
    Json lines = Json::array(), findings = Json::array();
    const ReportText text = text_lines(outcome);
    for (const exchange::Finding& finding : text.whole)
        findings.push_back(finding_document(finding));
    for (const ReportTextLine& line : text.lines) {
        lines.push_back(line_document(line));
        for (const exchange::Finding& finding : line.findings)
            findings.push_back(finding_document(finding));
    }
    return {{"format", request.format},
            {"file_name", report_file_name(request.format)},
            {"text", outcome.text},
            {"lines", std::move(lines)},
            {"new_lines", outcome.lines - outcome.revisions},
            {"revisions", outcome.revisions},
            {"reported_before", outcome.reported_before},
            {"slight_changes", outcome.slight_changes},
            {"held", left_out_document(outcome.held)},
            {"skipped", left_out_document(outcome.skipped)},
            {"remarks", outcome.remarks},
            {"findings", std::move(findings)},
            {"command", command_line(request)}};
}

}  // namespace emberline::tasks
