// SPDX-License-Identifier: MIT
#include "tasks/check_campaign.hpp"

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "tasks/check_documents.hpp"
#include "tasks/check_parts.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {

std::string_view word(CampaignFinding::Weight weight) {
    switch (weight) {
        case CampaignFinding::Weight::good:
            return "good";
        case CampaignFinding::Weight::doubt:
            return "doubt";
        case CampaignFinding::Weight::wrong:
            return "wrong";
    }
    return "wrong";
}

std::size_t CampaignCheck::count(CampaignFinding::Weight weight) const {
    return static_cast<std::size_t>(
        std::count_if(findings.begin(), findings.end(),
                      [&](const CampaignFinding& finding) { return finding.weight == weight; }));
}

Result<CampaignCheck> check_campaign(const std::string& folder, const std::vector<std::string>& places) {
    const auto workspace = open_workspace(folder);
    if (!workspace) return fail(workspace.error());
    CampaignCheck check;
    check.folder = folder;
    check.name = workspace->campaign.name;
    check.position = workspace->campaign.position;
    CampaignChecker checker(*workspace, check);
    checker.settings();
    checker.sequence();
    std::vector<std::string> looked_in = places;
    if (looked_in.empty()) looked_in.push_back(workspace->campaign.path("frames"));
    std::error_code error;
    std::vector<std::string> files;
    if (!places.empty() || std::filesystem::exists(looked_in.front(), error)) {
        auto found = find_frame_files(looked_in, workspace->campaign.path("out"));
        if (!found) return fail(found.error());
        files = std::move(*found);
    }
    if (files.empty()) {
        check.findings.push_back({CampaignFinding::Weight::wrong, "frames", no_frames_in(looked_in)});
    } else {
        checker.frames(files);
        checker.site();
        checker.try_out();
    }
    checker.ledger();
    return check;
}

Json document(const CampaignCheck& check) {
    Json findings = Json::array();
    for (const CampaignFinding& finding : check.findings) {
        Json entry = {{"weight", std::string(word(finding.weight))}, {"about", finding.about}};
        entry.update(document(finding.problem));
        findings.push_back(std::move(entry));
    }
    return {{"name", check.name},
            {"ra_deg", check.position.ra.degrees()},
            {"dec_deg", check.position.dec.degrees()},
            {"frames", check.frames},
            {"measurable", check.measurable},
            {"findings", std::move(findings)}};
}

}  // namespace emberline::tasks
