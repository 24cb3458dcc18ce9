// SPDX-License-Identifier: MIT
#include "night/no_campaign.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <vector>

#include "quantities/text.hpp"

namespace emberline::night {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view file_name = "campaign.toml";
constexpr int most_levels_up = 4;
constexpr std::size_t most_entries = 1000;  // looked at in a folder

bool has_campaign(const fs::path& folder) {
    std::error_code error;
    return fs::exists(folder / file_name, error);
}

Problem problem(std::string what, const fs::path& where, std::string mend) {
    return {.what = std::move(what),
            .where = where.string(),
            .mend = std::move(mend),
            .kind = ProblemKind::request};
}

std::string use(const fs::path& folder) {
    const std::string name = folder.string();
    const char* mark = name.find_first_of(" ()'") == std::string::npos ? "" : "\"";
    return fmt::format("There is one in {0}: add `-c {1}{0}{1}`.", name, mark);
}

// Campaigns right inside, and a file that would be one under its right name.
struct Inside {
    std::vector<fs::path> campaigns;
    std::string alike;
};

Inside look_inside(const fs::path& folder) {
    Inside inside;
    std::error_code error;
    std::size_t seen = 0;
    for (auto at = fs::directory_iterator(folder, error); !error && at != fs::directory_iterator();
         at.increment(error)) {
        if (++seen > most_entries) break;
        const std::string name = at->path().filename().string();
        std::error_code status;
        if (at->is_directory(status)) {
            if (has_campaign(at->path())) inside.campaigns.push_back(at->path());
        } else if (lower_case(name).starts_with("campaign") &&
                   lower_case(name).find("toml") != std::string::npos) {
            inside.alike = name;
        }
    }
    std::sort(inside.campaigns.begin(), inside.campaigns.end());
    return inside;
}

}  // namespace

Problem no_campaign(const std::string& folder) {
    const fs::path named(folder);
    std::error_code error;
    if (fs::exists(named, error) && !fs::is_directory(named, error)) {
        const fs::path home = named.parent_path().empty() ? fs::path(".") : named.parent_path();
        return problem("This is a file: the folder of a campaign is asked for.", named,
                       has_campaign(home) ? use(home) : "Name the folder that campaign.toml lies in.");
    }
    if (!fs::exists(named, error)) {
        return problem(
            "There is no such folder.", named,
            fmt::format("Check the name, or make a campaign there with `emberline new {}`.", folder));
    }
    const fs::path file = named / file_name;
    const char* what = "There is no campaign here.";
    const Inside inside = look_inside(named);
    if (!inside.alike.empty())
        return problem(what, file, fmt::format("Rename {} to campaign.toml.", inside.alike));
    fs::path up = named;
    for (int level = 0; level < most_levels_up; ++level) {
        up = up == "." ? fs::path("..") : up / "..";
        if (has_campaign(up)) return problem(what, file, use(up.lexically_normal()));
    }
    if (inside.campaigns.size() == 1)
        return problem(what, file, use(inside.campaigns.front().lexically_normal()));
    if (inside.campaigns.size() > 1) {
        return problem(
            what, file,
            fmt::format("There are {} in it: say which with -c, {} for one.", inside.campaigns.size(),
                        inside.campaigns.front().lexically_normal().string()));
    }
    return problem(what, file, "Name its folder with -c DIR, or make one with `emberline new DIR`.");
}

}  // namespace emberline::night
