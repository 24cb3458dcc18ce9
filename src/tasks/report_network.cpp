// SPDX-License-Identifier: MIT
// The variable-star network's report: of nights all at once, of frames in batches, however many.
#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <fstream>
#include <map>
#include <optional>
#include <sstream>

#include "exchange/network_report.hpp"
#include "quantities/delimited_table.hpp"
#include "tasks/report_parts.hpp"

namespace emberline::tasks {
namespace {

using exchange::NetworkObservation;
using exchange::NetworkReportWriter;

constexpr std::size_t batch_rows = 2000;

exchange::LineChoice line_choice() {
    exchange::LineChoice choice;
    choice.software = software;
    return choice;
}

// The sieve knows what to do with each row; the lines of those that pass go into the file.
class NetworkFile {
  public:
    NetworkFile(std::ostream& out, const Workspace& workspace, ReportSieve& sieve, ReportOutcome& outcome)
        : out_(out), workspace_(workspace), sieve_(sieve), outcome_(outcome) {}

    // Rows of one kind; `all` of a night share their groups. Problem: of the lines, or the format.
    template <class Row>
    [[nodiscard]] Result<void> add(const std::vector<Row>& rows) {
        std::map<std::string, ReportSieve::Passed> passed;
        std::vector<Row> going;
        for (const Row& row : rows) {
            const std::string subject = exchange::subject_of(row);
            auto verdict = sieve_.pass(row, subject, name_of(row), outcome_);
            if (!verdict.goes) continue;
            passed.emplace(subject, std::move(verdict));
            going.push_back(row);
        }
        auto lines = exchange::network_lines(going, workspace_.campaign, line_choice());
        if (!lines) return fail(lines.error());
        outcome_.skipped.insert(outcome_.skipped.end(), lines->skipped.begin(), lines->skipped.end());
        for (const std::string& remark : lines->remarks) {
            auto& remarks = outcome_.remarks;
            if (std::find(remarks.begin(), remarks.end(), remark) == remarks.end()) remarks.push_back(remark);
        }
        for (std::size_t i = 0; i < lines->report.observations.size(); ++i) {
            NetworkObservation& o = lines->report.observations[i];
            if (o.observer_code.empty()) o.observer_code = lines->report.header.observer_code;
            const ReportSieve::Passed& verdict = passed.at(lines->subjects[i]);
            if (auto good = write(std::move(o), lines->report.header, verdict); !good) return good;
            sieve_.went_out(lines->subjects[i], *verdict.value);
        }
        return {};
    }

  private:
    static std::string name_of(const night::NightMeasurement&) { return {}; }
    static std::string name_of(const night::FrameMeasurement& m) { return m.frame; }

    [[nodiscard]] Result<void> write(NetworkObservation o, const exchange::NetworkHeader& header,
                                     const ReportSieve::Passed& verdict) {
        if (!verdict.revision_of.empty()) {
            o.note_text = verdict.revision_of + (o.note_text.empty() ? "" : " / " + o.note_text);
            ++outcome_.revisions;
        }
        if (!writer_) {
            auto begun = NetworkReportWriter::begin(out_, header);
            if (!begun) return fail(begun.error());
            writer_.emplace(std::move(*begun));
        }
        if (auto good = writer_->write(o); !good) return good;
        ++outcome_.lines;
        return {};
    }

    std::ostream& out_;
    const Workspace& workspace_;
    ReportSieve& sieve_;
    ReportOutcome& outcome_;
    std::optional<NetworkReportWriter> writer_;
};

Result<void> add_nights(const ledger::Ledger& ledger, NetworkFile& file) {
    std::vector<night::NightMeasurement> nights;
    const auto read = ledger.for_each_night_measurement([&](const night::NightMeasurement& m) {
        nights.push_back(m);
        return true;
    });
    return read ? file.add(nights) : read;
}

Result<void> add_frames(const ledger::Ledger& ledger, NetworkFile& file) {
    std::vector<night::FrameMeasurement> batch;
    Result<void> good;
    const auto read = ledger.for_each_frame_measurement([&](const night::FrameMeasurement& m) {
        batch.push_back(m);
        if (batch.size() < batch_rows) return true;
        good = file.add(batch);
        batch.clear();
        return good.has_value();
    });
    if (!read) return read;
    return good ? file.add(batch) : good;
}

Result<void> write_lines(const ledger::Ledger& ledger, const Workspace& workspace,
                         const ReportRequest& request, ReportSieve& sieve, std::ostream& out,
                         ReportOutcome& outcome) {
    NetworkFile file(out, workspace, sieve, outcome);
    const auto good = request.frames ? add_frames(ledger, file) : add_nights(ledger, file);
    if (!good) return good;
    sieve.close(request.frames ? "frame" : "night", outcome);
    const auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    for (const ledger::Exclusion& e : *exclusions)
        outcome.remarks.push_back(fmt::format("{} is set aside ({}).", e.key, e.reason));
    return {};
}

Result<std::vector<exchange::Finding>> checked(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    if (!in) return fail(disk_problem(path, "read"));
    auto findings = exchange::read_network_report(in, [](const NetworkObservation&, std::size_t) {});
    if (exchange::any_error(findings)) return fail(refused_by_validator(findings));
    return findings;
}

}  // namespace

Result<ReportOutcome> report_to_network(const Workspace& workspace, const ReportRequest& request) {
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto memory = ReportMemory::read(workspace, *ledger, "network");
    if (!memory) return fail(memory.error());
    auto sieve = ReportSieve::make(workspace, request, std::move(*memory));
    if (!sieve) return fail(sieve.error());
    ReportOutcome outcome;
    if (request.dry_run) {
        std::ostringstream out;
        if (auto good = write_lines(*ledger, workspace, request, *sieve, out, outcome); !good)
            return fail(good.error());
        outcome.text = std::move(out).str();
        std::istringstream text(outcome.text);
        if (outcome.lines > 0)
            outcome.findings =
                exchange::read_network_report(text, [](const NetworkObservation&, std::size_t) {});
        if (outcome.lines == 0 && outcome.reported_before == 0)
            return fail(nothing_to_report(workspace, outcome));
        return outcome;
    }
    const auto path = report_file(workspace, request, "report.txt");
    if (!path) return fail(path.error());
    auto file = NewFile::open(*path);
    if (!file) return fail(file.error());
    if (auto good = write_lines(*ledger, workspace, request, *sieve, file->out(), outcome); !good)
        return fail(good.error());
    if (outcome.lines == 0) {
        if (outcome.reported_before == 0) return fail(nothing_to_report(workspace, outcome));
        return outcome;
    }
    errno = 0;
    auto findings = checked(file->beside());
    if (!file->out()) return fail(disk_problem(*path, "write"));
    if (!findings) return fail(findings.error());
    outcome.findings = std::move(*findings);
    if (request.file.empty()) {
        const auto becoming = read_text_file(file->beside());
        if (!becoming) return fail(becoming.error());
        auto kept = keep_earlier(*path, *becoming, sieve->memory());
        if (!kept) return fail(kept.error());
        outcome.kept_copy = std::move(*kept);
    }
    if (auto good = file->commit(); !good) return fail(good.error());
    outcome.file = *path;
    if (const auto good = exchange::check_network_file_name(*path); !good)
        outcome.remarks.push_back(one_line(good.error()));
    remember(sieve->memory(), workspace, outcome);
    return outcome;
}

}  // namespace emberline::tasks
