// SPDX-License-Identifier: MIT
#include "tasks/report_memory.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <sstream>

#include "quantities/text.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

constexpr double same_moment_d = 0.0005;     // of one night: frames joined it or left it
constexpr double slight_limit_mag = 0.05;    // a limit has no error to compare with
constexpr double slight_error_change = 0.2;  // relative

}  // namespace

std::optional<ReportedValue> reported_value(const night::Measurement& m) {
    const auto& mag = m.is_limit ? m.limit_mag : m.magnitude_mag;
    if (!mag) return std::nullopt;
    ReportedValue value{.jd_utc = m.jd_utc,
                        .mag = *mag,
                        .is_limit = m.is_limit,
                        .transformed = m.transformed,
                        .band = m.band.name()};
    if (!m.is_limit) value.err_mag = m.total_err_mag();
    return value;
}

std::string text_of(const ReportedValue& v) {
    return fmt::format("{:.5f} {:.3f} {} {} {} {}", v.jd_utc, v.mag,
                       v.err_mag ? fmt::format("{:.3f}", *v.err_mag) : "-", v.is_limit ? "limit" : "value",
                       v.transformed ? "transformed" : "untransformed", v.band);
}

std::optional<ReportedValue> parse_reported_value(std::string_view text) {
    std::istringstream words{std::string(text)};
    std::string jd, mag, err, kind, transformed, band, more;
    if (!(words >> jd >> mag >> err >> kind >> transformed >> band) || words >> more) return std::nullopt;
    const auto jd_value = parse_number(jd), mag_value = parse_number(mag);
    if (!jd_value || !mag_value) return std::nullopt;
    return ReportedValue{.jd_utc = *jd_value,
                         .mag = *mag_value,
                         .err_mag = parse_number(err),
                         .is_limit = kind == "limit",
                         .transformed = transformed == "transformed",
                         .band = band};
}

Change change_of(const ReportedValue& before, const ReportedValue& now) {
    if (text_of(before) == text_of(now)) return Change::same;
    if (before.is_limit != now.is_limit || before.transformed != now.transformed || before.band != now.band ||
        before.err_mag.has_value() != now.err_mag.has_value() ||
        std::abs(before.jd_utc - now.jd_utc) > same_moment_d)
        return Change::revised;
    const double moved = std::abs(now.mag - before.mag);
    if (!before.err_mag) return moved > slight_limit_mag ? Change::revised : Change::slight;
    if (moved > worth_a_revision * *before.err_mag ||
        std::abs(*now.err_mag - *before.err_mag) > slight_error_change * *before.err_mag)
        return Change::revised;
    return Change::slight;
}

std::string path_of_reported(const Workspace& workspace, const std::string& file) {
    namespace fs = std::filesystem;
    const night::Campaign& campaign = workspace.campaign;
    const std::string name = frame_name(campaign.path(file), campaign.folder);
    const fs::path path(name);
    std::error_code error;
    // One of a campaign that has moved since, or was copied.
    const bool gone = path.is_absolute() && !fs::exists(path, error);
    if (gone && path.parent_path().filename() == "out") return workspace.out_path(path.filename().string());
    return campaign.path(name);
}

Result<ReportMemory> ReportMemory::read(const Workspace& workspace, const ledger::Ledger& ledger,
                                        std::string format) {
    auto lines = ledger.reported(format);
    if (!lines) return fail(lines.error());
    ReportMemory memory;
    memory.format_ = std::move(format);
    for (ledger::ReportedLine& line : *lines) {
        std::string subject = line.subject;
        line.file = path_of_reported(workspace, line.file);
        memory.lines_.emplace(std::move(subject), std::move(line));
    }
    return memory;
}

Change ReportMemory::judge(const std::string& subject, const ReportedValue& now) {
    judged_.insert(subject);
    const auto found = lines_.find(subject);
    if (found == lines_.end()) return Change::fresh;
    const auto before = parse_reported_value(found->second.content);
    return before ? change_of(*before, now) : Change::revised;
}

void ReportMemory::add(const std::string& subject, const ReportedValue& value) {
    added_.push_back(
        {.format = format_, .subject = subject, .content = text_of(value), .file = {}, .since = {}});
}

Result<void> ReportMemory::keep(const Workspace& workspace, const std::string& file) {
    if (added_.empty()) return {};
    for (ledger::ReportedLine& line : added_)
        line.file = frame_name(file, workspace.campaign.folder);
    auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::write);
    if (!ledger) return fail(ledger.error());
    return ledger->keep_reported(added_);
}

std::vector<ledger::ReportedLine> ReportMemory::gone(std::string_view kind) const {
    std::vector<ledger::ReportedLine> out;
    for (const auto& [subject, line] : lines_) {
        if (subject.starts_with(kind) && !judged_.contains(subject)) out.push_back(line);
    }
    return out;
}

std::optional<ledger::ReportedLine> ReportMemory::newest() const {
    const auto last = std::max_element(lines_.begin(), lines_.end(), [](const auto& a, const auto& b) {
        return a.second.since < b.second.since;
    });
    return last == lines_.end() ? std::nullopt : std::optional(last->second);
}

}  // namespace emberline::tasks
