// SPDX-License-Identifier: MIT
#include "tasks/make_template.hpp"

#include <algorithm>
#include <filesystem>

#include "frame/write_frame.hpp"
#include "tasks/find_files.hpp"

namespace emberline::tasks {

Result<TemplateOutcome> make_template(const Workspace& workspace, const TemplateRequest& request) {
    TemplateOutcome out;
    out.path = workspace.campaign.path(request.output);
    std::error_code error;
    if (!request.replace && std::filesystem::exists(out.path, error)) {
        return fail({.what = "There is a file of that name already.",
                     .where = out.path,
                     .mend = "Name another with --output, or say --replace.",
                     .kind = ProblemKind::request});
    }
    const auto files = find_frame_files(request.places, workspace.campaign.path("out"));
    if (!files) return fail(files.error());
    std::optional<Band> band;
    if (request.band) {
        auto known = parse_band(*request.band);
        if (!known) {
            known.error().kind = ProblemKind::request;
            return fail(known.error());
        }
        band = *known;
    }
    auto stack =
        night::stack_template(*files, workspace.sequence, workspace.campaign, band, request.progress);
    if (!stack) return fail(stack.error());
    if (auto written = frame::write_frame(out.path, stack->width_px, stack->height_px,
                                          std::span<const float>(stack->adu), stack->cards);
        !written)
        return fail(written.error());
    out.used = std::move(stack->used);
    out.left_out = std::move(stack->left_out);
    out.clipped_pixels = stack->clipped_pixels;
    out.fwhm_arcsec = stack->fwhm_arcsec;
    const auto& named = workspace.campaign.host_templates;
    out.named_in_settings = std::any_of(named.begin(), named.end(), [&](const auto& entry) {
        return workspace.campaign.path(entry.second) == out.path;
    });
    return out;
}

}  // namespace emberline::tasks
