// SPDX-License-Identifier: MIT
#include "tasks/report.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <fstream>

#include "exchange/server_report.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "tasks/curves_of.hpp"
#include "tasks/report_parts.hpp"

namespace emberline::tasks {
namespace {

// Under which a report of that time is kept once its own name goes to another.
std::filesystem::path kept_name(const std::filesystem::path& path, const std::string& since) {
    return stamped_name(path, "until", since);
}

// ISO UTC.
std::string last_written(const std::string& file) {
    struct stat about {};
    if (::stat(file.c_str(), &about) != 0) return "before";
    return fmt::format("{:%Y-%m-%dT%H:%M:%S}Z", fmt::gmtime(about.st_mtime));
}

// "2024-03-18" of "2024-03-18T20:15:03Z".
std::string day_of(const std::string& since) {
    return since.substr(0, 10);
}

// A page, a picture, an archive: not a text of lines.
bool is_other_kind(std::string_view start) {
    if (start.find('\0') != std::string_view::npos || start.starts_with("%PDF")) return true;
    return trimmed(start).starts_with('<');
}

// JSON, or columns between tabs without the network's '#'.
bool is_server_report(std::string_view start) {
    if (start.starts_with("\xEF\xBB\xBF")) start.remove_prefix(3);
    start = trimmed(start);
    if (start.starts_with('{') || start.starts_with('[')) return true;
    const std::string_view first = start.substr(0, start.find_first_of("\r\n"));
    return !first.starts_with('#') && first.find('\t') != std::string_view::npos &&
           first.find("obsdate") != std::string_view::npos;
}

}  // namespace

std::filesystem::path stamped_name(const std::filesystem::path& path, std::string_view word,
                                   const std::string& since) {
    std::string stamp = since.substr(0, since.find('Z'));
    for (const char mark : {':', '.'})
        std::replace(stamp.begin(), stamp.end(), mark, '-');
    return path.parent_path() /
           fmt::format("{}-{}-{}{}", path.stem().string(), word, stamp, path.extension().string());
}

std::filesystem::path free_name(const std::filesystem::path& path) {
    std::filesystem::path name = path;
    std::error_code error;
    for (int n = 2; std::filesystem::exists(name, error); ++n) {
        name =
            path.parent_path() / fmt::format("{}-{}{}", path.stem().string(), n, path.extension().string());
    }
    return name;
}

std::string file_of(const std::string& file, const std::string& since) {
    const std::filesystem::path kept = kept_name(file, since);
    std::error_code error;
    return std::filesystem::exists(kept, error) ? kept.string() : file;
}

Result<ReportSieve> ReportSieve::make(const Workspace& workspace, const ReportRequest& request,
                                      ReportMemory memory) {
    if (auto good = exchange::check_night_range(request.from_night, request.to_night); !good)
        return fail(good.error());
    const auto bands = bands_named(request.bands);
    if (!bands) return fail(bands.error());
    ReportSieve sieve(std::move(memory));
    sieve.from_ = request.from_night;
    sieve.to_ = request.to_night;
    sieve.bands_ = *bands;
    sieve.again_ = request.again;
    sieve.settings_ = workspace.campaign.report;
    for (const std::string& words : request.hold) {
        auto caveats = parse_caveats(words);
        if (!caveats) {
            caveats.error().kind = ProblemKind::request;
            return fail(caveats.error());
        }
        sieve.settings_.hold.add(*caveats);
    }
    sieve.settings_.transformed_only = sieve.settings_.transformed_only || request.transformed_only;
    sieve.settings_.limits = sieve.settings_.limits && !request.no_limits;
    return sieve;
}

std::string ReportSieve::reason_to_hold(const night::Measurement& m) const {
    if (m.is_limit && !settings_.limits) return "It is a limit, and limits are held back.";
    if (!m.transformed && settings_.transformed_only)
        return "It is not transformed, and only transformed values are wanted.";
    std::string words;
    for (const Caveat caveat : m.caveats.list()) {
        if (settings_.hold.has(caveat)) words += fmt::format("{}{}", words.empty() ? "" : " ", word(caveat));
    }
    return words.empty() ? "" : fmt::format("It is flagged {}.", words);
}

ReportSieve::Passed ReportSieve::pass(const night::Measurement& m, const std::string& subject,
                                      const std::string& frame, ReportOutcome& outcome) {
    const auto value = reported_value(m);
    // Also of what is not asked for: it is still measured, and so not gone.
    const Change change = value ? memory_.judge(subject, *value) : Change::fresh;
    if (!bands_.empty() && std::find(bands_.begin(), bands_.end(), m.band) == bands_.end()) return {};
    if ((from_ && m.night < *from_) || (to_ && m.night > *to_)) {
        ++outside_;
        return {};
    }
    if (auto reason = reason_to_hold(m); !reason.empty()) {
        outcome.held.push_back({m.night, m.band.name(), frame, std::move(reason)});
        return {};
    }
    if ((change == Change::same || change == Change::slight) && !again_) {
        ++outcome.reported_before;
        if (change == Change::slight) ++outcome.slight_changes;
        return {};
    }
    Passed passed{.goes = true, .revision_of = {}, .value = value};
    if (change == Change::revised || change == Change::slight) {
        const ledger::ReportedLine& before = memory_.before(subject);
        passed.revision_of = fmt::format("revision of the value of {}", day_of(before.since));
    }
    return passed;
}

void ReportSieve::close(std::string_view kind, ReportOutcome& outcome) const {
    if (outside_ > 0) {
        outcome.remarks.push_back(fmt::format("{} {}{} outside the dates asked for.", outside_, kind,
                                              outside_ == 1 ? " lies" : "s lie"));
    }
    for (const ledger::ReportedLine& line : memory_.gone(kind)) {
        outcome.remarks.push_back(
            fmt::format("{} was reported on {} and is no longer among the measurements: tell those who have "
                        "it ({}).",
                        line.subject, day_of(line.since), file_of(line.file, line.since)));
    }
}

Result<std::string> report_file(const Workspace& workspace, const ReportRequest& request,
                                const std::string& usual) {
    if (!request.file.empty()) return request.file;
    if (auto good = make_out_folder(workspace); !good) return fail(good.error());
    return workspace.out_path(usual);
}

Result<std::string> keep_earlier(const std::string& file, std::string_view becoming,
                                 const ReportMemory& memory) {
    std::error_code error;
    if (!std::filesystem::exists(file, error)) return std::string();
    const auto earlier = read_text_file(file);
    if (!earlier) return fail(earlier.error());
    // What is not the newest that the ledger knows may have been sent all the same.
    const auto newest = memory.newest();
    const bool known = newest && newest->file == file;
    if (!known && *earlier == becoming) return std::string();
    std::string kept = kept_name(file, known ? newest->since : last_written(file)).string();
    if (std::filesystem::exists(kept, error)) {
        // A program that was cut off kept it, and may have come to write the new one too.
        const auto before = read_text_file(kept);
        if (before && (*earlier == *before || *earlier == becoming)) return kept;
        // Ledgers of earlier versions know the second alone: none is written over.
        kept = free_name(kept).string();
    }
    if (auto good = write_text_file(kept, *earlier); !good) return fail(good.error());
    return kept;
}

void remember(ReportMemory& memory, const Workspace& workspace, ReportOutcome& outcome) {
    if (auto kept = memory.keep(workspace, outcome.file); !kept) {
        outcome.remarks.push_back(
            fmt::format("The ledger could not note that this was reported ({}); the next report will hold it "
                        "again.",
                        one_line(kept.error())));
    }
}

Problem nothing_to_report(const Workspace& workspace, const ReportOutcome& outcome) {
    std::string what = "There is nothing to report.";
    if (!outcome.skipped.empty()) {
        what = fmt::format("No line is left: {}", outcome.skipped.front().reason);
    } else if (!outcome.held.empty()) {
        what = fmt::format("Everything is held back: {}", outcome.held.front().reason);
    }
    return {.what = std::move(what),
            .where = workspace.campaign.folder,
            .mend = "Measure some nights first, or ask for other dates and bands."};
}

Problem refused_by_validator(const std::vector<exchange::Finding>& findings) {
    const auto first =
        std::find_if(findings.begin(), findings.end(), [](const exchange::Finding& f) { return f.error; });
    return {.what = fmt::format("The report breaks its format's rules: {}", first->what),
            .where = fmt::format("line {}, {}", first->line, first->field),
            .mend = "Check names, code and chart in campaign.toml; nothing was written."};
}

Result<ReportOutcome> report(const Workspace& workspace, const ReportRequest& request) {
    if (request.format == "network") return report_to_network(workspace, request);
    if (request.format == "server-json") return report_to_server(workspace, request, true);
    if (request.format == "server-tsv") return report_to_server(workspace, request, false);
    return fail({.what = fmt::format("There is no report of the format '{}'.", request.format),
                 .where = "--format",
                 .mend = "Use network, server-json or server-tsv.",
                 .kind = ProblemKind::request});
}

Result<std::vector<exchange::Finding>> check_report(const std::string& file) {
    errno = 0;
    std::ifstream in(file, std::ios::binary);
    std::error_code error;
    if (!in || std::filesystem::is_directory(file, error)) {
        if (errno == 0) errno = EISDIR;
        Problem problem = disk_problem(file, "read");
        problem.kind = ProblemKind::input;
        return fail(std::move(problem));
    }
    std::string start(512, '\0');
    in.read(start.data(), static_cast<std::streamsize>(start.size()));
    start.resize(static_cast<std::size_t>(in.gcount()));
    if (is_other_kind(start)) {
        return fail({.what = "The file is none of the reports that are known here.",
                     .where = file,
                     .mend = "Name a report for the network, or one for the transient server."});
    }
    if (is_server_report(start)) {
        const auto text = read_text_file(file);
        if (!text) return fail(text.error());
        return exchange::check_server_report(*text).findings;
    }
    in.clear();
    in.seekg(0);
    return exchange::read_network_report(in, [](const exchange::NetworkObservation&, std::size_t) {});
}

}  // namespace emberline::tasks
