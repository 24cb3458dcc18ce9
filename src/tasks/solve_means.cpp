// SPDX-License-Identifier: MIT
#include "tasks/solve_means.hpp"

#include <algorithm>

#include "frame/frame.hpp"
#include "night/plate_doubt.hpp"
#include "tasks/find_files.hpp"
#include "tasks/measure_file.hpp"

namespace emberline::tasks {
namespace {

constexpr std::size_t most_reference_files = 8;  // measured to find one whose solution is good

Result<night::FieldReference> reference_from(const std::string& path, const PlateMeans& means) {
    auto frames = frame::open_frames(path, means.campaign.instruments, &means.masters);
    if (!frames) return fail(frames.error());
    auto print = frame::fingerprint(path);
    if (!print) return fail(print.error());
    return night::PlateFinder::reference_from(night::telling_frame(*frames), std::move(*print),
                                              frame_name(path, means.campaign.folder));
}

// Of the first of these files whose header's solution has the sequence's stars where they are.
std::optional<night::FieldReference> reference_of_files(const std::vector<std::string>& files,
                                                        const FileTools& tools) {
    const night::Campaign& campaign = tools.workspace.campaign;
    std::size_t looked_into = 0;
    for (const std::string& path : files) {
        const auto print = frame::fingerprint(path);
        const auto frames = frame::open_frames(path, campaign.instruments, &tools.masters);
        if (!print || !frames || !frames->front().wcs()) continue;
        if (looked_into++ == most_reference_files) break;
        const MeasuredFile measured = measure_file(path, *print, tools);
        const bool good = std::any_of(
            measured.measured.begin(), measured.measured.end(), [&](const photometry::FrameFluxes& fluxes) {
                return night::plate_is_good(fluxes, tools.workspace.sequence, campaign);
            });
        if (!good) continue;
        auto reference = night::PlateFinder::reference_from(night::telling_frame(*frames), *print,
                                                            frame_name(path, campaign.folder));
        if (reference) return std::move(*reference);
    }
    return std::nullopt;
}

// The one that `measure` would take, or else one of the frames given.
Result<std::optional<night::FieldReference>> reference_of_campaign(const Workspace& workspace,
                                                                   const std::vector<std::string>& files,
                                                                   const frame::Masters& masters,
                                                                   const ledger::Ledger& ledger) {
    auto kept = ledger.reference();
    if (!kept || *kept) return kept;
    const night::HostTemplates templates(workspace.sequence, workspace.campaign);
    const FileTools tools{workspace, masters, templates};
    auto found = reference_of_ledger(ledger, tools);
    if (!found || *found) return found;
    return reference_of_files(files, tools);
}

}  // namespace

Result<std::unique_ptr<PlateMeans>> plate_means(const Workspace* workspace, const SolveRequest& request,
                                                const std::vector<std::string>& files,
                                                const ledger::Ledger* ledger) {
    auto means = std::make_unique<PlateMeans>();
    means->campaign.folder = ".";
    if (workspace != nullptr) {
        means->campaign = workspace->campaign;
        means->sequence = workspace->sequence;
        means->masters = frame::Masters::open(workspace->campaign.master_paths());
    }
    night::PlateSettings& plate = means->campaign.plate;
    plate.solve = true;
    if (request.catalogue) {
        plate.catalogue = frame_name(*request.catalogue, means->campaign.folder);
        plate.catalogue_epoch = request.catalogue_epoch;
    }
    if (request.scale_arcsec_per_px) plate.scale_arcsec_per_px = request.scale_arcsec_per_px;
    const night::PlateSearch search{.scale_factor = request.scale_factor,
                                    .most_order = request.most_order,
                                    .any_field = workspace == nullptr};
    means->finder = std::make_unique<night::PlateFinder>(means->campaign, means->sequence, search);
    means->remarks = means->finder->remarks();
    if (const auto& refused = means->finder->refused_catalogue()) {
        if (request.catalogue) {
            Problem problem = *refused;
            problem.kind = ProblemKind::request;
            return fail(problem);
        }
        means->remarks.push_back(one_line(*refused));
    }
    if (request.reference) {
        auto reference = reference_from(*request.reference, *means);
        if (!reference) {
            reference.error().kind = ProblemKind::request;
            return fail(reference.error());
        }
        means->finder->use(std::move(*reference));
    } else if (ledger != nullptr && !request.catalogue) {
        auto reference = reference_of_campaign(*workspace, files, means->masters, *ledger);
        if (!reference) return fail(reference.error());
        if (*reference) means->finder->use(std::move(**reference));
    }
    if (means->finder->reference() && request.even_if_solved)
        means->others = std::make_unique<night::PlateFinder>(means->campaign, means->sequence, search);
    return means;
}

}  // namespace emberline::tasks
