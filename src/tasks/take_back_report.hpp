// SPDX-License-Identifier: MIT
// tasks/take_back_report — a report that was written and not sent: its lines count as never reported, so that
// the next report writes them again. The file is renamed, never deleted.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/ledger.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

struct WrittenReport {
    std::string file, since;  // since: ISO UTC, when the ledger learnt of it
    std::vector<ledger::ReportedLine> lines;
};
// The newest of that format (network, server-json, server-tsv) that was not taken back; the two server
// formats are one: what went to the server went to it in either. Absent: there is none. Problem: a format
// that is none (request), no ledger yet.
[[nodiscard]] Result<std::optional<WrittenReport>> newest_report(const Workspace& workspace,
                                                                 std::string_view format);

struct TakenBackReport {
    WrittenReport report;
    std::string kept_as;   // the file's name now: report-taken-back-2024-03-18T20-15-03-250.txt
    std::string restored;  // the report before, which has its usual name again; empty: there was none
    std::string remark;    // one sentence: the file was not there any more
};
// `since`: only where the newest report is the one of that time. Problem (request): there is none, or a later
// one; (storage): the file cannot be renamed, and then nothing is taken back.
[[nodiscard]] Result<TakenBackReport> take_back_report(
    const Workspace& workspace, std::string_view format,
    const std::optional<std::string>& since = std::nullopt);

}  // namespace emberline::tasks
