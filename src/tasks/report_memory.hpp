// SPDX-License-Identifier: MIT
// tasks/report_memory — what the ledger remembers of earlier reports, and what has changed since.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "ledger/ledger.hpp"
#include "night/measurement.hpp"
#include "quantities/problem.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {

// What was said of one measurement: enough to tell whether it is another one now. As text in the ledger.
struct ReportedValue {
    double jd_utc = 0.0;
    double mag = 0.0;  // of a limit: the limit
    std::optional<double> err_mag;
    bool is_limit = false, transformed = false;
    std::string band;
    bool operator==(const ReportedValue&) const = default;
};
[[nodiscard]] std::optional<ReportedValue> reported_value(const night::Measurement& m);  // none: no magnitude
[[nodiscard]] std::string text_of(const ReportedValue& value);
[[nodiscard]] std::optional<ReportedValue> parse_reported_value(std::string_view text);

// A whole campaign is solved anew with every night, and the last digit of every earlier one moves with it. A
// move by less than this share of its error is no news.
inline constexpr double worth_a_revision = 0.2;

enum class Change { fresh, same, slight, revised };
[[nodiscard]] Change change_of(const ReportedValue& before, const ReportedValue& now);

// Where a file that the ledger remembers is. It knows those of the campaign as seen from its folder, which
// may be moved, and be called by other names; ledgers of before took the names as they were given.
[[nodiscard]] std::string path_of_reported(const Workspace& workspace, const std::string& file);

class ReportMemory {
  public:
    [[nodiscard]] static Result<ReportMemory> read(const Workspace& workspace, const ledger::Ledger& ledger,
                                                   std::string format);

    [[nodiscard]] Change judge(const std::string& subject, const ReportedValue& now);
    // Of a subject that was reported before.
    [[nodiscard]] const ledger::ReportedLine& before(const std::string& subject) const {
        return lines_.at(subject);
    }
    // What goes out now; kept in the ledger by keep().
    void add(const std::string& subject, const ReportedValue& value);
    [[nodiscard]] Result<void> keep(const Workspace& workspace, const std::string& file);
    // Reported before and never judged: no longer among the campaign's measurements.
    [[nodiscard]] std::vector<ledger::ReportedLine> gone(std::string_view kind) const;  // "night", "frame"
    // Where the newest of them are.
    [[nodiscard]] std::optional<ledger::ReportedLine> newest() const;

  private:
    std::string format_;
    std::map<std::string, ledger::ReportedLine> lines_;
    std::set<std::string> judged_;
    std::vector<ledger::ReportedLine> added_;
};

}  // namespace emberline::tasks
