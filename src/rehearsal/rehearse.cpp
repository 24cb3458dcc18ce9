// SPDX-License-Identifier: MIT
#include "rehearsal/rehearse.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/delimited_table.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/invented_template.hpp"
#include "rehearsal/live_stack.hpp"
#include "rehearsal/mosaic.hpp"
#include "rehearsal/save_calibration.hpp"
#include "rehearsal/save_picture.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

namespace fs = std::filesystem;

constexpr std::uint64_t processed_stream = 5;

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

// What goes to the disk of one frame, and the truth of it.
struct Taken {
    CameraPicture picture;
    std::vector<frame::Card> cards;
    FrameTruth truth;
    double exposure_s = 0.0;
};

Taken take(const InventedCampaign& campaign, const PlannedFrame& planned) {
    if (campaign.options.stack) {
        InventedStack stack = expose_stack(campaign, planned, *campaign.options.stack);
        return {.picture = {.adu = std::move(stack.adu),
                            .width_px = stack.width_px,
                            .height_px = stack.height_px,
                            .whole_numbers = campaign.options.stack->whole_numbers},
                .cards = std::move(stack.cards),
                .truth = {.middle = stack.middle_of_light,
                          .transient_mag = stack.transient_mag,
                          .transient_flux_e = stack.transient_flux_e,
                          .airmass = stack.airmass,
                          .colours = std::move(stack.colours)},
                .exposure_s = stack.exposure_s};
    }
    InventedFrame exposed = expose(campaign, planned);
    return {.picture = {.adu = {exposed.adu.begin(), exposed.adu.end()},
                        .width_px = exposed.width_px,
                        .height_px = exposed.height_px},
            .cards = header_cards(campaign, planned, exposed.airmass),
            .truth = {.middle = sky::later_by(planned.start_utc, 0.5 * planned.exposure_s),
                      .transient_mag = exposed.transient_mag,
                      .transient_flux_e = exposed.transient_flux_e,
                      .airmass = exposed.airmass,
                      .colours = std::move(exposed.colours)},
            .exposure_s = planned.exposure_s};
}

// A share of the frames, drawn from the seed: as many as it says, to the nearest.
std::set<std::size_t> processed_frames(const InventedCampaign& campaign) {
    const std::size_t number = campaign.frames.size();
    std::vector<std::pair<double, std::size_t>> lots;
    numerics::Random random = numerics::Random(campaign.options.seed).stream(processed_stream);
    for (std::size_t i = 0; i < number; ++i)
        lots.emplace_back(random.uniform(), i);
    std::sort(lots.begin(), lots.end());
    const double share = campaign.options.processed_share;
    lots.resize(static_cast<std::size_t>(std::lround(share * static_cast<double>(number))));
    std::set<std::size_t> drawn;
    for (const auto& [lot, i] : lots)
        drawn.insert(i);
    return drawn;
}

// The host's light in all of that exposure, whatever it was gathered in.
std::string host_line(const InventedCampaign& campaign, const PlannedFrame& planned, const Taken& taken) {
    PlannedFrame whole = planned;
    whole.exposure_s = taken.exposure_s;
    whole.start_utc = sky::later_by(taken.truth.middle, -0.5 * taken.exposure_s);
    return truth_host_line(campaign, campaign.options.stack ? whole : planned);
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
    std::string truth_processed = "frame,processing\n";
    const std::set<std::size_t> processed = processed_frames(campaign);
    const auto pattern = options.debayered ? pattern_of(campaign.instrument) : std::nullopt;
    for (std::size_t i = 0; i < campaign.frames.size(); ++i) {
        const PlannedFrame& planned = campaign.frames[i];
        Taken taken = take(campaign, planned);
        const Processing processing = processed.contains(i) ? options.processing : Processing::none;
        if (processed.contains(i)) truth_processed += fmt::format("{},{}\n", planned.path, word(processing));
        truth += truth_line(campaign, planned, taken.truth);
        if (campaign.sky.host) truth_host += host_line(campaign, planned, taken);
        auto saved = save_picture((fs::path(folder) / planned.path).string(), std::move(taken.picture),
                                  {.debayer = pattern, .processing = processing}, taken.cards);
        if (!saved) return fail(saved.error());
        if (progress) progress(i + 1, campaign.frames.size());
    }
    if (options.calibration) {
        if (auto saved = save_calibration(folder, campaign, *options.calibration); !saved)
            return fail(saved.error());
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
    if (!campaign.sky.troubled.empty())
        texts.emplace_back("truth_troubles.csv", truth_troubles_csv(campaign.sky.troubled));
    if (options.field.solved) texts.emplace_back(field_catalogue_name, field_csv(campaign));
    if (!processed.empty()) texts.emplace_back("truth_processed.csv", truth_processed);
    for (const auto& [name, text] : texts) {
        if (auto written = write(place / name, text); !written) return fail(written.error());
    }
    return RehearsalSummary{folder, campaign.frames.size(), options.decline_mag_per_day};
}

}  // namespace emberline::rehearsal
