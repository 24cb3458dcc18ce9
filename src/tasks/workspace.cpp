// SPDX-License-Identifier: MIT
#include "tasks/workspace.hpp"

#include <fmt/format.h>

#include <filesystem>

#include "night/measure_frame.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/nearest_word.hpp"
#include "sky/time_scales.hpp"

namespace emberline::tasks {
namespace {

// Two stars so near are one in the seeing of most nights. Common practice, no source.
constexpr double own_star_arcsec = 2.0;

}  // namespace

ledger::Provenance Workspace::provenance() const {
    return {software, night::flux_settings(campaign, sequence), campaign_text};
}

Result<Workspace> open_workspace(const std::string& folder) {
    Workspace workspace;
    auto campaign = night::read_campaign(folder);
    if (!campaign) return fail(campaign.error());
    workspace.campaign = std::move(*campaign);
    auto text = read_text_file(workspace.campaign.path("campaign.toml"));
    if (!text) return fail(text.error());
    workspace.campaign_text = std::move(*text);
    auto sequence = standard::read_sequence(workspace.campaign.path(workspace.campaign.catalog));
    if (!sequence) {
        sequence.error().kind = ProblemKind::request;
        return fail(sequence.error());
    }
    workspace.sequence = std::move(*sequence);
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        const Angle apart = separation(star.position, workspace.campaign.position);
        if (star.role == standard::Role::ignore || apart.arcseconds() > own_star_arcsec) continue;
        return fail(
            {.what = fmt::format("Star {} lies {:.1f}″ from the transient: it is the transient itself, or "
                                 "cannot be told from it.",
                                 star.label, apart.arcseconds()),
             .where = fmt::format("{}, line {}", workspace.sequence.source, star.line),
             .mend = "Take the line out, or give it the role ignore.",
             .kind = ProblemKind::request});
    }
    const std::string& check = workspace.campaign.check_label;
    if (!check.empty() && workspace.sequence.find(check) == nullptr) {
        std::vector<std::string> labels;
        for (const standard::ComparisonStar& star : workspace.sequence.stars)
            labels.push_back(star.label);
        const std::string alike = nearest_word(check, labels);
        return fail({.what = fmt::format("The check star '{}' is not in the sequence.", check),
                     .where = workspace.campaign.path("campaign.toml") + ", comparison.check",
                     .mend = fmt::format("Use a label of {}{}.", workspace.campaign.catalog,
                                         alike.empty() ? "" : fmt::format(", {} perhaps", alike)),
                     .kind = ProblemKind::request});
    }
    return workspace;
}

std::string check_label(const Workspace& workspace) {
    if (!workspace.campaign.check_label.empty()) return workspace.campaign.check_label;
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        if (star.role == standard::Role::check) return star.label;
    }
    return {};
}

Result<void> make_out_folder(const Workspace& workspace) {
    std::error_code error;
    std::filesystem::create_directories(workspace.campaign.path("out"), error);
    if (!error) return {};
    return fail({.what = fmt::format("The folder cannot be made: {}.", error.message()),
                 .where = workspace.campaign.path("out"),
                 .mend = "Check the free space and the permissions there.",
                 .kind = ProblemKind::storage});
}

ValueWithError moment_of_day(std::string_view date) {
    constexpr double half_day = 0.5;
    const auto start = sky::parse_instant(date);
    return {start ? sky::to_tdb(*start).jd() + half_day : 0.0, half_day};
}

std::optional<ValueWithError> explosion_bjd_tdb(const night::Campaign& campaign) {
    if (!campaign.exploded) return std::nullopt;
    return moment_of_day(*campaign.exploded);
}

Result<night::SetAsideByObserver> set_aside_in(const ledger::Ledger& ledger) {
    const auto exclusions = ledger.exclusions();
    if (!exclusions) return fail(exclusions.error());
    night::SetAsideByObserver set_aside;
    for (const ledger::Exclusion& e : *exclusions) {
        auto& kind = e.kind == ledger::SetAside::frame   ? set_aside.frames
                     : e.kind == ledger::SetAside::night ? set_aside.nights
                                                         : set_aside.stars;
        kind[e.key] = e.reason;
    }
    return set_aside;
}

}  // namespace emberline::tasks
