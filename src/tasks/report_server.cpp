// SPDX-License-Identifier: MIT
// The IAU transient server's report, as JSON or between tabs: to a file for the observer to look at.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "exchange/server_report.hpp"
#include "quantities/delimited_table.hpp"
#include "tasks/report_parts.hpp"
#include "tasks/transient_place.hpp"

namespace emberline::tasks {
namespace {

Result<std::vector<night::NightMeasurement>> all_nights(const ledger::Ledger& ledger) {
    std::vector<night::NightMeasurement> nights;
    const auto read = ledger.for_each_night_measurement([&](const night::NightMeasurement& m) {
        nights.push_back(m);
        return true;
    });
    if (!read) return fail(read.error());
    return nights;
}

Result<void> check_request(const ReportRequest& request) {
    if (!request.frames) return {};
    return fail({.what = "The transient server takes nights, not single frames.",
                 .where = "--frames",
                 .mend = "Leave it out.",
                 .kind = ProblemKind::request});
}

}  // namespace

Result<ReportOutcome> report_to_server(const Workspace& workspace, const ReportRequest& request, bool json) {
    if (auto good = check_request(request); !good) return fail(good.error());
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto memory = ReportMemory::read(workspace, *ledger, "server");
    if (!memory) return fail(memory.error());
    auto sieve = ReportSieve::make(workspace, request, std::move(*memory));
    if (!sieve) return fail(sieve.error());
    const auto nights = all_nights(*ledger);
    if (!nights) return fail(nights.error());
    ReportOutcome outcome;
    std::map<std::string, ReportSieve::Passed> passed;
    for (const night::NightMeasurement& m : *nights) {
        const std::string subject = exchange::subject_of(m);
        passed.emplace(subject, sieve->pass(m, subject, "", outcome));
    }
    sieve->close("night", outcome);
    const auto goes = [&](const night::NightMeasurement& m) {
        return passed.at(exchange::subject_of(m)).goes;
    };
    if (std::none_of(nights->begin(), nights->end(), goes)) {
        if (outcome.reported_before == 0) return fail(nothing_to_report(workspace, outcome));
        return outcome;
    }
    const auto places = transient_place(workspace);
    if (!places) return fail(places.error());
    auto lines = exchange::server_report(*nights, workspace.campaign, places->all, goes);
    if (!lines) return fail(lines.error());
    outcome.skipped = std::move(lines->skipped);
    outcome.remarks.insert(outcome.remarks.end(), lines->remarks.begin(), lines->remarks.end());
    for (std::size_t i = 0; i < lines->subjects.size(); ++i) {
        const ReportSieve::Passed& verdict = passed.at(lines->subjects[i]);
        exchange::ServerPoint& point = lines->report.photometry[i];
        if (!verdict.revision_of.empty()) {
            point.comments = verdict.revision_of + (point.comments.empty() ? "" : "; " + point.comments);
            ++outcome.revisions;
        }
        sieve->went_out(lines->subjects[i], *verdict.value);
        ++outcome.lines;
    }
    const auto text =
        json ? exchange::write_server_json(lines->report) : exchange::write_server_tsv(lines->report);
    if (!text) return fail(text.error());
    exchange::CheckedServerReport checked = exchange::check_server_report(*text);
    if (!checked.valid() && !request.dry_run) return fail(refused_by_validator(checked.findings));
    outcome.findings = std::move(checked.findings);
    if (request.dry_run) {
        outcome.text = *text;
        return outcome;
    }
    const auto path = report_file(workspace, request, json ? "server.json" : "server.tsv");
    if (!path) return fail(path.error());
    if (request.file.empty()) {
        auto kept = keep_earlier(*path, *text, sieve->memory());
        if (!kept) return fail(kept.error());
        outcome.kept_copy = std::move(*kept);
    }
    if (auto good = write_text_file(*path, *text); !good) return fail(good.error());
    outcome.file = *path;
    remember(sieve->memory(), workspace, outcome);
    return outcome;
}

}  // namespace emberline::tasks
