// SPDX-License-Identifier: MIT
// tasks/report_parts — what the reports of all formats share: which measurements go out, and the file's name.
// Private to this room.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "night/campaign.hpp"
#include "night/measurement.hpp"
#include "quantities/band.hpp"
#include "quantities/new_file.hpp"
#include "tasks/report.hpp"
#include "tasks/report_memory.hpp"

namespace emberline::tasks {

// Goes through measurements one by one and says which are for the report.
class ReportSieve {
  public:
    // Problem (request): a flag, band or date that is none.
    [[nodiscard]] static Result<ReportSieve> make(const Workspace& workspace, const ReportRequest& request,
                                                  ReportMemory memory);

    struct Passed {
        bool goes = false;
        std::string revision_of;  // where and when it was reported with another value
        std::optional<ReportedValue> value;
    };
    // `frame`: its name, of a frame. What is held back or was reported before is counted in the outcome.
    [[nodiscard]] Passed pass(const night::Measurement& m, const std::string& subject,
                              const std::string& frame, ReportOutcome& outcome);
    // A line of it went out.
    void went_out(const std::string& subject, const ReportedValue& value) { memory_.add(subject, value); }
    // After the last: what was left out by date, and what was reported and is gone.
    void close(std::string_view kind, ReportOutcome& outcome) const;
    [[nodiscard]] ReportMemory& memory() { return memory_; }

  private:
    explicit ReportSieve(ReportMemory memory) : memory_(std::move(memory)) {}
    [[nodiscard]] std::string reason_to_hold(const night::Measurement& m) const;

    ReportMemory memory_;
    std::optional<std::string> from_, to_;
    std::vector<Band> bands_;
    night::ReportSettings settings_;
    bool again_ = false;
    std::size_t outside_ = 0;
};

// The file for the report: as asked for, or `usual` in out/.
[[nodiscard]] Result<std::string> report_file(const Workspace& workspace, const ReportRequest& request,
                                              const std::string& usual);
// "out/report-until-2024-03-18T20-15-03-250.txt" of "out/report.txt", "until" and the time.
[[nodiscard]] std::filesystem::path stamped_name(const std::filesystem::path& path, std::string_view word,
                                                 const std::string& since);
// The same name, or with -2, -3 … after it where it is taken.
[[nodiscard]] std::filesystem::path free_name(const std::filesystem::path& path);
// Where a report that was written under that name at that time is now.
[[nodiscard]] std::string file_of(const std::string& file, const std::string& since);
// What lies under the name gets another, so that it is not written over: that of an earlier report by its
// time, or by when the file was written. Returns it; empty where there is none. Before the new file, which
// holds `becoming`, takes its name.
[[nodiscard]] Result<std::string> keep_earlier(const std::string& file, std::string_view becoming,
                                               const ReportMemory& memory);
// After the file stands: the ledger learns of it; a ledger that cannot is a remark.
void remember(ReportMemory& memory, const Workspace& workspace, ReportOutcome& outcome);

[[nodiscard]] Problem nothing_to_report(const Workspace& workspace, const ReportOutcome& outcome);
// Of a report that its own validator refuses.
[[nodiscard]] Problem refused_by_validator(const std::vector<exchange::Finding>& findings);

[[nodiscard]] Result<ReportOutcome> report_to_network(const Workspace& workspace,
                                                      const ReportRequest& request);
[[nodiscard]] Result<ReportOutcome> report_to_server(const Workspace& workspace, const ReportRequest& request,
                                                     bool json);

}  // namespace emberline::tasks
