// SPDX-License-Identifier: MIT
#include "tasks/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"

namespace emberline::command {
namespace {

struct Request {
    tasks::ReportRequest report;
    std::string from, to, check;
};

std::string place(const exchange::Finding& f) {
    return fmt::format("line {}{}", f.line, f.field.empty() ? "" : ", " + f.field);
}

tasks::Json findings_document(const std::vector<exchange::Finding>& findings) {
    tasks::Json json = tasks::Json::array();
    for (const exchange::Finding& f : findings)
        json.push_back({{"line", f.line}, {"field", f.field}, {"what", f.what}, {"error", f.error}});
    return json;
}

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
    for (const exchange::Finding& f : *findings)
        std::cout << fmt::format("{}: {}{}\n", place(f), f.error ? "" : "(warning) ", f.what);
    std::cout << file
              << (valid ? " follows the network's rules.\n" : " does not follow the network's rules.\n");
}

void print(const tasks::ReportOutcome& outcome) {
    std::cout << fmt::format("{} line{} for the network are in {}; the validator accepts it.\n",
                             outcome.lines, outcome.lines == 1 ? "" : "s", outcome.file);
    for (const exchange::Finding& f : outcome.findings)
        std::cout << fmt::format("  {}: {}\n", place(f), f.what);
    if (!outcome.skipped.empty()) std::cout << "Left out:\n";
    for (const exchange::SkippedLine& s : outcome.skipped)
        std::cout << fmt::format("  {} {} {}: {}\n", s.night, s.band, s.frame, s.reason);
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
}

void run(Request request, Face& face) {
    if (!request.check.empty()) return check(request.check, face);
    if (!request.from.empty()) request.report.from_night = request.from;
    if (!request.to.empty()) request.report.to_night = request.to;
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto outcome = tasks::report(*workspace, request.report);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->skipped.empty()) face.status = something_refused;
    if (!face.json) return print(*outcome);
    tasks::Json skipped = tasks::Json::array();
    for (const exchange::SkippedLine& s : outcome->skipped)
        skipped.push_back({{"night", s.night}, {"band", s.band}, {"frame", s.frame}, {"reason", s.reason}});
    face.say_json({{"file", outcome->file},
                   {"lines", outcome->lines},
                   {"skipped", std::move(skipped)},
                   {"warnings", findings_document(outcome->findings)},
                   {"remarks", outcome->remarks}});
}

}  // namespace

void add_report(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("report", "Write the network's report; say what it left out, and why");
    sub->footer("Examples:\n  emberline report --from 2024-03-20\n  emberline report --check somebody.txt");
    const auto request = std::make_shared<Request>();
    sub->add_option("--from", request->from, "First night, 2024-03-10");
    sub->add_option("--to", request->to, "Last night");
    sub->add_option("--band", request->report.bands, "Only this band; once for each");
    sub->add_flag("--frames", request->report.frames, "A line a frame instead of a night");
    sub->add_option("-o,--output", request->report.file, "File to write (out/report.txt)");
    sub->add_option("--check", request->check, "Only check such a file, whoever wrote it");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
