// SPDX-License-Identifier: MIT
#include "tasks/report_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>

#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "tasks/command_line.hpp"
#include "tasks/report_parts.hpp"
#include "tasks/take_back_report.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view points_prefix = "photometry.";

// How the validator of the server's JSON names a field: "ra.value", "photometry.3.obsdate".
struct FieldPlace {
    std::string key;           // the last name
    std::optional<int> point;  // which of the photometry, from 0
    std::string object;        // the name before, of what is no point
};

FieldPlace place_of(std::string_view field) {
    FieldPlace place;
    const auto last = field.rfind('.');
    place.key = last == std::string_view::npos ? field : field.substr(last + 1);
    if (last == std::string_view::npos) return place;
    if (field.starts_with(points_prefix)) {
        const auto number = parse_integer(field.substr(points_prefix.size(), last - points_prefix.size()));
        if (number) place.point = static_cast<int>(*number);
    } else {
        place.object = field.substr(0, last);
    }
    return place;
}

// Index of the line; as many as there are lines: it stands in none.
std::size_t line_of(const FieldPlace& place, const std::vector<ReportTextLine>& lines) {
    const std::string key = fmt::format("\"{}\":", place.key);
    const std::string outer = fmt::format("\"{}\":", place.point ? "photometry_group" : place.object);
    bool inside = !place.point && place.object.empty();
    int points = 0;
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const std::string& text = lines[i].text;
        if (!inside && text.find(outer) != std::string::npos) inside = true;
        if (!inside || text.find(key) == std::string::npos) continue;
        if (points++ == place.point.value_or(0)) return i;
    }
    return lines.size();
}

bool lies_in(const fs::path& folder, const fs::path& file) {
    std::error_code error;
    const fs::path base = fs::weakly_canonical(folder, error), path = fs::weakly_canonical(file, error);
    const auto [end, rest] = std::mismatch(base.begin(), base.end(), path.begin(), path.end());
    return end == base.end() && rest != path.end();
}

}  // namespace

ReportText text_lines(const ReportOutcome& outcome) {
    ReportText text;
    std::vector<ReportTextLine>& lines = text.lines;
    std::string_view rest = outcome.text;
    while (!rest.empty()) {
        const auto end = rest.find('\n');
        std::string_view line = rest.substr(0, end);
        if (line.ends_with('\r')) line.remove_suffix(1);
        lines.push_back({lines.size() + 1, std::string(line), {}});
        rest.remove_prefix(end == std::string_view::npos ? rest.size() : end + 1);
    }
    for (const exchange::Finding& finding : outcome.findings) {
        std::size_t at = lines.size();
        if (finding.line > 0) {
            at = finding.line - 1;
        } else if (!finding.field.empty()) {
            at = line_of(place_of(finding.field), lines);
        }
        if (at >= lines.size()) {
            text.whole.push_back(finding);
            continue;
        }
        lines[at].findings.push_back(finding);
        lines[at].findings.back().line = at + 1;
    }
    return text;
}

std::string report_file_name(std::string_view format) {
    if (format == "network") return "report.txt";
    if (format == "server-json") return "server.json";
    if (format == "server-tsv") return "server.tsv";
    return {};
}

std::string command_line(const ReportRequest& request) {
    return CommandLine("report")
        .option("--format", request.format == "network" ? "" : request.format)
        .option("--from", request.from_night.value_or(""))
        .option("--to", request.to_night.value_or(""))
        .option("--band", request.bands)
        .option("--hold", request.hold)
        .flag("--transformed-only", request.transformed_only)
        .flag("--no-limits", request.no_limits)
        .flag("--frames", request.frames)
        .flag("--again", request.again)
        .flag("--dry-run", request.dry_run)
        .text();
}

Result<ReportFile> newest_report_file(const Workspace& workspace, std::string_view format) {
    const auto newest = newest_report(workspace, format);
    if (!newest) return fail(newest.error());
    if (!*newest) {
        return fail({.what = "No report of that format was written yet.",
                     .where = workspace.campaign.folder,
                     .mend = "Write one first."});
    }
    const std::string file = file_of((*newest)->file, (*newest)->since);
    // The ledger may name any file of the machine; only the campaign's own are handed over.
    if (!lies_in(workspace.campaign.folder, file)) {
        return fail({.what = "That report lies outside the campaign's folder.",
                     .where = file,
                     .mend = "Take it from there."});
    }
    auto text = read_text_file(file);
    if (!text) {
        Problem problem = text.error();
        problem.kind = ProblemKind::input;
        return fail(std::move(problem));
    }
    return ReportFile{fs::path(file).filename().string(), std::move(*text)};
}

}  // namespace emberline::tasks
