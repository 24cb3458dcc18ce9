// SPDX-License-Identifier: MIT
#include "rehearsal/rehearse.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <map>
#include <vector>

#include "frame/write_frame.hpp"
#include "quantities/delimited_table.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/invented_template.hpp"
#include "rehearsal/mosaic.hpp"

namespace emberline::rehearsal {
namespace {

namespace fs = std::filesystem;

Result<void> make_folder(const fs::path& folder) {
    std::error_code error;
    fs::create_directories(folder, error);
    if (!error) return {};
    return fail({.what = fmt::format("The folder cannot be made: {}.", error.message()),
                 .where = folder.string(),
                 .mend = "Choose a place that you may write to, on a disk with room.",
                 .kind = ProblemKind::storage});
}

// Nothing of anybody's is ever overwritten.
Result<void> check_free(const fs::path& folder) {
    std::error_code error;
    const fs::file_status status = fs::status(folder, error);
    if (!fs::exists(status)) return {};
    const bool empty = fs::is_directory(status) && fs::is_empty(folder, error) && !error;
    if (empty) return {};
    return fail({.what = fs::is_directory(status) ? "The folder is not empty." : "A file has that name.",
                 .where = folder.string(),
                 .mend = "Name a new folder for the rehearsal, or empty this one first.",
                 .kind = ProblemKind::request});
}

Result<void> write(const fs::path& path, const std::string& text) {
    auto written = write_text_file(path.string(), text);
    if (!written) written.error().kind = ProblemKind::storage;
    return written;
}

Result<void> write_exposed(const fs::path& folder, const InventedCampaign& campaign,
                           const PlannedFrame& planned, const InventedFrame& exposed) {
    const fs::path path = folder / planned.path;
    if (auto made = make_folder(path.parent_path()); !made) return made;
    const auto cards = header_cards(campaign, planned, exposed.airmass);
    const auto pattern = campaign.options.debayered ? pattern_of(campaign.instrument) : std::nullopt;
    auto written =
        pattern
            ? frame::write_cube(path.string(), exposed.width_px, exposed.height_px, 3,
                                debayered(exposed.adu, exposed.width_px, exposed.height_px, *pattern), cards)
            : frame::write_frame(path.string(), exposed.width_px, exposed.height_px, exposed.adu, cards);
    if (!written) written.error().kind = ProblemKind::storage;
    return written;
}

}  // namespace

Result<RehearsalSummary> rehearse(const std::string& folder, const RehearsalOptions& options,
                                  const std::function<void(std::size_t, std::size_t)>& progress) {
    if (folder.empty()) {
        return fail({.what = "The rehearsal has no folder.",
                     .mend = "Name one that does not exist yet.",
                     .kind = ProblemKind::request});
    }
    const auto campaign = invent_campaign(options);
    if (!campaign) return fail(campaign.error());
    return rehearse(folder, *campaign, progress);
}

Result<RehearsalSummary> rehearse(const std::string& folder, const InventedCampaign& campaign,
                                  const std::function<void(std::size_t, std::size_t)>& progress) {
    const RehearsalOptions& options = campaign.options;
    std::map<Band, ExposedTemplate> templates;
    if (options.host_template) {
        for (const Band& band : template_bands(campaign)) {
            auto exposed = expose_template(campaign, *options.host_template, band);
            if (!exposed) return fail(exposed.error());
            templates.emplace(band, std::move(*exposed));
        }
    }
    if (auto free = check_free(folder); !free) return fail(free.error());
    if (auto made = make_folder(folder); !made) return fail(made.error());

    std::string truth = truth_heading(), truth_host = truth_host_heading();
    for (std::size_t i = 0; i < campaign.frames.size(); ++i) {
        const PlannedFrame& planned = campaign.frames[i];
        const InventedFrame exposed = expose(campaign, planned);
        if (auto written = write_exposed(folder, campaign, planned, exposed); !written)
            return fail(written.error());
        truth += truth_line(campaign, planned, exposed);
        if (campaign.sky.host) truth_host += truth_host_line(campaign, planned);
        if (progress) progress(i + 1, campaign.frames.size());
    }
    const fs::path place(folder);
    for (const auto& [band, exposed] : templates) {
        const fs::path path = place / template_path(campaign, band);
        if (auto written = write_template(path.string(), exposed); !written) return fail(written.error());
    }
    std::vector<std::pair<const char*, std::string>> texts = {{"truth.csv", truth},
                                                              {"truth_stars.csv", truth_stars_csv(campaign)},
                                                              {"comparison.csv", comparison_csv(campaign)},
                                                              {"campaign.toml", campaign_toml(campaign)}};
    if (campaign.sky.host) texts.emplace_back("truth_host.csv", truth_host);
    for (const auto& [name, text] : texts) {
        if (auto written = write(place / name, text); !written) return fail(written.error());
    }
    return RehearsalSummary{folder, campaign.frames.size(), options.decline_mag_per_day};
}

}  // namespace emberline::rehearsal
