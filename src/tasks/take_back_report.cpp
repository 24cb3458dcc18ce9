// SPDX-License-Identifier: MIT
#include "tasks/take_back_report.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <filesystem>

#include "quantities/new_file.hpp"
#include "tasks/report_parts.hpp"

namespace emberline::tasks {
namespace {

namespace fs = std::filesystem;

// As the ledger names it.
Result<std::string> remembered_as(std::string_view format) {
    if (format == "network") return std::string("network");
    if (format == "server-json" || format == "server-tsv") return std::string("server");
    return fail({.what = fmt::format("No report of the format '{}' is remembered.", format),
                 .where = "--format",
                 .mend = "Use network, server-json or server-tsv.",
                 .kind = ProblemKind::request});
}

Problem cannot_rename(const fs::path& file, const std::error_code& error) {
    errno = error.value();
    Problem problem = disk_problem(file.string(), "rename");
    problem.mend = "Nothing was taken back. " + problem.mend;
    return problem;
}

std::optional<WrittenReport> as_report(const Workspace& workspace, std::vector<ledger::ReportedLine> lines) {
    if (lines.empty()) return std::nullopt;
    WrittenReport report{path_of_reported(workspace, lines.front().file), lines.front().since, {}};
    report.lines = std::move(lines);
    return report;
}

// The report before gets its usual name back, where it gave it up for the one taken back.
std::string restore_before(const std::optional<WrittenReport>& before, const WrittenReport& taken_back) {
    if (!before || before->file != taken_back.file) return {};
    const std::string now = file_of(before->file, before->since);
    std::error_code error;
    if (now == before->file || fs::exists(before->file, error)) return {};
    fs::rename(now, before->file, error);
    return error ? now : before->file;
}

}  // namespace

Result<std::optional<WrittenReport>> newest_report(const Workspace& workspace, std::string_view format) {
    const auto name = remembered_as(format);
    if (!name) return fail(name.error());
    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    auto lines = ledger->newest_report(*name);
    if (!lines) return fail(lines.error());
    return as_report(workspace, std::move(*lines));
}

Result<TakenBackReport> take_back_report(const Workspace& workspace, std::string_view format,
                                         const std::optional<std::string>& since) {
    auto newest = newest_report(workspace, format);
    if (!newest) return fail(newest.error());
    if (!*newest) {
        return fail({.what = "There is no report to take back.",
                     .where = workspace.campaign.folder,
                     .mend = "None of that format was written, or all were taken back.",
                     .kind = ProblemKind::request});
    }
    if (since && (*newest)->since != *since) {
        return fail({.what = fmt::format("That report is not the newest one: {} was written at {}.",
                                         (*newest)->file, (*newest)->since),
                     .where = workspace.campaign.folder,
                     .mend = "Take the newest one back first: `emberline report --take-back`.",
                     .kind = ProblemKind::request});
    }
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    TakenBackReport out{.report = std::move(**newest), .kept_as = {}, .restored = {}, .remark = {}};
    // The file first: one that keeps its name could be sent, or be written over.
    const std::string file = file_of(out.report.file, out.report.since);
    std::error_code error;
    if (fs::exists(file, error)) {
        out.kept_as = free_name(stamped_name(out.report.file, "taken-back", out.report.since)).string();
        fs::rename(file, out.kept_as, error);
        if (error) return fail(cannot_rename(file, error));
    } else {
        out.remark = fmt::format("The file {} is not there any more.", file);
    }
    const ledger::ReportedLine& any = out.report.lines.front();
    if (auto good = ledger->take_back_report(any.format, any.file, any.since); !good) {
        if (!out.kept_as.empty()) fs::rename(out.kept_as, file, error);
        return fail(good.error());
    }
    auto before = ledger->newest_report(any.format);
    if (!before) return fail(before.error());
    out.restored = restore_before(as_report(workspace, std::move(*before)), out.report);
    return out;
}

}  // namespace emberline::tasks
