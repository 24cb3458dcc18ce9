// SPDX-License-Identifier: MIT
#include "tasks/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "command/findings.hpp"
#include "tasks/night_sheet.hpp"
#include "tasks/take_back_report.hpp"

namespace emberline::command {
namespace {

struct ReportOptions {
    tasks::ReportRequest report;
    std::string from, to, check;
    std::string night;  // of a page
    bool pdf = false;
    bool take_back = false;
};

void check(const std::string& file, Face& face) {
    const auto findings = tasks::check_report(file);
    if (!findings) {
        face.status = face.say(findings.error());
        return;
    }
    const bool valid =
        std::none_of(findings->begin(), findings->end(), [](const auto& f) { return f.error; });
    face.status = valid ? all_done : something_refused;
    if (face.json) {
        face.say_json({{"file", file}, {"valid", valid}, {"findings", findings_document(*findings)}});
        return;
    }
    print_findings(std::cout, *findings);
    std::cout << file
              << (valid ? " follows the rules of its format.\n" : " breaks the rules of its format.\n");
}

std::string lines_in_words(std::size_t n) {
    return fmt::format("{} line{}", n, n == 1 ? "" : "s");
}

void print_left_out(const char* heading, const std::vector<exchange::SkippedLine>& lines) {
    if (lines.empty()) return;
    std::cout << heading << '\n';
    for (const exchange::SkippedLine& s : lines)
        std::cout << fmt::format("  {} {} {}: {}\n", s.night, s.band, s.frame, s.reason);
}

void print_sums(const tasks::ReportOutcome& outcome) {
    if (outcome.file.empty() && outcome.text.empty()) {
        std::cout << "Nothing is new: no file was written.\n";
    } else if (!outcome.file.empty()) {
        std::cout << fmt::format(
            "{} for others to read are in {}; the validator accepts the file. Look at it, "
            "then send it yourself.\n",
            lines_in_words(outcome.lines), outcome.file);
    } else {
        std::cout << fmt::format("{} would be written. Nothing was, and nothing is remembered.\n",
                                 lines_in_words(outcome.lines));
    }
    if (outcome.revisions > 0)
        std::cout << fmt::format("  {} of them revise what was reported before.\n", outcome.revisions);
    if (outcome.reported_before > 0) {
        std::cout << fmt::format("  {} reported before {} not repeated (--again repeats {}).\n",
                                 outcome.reported_before, outcome.reported_before == 1 ? "is" : "are",
                                 outcome.reported_before == 1 ? "it" : "them");
    }
    if (outcome.slight_changes > 0) {
        std::cout << fmt::format("  {} of those moved since, by less than a fifth of {} error.\n",
                                 outcome.slight_changes, outcome.slight_changes == 1 ? "its" : "their");
    }
    if (!outcome.kept_copy.empty())
        std::cout << fmt::format("  The report before is kept as {}.\n", outcome.kept_copy);
}

void print(const tasks::ReportOutcome& outcome) {
    std::cout << outcome.text;
    print_sums(outcome);
    for (const exchange::Finding& f : outcome.findings)
        std::cout << fmt::format("  {}{}\n", place(f), f.what);
    print_left_out("Held back, as asked for:", outcome.held);
    print_left_out("Left out:", outcome.skipped);
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
}

tasks::Json lines_document(const std::vector<exchange::SkippedLine>& lines) {
    tasks::Json json = tasks::Json::array();
    for (const exchange::SkippedLine& s : lines)
        json.push_back({{"night", s.night}, {"band", s.band}, {"frame", s.frame}, {"reason", s.reason}});
    return json;
}

tasks::Json outcome_document(const tasks::ReportOutcome& outcome) {
    tasks::Json json = {{"file", outcome.file},
                        {"lines", outcome.lines},
                        {"revisions", outcome.revisions},
                        {"reported_before", outcome.reported_before},
                        {"slight_changes", outcome.slight_changes},
                        {"kept_copy", outcome.kept_copy},
                        {"held", lines_document(outcome.held)},
                        {"skipped", lines_document(outcome.skipped)},
                        {"warnings", findings_document(outcome.findings)},
                        {"remarks", outcome.remarks}};
    if (!outcome.text.empty()) json["text"] = outcome.text;
    return json;
}

void draw_page(const tasks::Workspace& workspace, const ReportOptions& request, Face& face) {
    tasks::NightSheetRequest sheet{
        .night = {}, .file = request.report.file, .pdf = request.pdf, .threads = face.threads};
    if (!request.night.empty()) sheet.night = request.night;
    const auto outcome = tasks::night_sheet(workspace, sheet);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (face.json) {
        face.say_json({{"night", outcome->night}, {"files", outcome->files}, {"remarks", outcome->remarks}});
        return;
    }
    std::cout << fmt::format("The night of {} is in {}.\n", outcome->night,
                             fmt::join(outcome->files, " and "));
    for (const std::string& remark : outcome->remarks)
        std::cout << remark << '\n';
}

void take_back(const tasks::Workspace& workspace, const std::string& format, Face& face) {
    const auto outcome = tasks::take_back_report(workspace, format);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    std::cout << fmt::format("{} of {} count as never reported:\n",
                             lines_in_words(outcome->report.lines.size()), outcome->report.file);
    for (const ledger::ReportedLine& line : outcome->report.lines)
        std::cout << "  " << line.subject << '\n';
    if (!outcome->kept_as.empty())
        std::cout << fmt::format("The file is {} now: do not send it.\n", outcome->kept_as);
    if (!outcome->restored.empty())
        std::cout << fmt::format("The report before is {} again.\n", outcome->restored);
    if (!outcome->remark.empty()) std::cout << outcome->remark << '\n';
    std::cout << "Whoever has the report already must be told by you.\n";
}

void run(ReportOptions request, Face& face) {
    if (!request.check.empty()) return check(request.check, face);
    if (request.report.format != "page" && (request.pdf || !request.night.empty())) {
        face.status = face.say({.what = "That is for pages, and the format asked for is another.",
                                .where = request.pdf ? "--pdf" : "--night",
                                .mend = "Say --format page too.",
                                .kind = ProblemKind::request});
        return;
    }
    if (!request.from.empty()) request.report.from_night = request.from;
    if (!request.to.empty()) request.report.to_night = request.to;
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    if (request.take_back) return take_back(*workspace, request.report.format, face);
    if (request.report.format == "page") return draw_page(*workspace, request, face);
    const auto outcome = tasks::report(*workspace, request.report);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->skipped.empty() || exchange::any_error(outcome->findings)) face.status = something_refused;
    if (face.json) {
        face.say_json(outcome_document(*outcome));
    } else {
        print(*outcome);
    }
}

}  // namespace

void add_report(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand(
        "report",
        "Write what others read: for the network, the transient server, or a page; say what it left out");
    sub->footer(
        "Examples:\n  emberline report\n  emberline report --since 2024-03-20 --dry-run\n"
        "  emberline report --format server-json\n  emberline report --format page --pdf\n"
        "  emberline report --hold cloud --hold trailed\n  emberline report --check somebody.txt\n  "
        "emberline report --take-back\nWhat was "
        "reported is remembered: the next report has what is new and what has "
        "changed.");
    const auto request = std::make_shared<ReportOptions>();
    sub->add_option("--format", request->report.format,
                    "For the network, for the IAU transient server (server-json, server-tsv), or a night on "
                    "one page to keep")
        ->type_name("FORMAT")
        ->capture_default_str()
        ->check(CLI::IsMember({"network", "server-json", "server-tsv", "page"}));
    sub->add_option("--night", request->night, "Of a page: which night")
        ->type_name("NIGHT")
        ->default_str("the newest");
    sub->add_flag("--pdf", request->pdf, "Of a page: as a PDF too");
    sub->add_option("--since,--from", request->from, "First night, such as 2024-03-10")->type_name("DATE");
    sub->add_option("--to", request->to, "Last night, such as 2024-03-10")->type_name("DATE");
    sub->add_option("--band", request->report.bands, "Only this band")->type_name("BAND");
    sub->add_flag("--frames", request->report.frames, "A line a frame instead of a night");
    sub->add_flag("--dry-run", request->report.dry_run, "Only show what would be written; remember nothing");
    sub->add_flag("--again", request->report.again, "Also what was reported before");
    sub->add_option("--hold", request->report.hold, "Hold values with this flag back")
        ->type_name("FLAG")
        ->allow_extra_args(false);
    sub->add_flag("--transformed-only", request->report.transformed_only, "Hold untransformed values back");
    sub->add_flag("--no-limits", request->report.no_limits, "Hold limits back");
    sub->add_option("-o,--output", request->report.file, "File to write")
        ->type_name("FILE")
        ->default_str("in out/, named by the format");
    sub->add_option("--check", request->check, "Only check such a file, whoever wrote it")->type_name("FILE");
    CLI::Option* take_back =
        sub->add_flag("--take-back", request->take_back,
                      "The newest report of the format was not sent: its lines count as never reported");
    for (const char* other :
         {"--night", "--pdf", "--since", "--to", "--band", "--frames", "--dry-run", "--again", "--hold",
          "--transformed-only", "--no-limits", "--output", "--check"})
        take_back->excludes(sub->get_option(other));
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
