// SPDX-License-Identifier: MIT
// What of a campaign can be judged without a frame: its settings, its sequence, its ledger.
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>

#include "exchange/observer_code.hpp"
#include "ledger/ledger.hpp"
#include "tasks/check_parts.hpp"

namespace emberline::tasks {
namespace {

using Weight = CampaignFinding::Weight;

constexpr const char* example_name = "MY TRANSIENT";

bool writable(const std::string& path) {
    return ::access(path.c_str(), W_OK) == 0;
}

Problem cannot_write(std::string what, const std::string& where) {
    return {.what = std::move(what),
            .where = where,
            .mend =
                "See who owns it (ls -l) and make it yours (chown), or copy the campaign to a folder of your "
                "own.",
            .kind = ProblemKind::storage};
}

}  // namespace

CampaignChecker::CampaignChecker(const Workspace& workspace, CampaignCheck& check)
    : workspace_(workspace),
      check_(check),
      masters_(frame::Masters::open(workspace.campaign.master_paths())) {}

void CampaignChecker::good(const char* about, std::string what) {
    check_.findings.push_back({Weight::good, about, {.what = std::move(what), .where = {}, .mend = {}}});
}

void CampaignChecker::doubt(const char* about, Problem problem) {
    check_.findings.push_back({Weight::doubt, about, std::move(problem)});
}

void CampaignChecker::wrong(const char* about, Problem problem) {
    check_.findings.push_back({Weight::wrong, about, std::move(problem)});
}

void CampaignChecker::settings() {
    const night::Campaign& campaign = workspace_.campaign;
    const std::string file = campaign.path("campaign.toml");
    if (campaign.name == example_name) {
        doubt("transient", {.what = "The transient still has the name of the example, MY TRANSIENT.",
                            .where = file + ", transient.name",
                            .mend = "Give the name that the network lists; and check ra and dec below it."});
    }
    for (const std::string& remark : campaign.remarks)
        doubt("settings", {.what = remark, .where = {}, .mend = {}});
    observer();
    if (!campaign.site) {
        doubt("site",
              {.what = "The campaign does not say where it observes from.",
               .where = file,
               .mend = "Add [site] with latitude and longitude in degrees, north and east positive: headers "
                       "often have the longitude's sign wrong."});
    }
    for (const Problem& refused : masters_.refused())
        wrong("masters", refused);
}

void CampaignChecker::observer() {
    const std::string& code = workspace_.campaign.observer_code;
    const std::string where = workspace_.campaign.path("campaign.toml") + ", observer.code";
    if (code.empty()) {
        doubt("observer", {.what = "There is no observer's code: no report can be written.",
                           .where = where,
                           .mend = "Give the code that the network issued to you."});
    } else if (!exchange::is_observer_code(code)) {
        wrong("observer",
              {.what = fmt::format("'{}' is no observer's code: codes are letters and figures.", code),
               .where = where,
               .mend = "Give the code that the network issued to you, not the name."});
    } else if (const auto unlikely = exchange::observer_code_doubt(code)) {
        doubt("observer", {.what = *unlikely, .where = where, .mend = {}});
    }
}

void CampaignChecker::sequence() {
    const standard::Sequence& sequence = workspace_.sequence;
    for (const std::string& remark : sequence.remarks)
        doubt("sequence", {.what = remark, .where = {}, .mend = {}});
    std::map<std::string, std::size_t> with_magnitude;
    std::size_t comparison = 0;
    for (const standard::ComparisonStar& star : sequence.stars) {
        if (star.role != standard::Role::comparison || star.label == check_label(workspace_)) continue;
        ++comparison;
        for (const auto& [band, magnitude] : star.magnitudes)
            ++with_magnitude[band.name()];
    }
    if (comparison == 0) {
        wrong("sequence",
              {.what = "There is no comparison star.",
               .where = sequence.source,
               .mend = "Add some, one line a star, or let `emberline sequence build CATALOGUE` choose "
                       "them."});
    } else {
        std::string bands;
        for (const auto& [band, stars] : with_magnitude)
            bands += fmt::format("{}{} {}", bands.empty() ? "" : ", ", band, stars);
        const Problem stars{
            .what = fmt::format("{} comparison stars ({}).", comparison, bands), .where = {}, .mend = {}};
        if (comparison < few_stars) {
            doubt("sequence", {.what = stars.what,
                               .where = sequence.source,
                               .mend = "Fewer than three cannot tell which of them is wrong: add some."});
        } else {
            good("sequence", stars.what);
        }
    }
    check_star();
    if (workspace_.campaign.chart.empty()) {
        doubt("sequence",
              {.what = "No chart is named: reports will say na for it.",
               .where = workspace_.campaign.path("campaign.toml") + ", comparison.chart",
               .mend = "Give the identifier of the chart or catalogue that the magnitudes are from."});
    }
}

void CampaignChecker::check_star() {
    const std::string label = check_label(workspace_);
    if (label.empty()) {
        doubt("check star", {.what = "There is none: nothing independent would confirm the magnitudes.",
                             .where = workspace_.sequence.source,
                             .mend = "Give one star the role check, of about the transient's brightness."});
        return;
    }
    const standard::ComparisonStar* star = workspace_.sequence.find(label);
    if (star == nullptr) return;  // open_workspace refuses that
    if (star->role == standard::Role::ignore) {
        doubt("check star",
              {.what = fmt::format("{} has the role ignore, and campaign.toml makes it the check star: "
                                   "it is taken as such.",
                                   label),
               .where = fmt::format("{}, line {}", workspace_.sequence.source, star->line),
               .mend = "Give it the role check, or name another under [comparison]."});
    }
    std::string without;
    for (const Band& band : workspace_.sequence.bands) {
        if (!star->magnitude(band)) without += (without.empty() ? "" : ", ") + band.name();
    }
    if (without.empty()) {
        good("check star", fmt::format("{}.", label));
    } else {
        doubt("check star",
              {.what = fmt::format("{} has no magnitude in {}: it confirms nothing there.", label, without),
               .where = fmt::format("{}, line {}", workspace_.sequence.source, star->line),
               .mend = "Add the magnitude, or choose another star."});
    }
}

void CampaignChecker::ledger() {
    const std::string path = workspace_.ledger_path();
    const std::string folder = workspace_.campaign.path(".");
    std::error_code error;
    if (!std::filesystem::exists(path, error)) {
        if (!writable(folder)) {
            check_.ledger_failed = true;
            wrong("ledger",
                  cannot_write("The campaign's folder cannot be written to, and the ledger goes there.",
                               folder));
        } else {
            good("ledger", "None yet: `emberline measure` makes it.");
        }
        return;
    }
    const auto opened = ledger::Ledger::open(path, ledger::Ledger::Access::read);
    const auto nights =
        opened ? opened->nights() : Result<std::vector<ledger::NightCount>>(fail(opened.error()));
    if (!nights) {
        check_.ledger_failed = true;
        wrong("ledger", nights.error());
        return;
    }
    if (!writable(path) || !writable(folder)) {
        check_.ledger_failed = true;
        wrong("ledger", cannot_write("The ledger can be read and not written to.", path));
        return;
    }
    std::size_t frames = 0, used = 0;
    for (const ledger::NightCount& night : *nights) {
        frames += night.frames;
        used += night.used;
    }
    if (frames == 0) return good("ledger", "Nothing is in it yet.");
    good("ledger", fmt::format("{} frame{} of {} night{}, {} used.", frames, frames == 1 ? "" : "s",
                               nights->size(), nights->size() == 1 ? "" : "s", used));
}

}  // namespace emberline::tasks
