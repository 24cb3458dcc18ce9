// SPDX-License-Identifier: MIT
#include "tasks/report.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "exchange/network_report.hpp"
#include "quantities/delimited_table.hpp"
#include "tasks/curves_of.hpp"

namespace emberline::tasks {
namespace {

bool wanted(const night::Measurement& m, const std::vector<Band>& bands) {
    return bands.empty() || std::find(bands.begin(), bands.end(), m.band) != bands.end();
}

Result<exchange::NetworkLines> lines_of(const ledger::Ledger& ledger, const Workspace& workspace,
                                        const ReportRequest& request, const std::vector<Band>& bands) {
    exchange::LineChoice choice;
    choice.software = software;
    choice.from_night = request.from_night;
    choice.to_night = request.to_night;
    if (!request.frames) {
        std::vector<night::NightMeasurement> nights;
        const auto read = ledger.for_each_night_measurement([&](const night::NightMeasurement& m) {
            if (wanted(m, bands)) nights.push_back(m);
            return true;
        });
        if (!read) return fail(read.error());
        return exchange::network_lines(nights, workspace.campaign, choice);
    }
    std::vector<night::FrameMeasurement> frames;
    const auto read = ledger.for_each_frame_measurement([&](const night::FrameMeasurement& m) {
        if (wanted(m, bands)) frames.push_back(m);
        return true;
    });
    if (!read) return fail(read.error());
    return exchange::network_lines(frames, workspace.campaign, choice);
}

}  // namespace

Result<ReportOutcome> report(const Workspace& workspace, const ReportRequest& request) {
    const auto bands = bands_named(request.bands);
    if (!bands) return fail(bands.error());
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto lines = lines_of(*ledger, workspace, request, *bands);
    if (!lines) return fail(lines.error());
    ReportOutcome outcome;
    outcome.skipped = std::move(lines->skipped);
    outcome.remarks = std::move(lines->remarks);
    outcome.lines = lines->report.observations.size();
    const auto exclusions = ledger->exclusions();
    if (!exclusions) return fail(exclusions.error());
    for (const ledger::Exclusion& e : *exclusions)
        outcome.remarks.push_back(fmt::format("{} is set aside ({}).", e.key, e.reason));
    if (outcome.lines == 0) {
        return fail({.what = outcome.skipped.empty()
                                 ? std::string("There is nothing to report.")
                                 : fmt::format("No line is left: {}", outcome.skipped.front().reason),
                     .where = workspace.campaign.folder,
                     .mend = "Measure some nights first, or ask for other dates and bands."});
    }
    const auto text = exchange::write_network_report(lines->report);
    if (!text) return fail(text.error());
    exchange::CheckedReport checked = exchange::check_network_report(*text);
    if (!checked.valid()) {
        const auto first = std::find_if(checked.findings.begin(), checked.findings.end(),
                                        [](const exchange::Finding& f) { return f.error; });
        return fail({.what = fmt::format("The report breaks the network's rules: {}", first->what),
                     .where = fmt::format("line {}, {}", first->line, first->field),
                     .mend = "Check names, code and chart in campaign.toml; nothing was written."});
    }
    outcome.findings = std::move(checked.findings);
    outcome.file = request.file;
    if (outcome.file.empty()) {
        if (auto good = make_out_folder(workspace); !good) return fail(good.error());
        outcome.file = workspace.out_path("report.txt");
    }
    if (auto good = write_text_file(outcome.file, *text); !good) return fail(good.error());
    return outcome;
}

Result<std::vector<exchange::Finding>> check_report(const std::string& file) {
    const auto text = read_text_file(file);
    if (!text) return fail(text.error());
    return exchange::check_network_report(*text).findings;
}

}  // namespace emberline::tasks
