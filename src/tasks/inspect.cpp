// SPDX-License-Identifier: MIT
#include "tasks/inspect.hpp"

#include <filesystem>

#include "frame/frame.hpp"
#include "night/frame_needs.hpp"
#include "sky/time_scales.hpp"
#include "tasks/find_files.hpp"
#include "tasks/workspace.hpp"

namespace emberline::tasks {
namespace {

bool on_frame(const frame::Wcs& wcs, const SkyPosition& place, const frame::FrameFacts& facts) {
    const auto p = wcs.pixel(place);
    return p && facts.holds(*p);
}

void count_stars(InspectedFrame& one, const frame::Wcs& wcs, const Workspace& workspace) {
    one.transient_on_frame = on_frame(wcs, workspace.campaign.position, one.facts);
    if (!one.transient_on_frame) one.missing.emplace_back("The transient lies off the frame.");
    int there = 0, all = 0;
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        if (star.role == standard::Role::ignore) continue;
        ++all;
        there += on_frame(wcs, star.position, one.facts) ? 1 : 0;
    }
    one.stars_on_frame = there;
    one.stars_in_sequence = all;
}

InspectedFrame look_at(const frame::Frame& frame, const std::optional<Workspace>& workspace) {
    InspectedFrame one;
    one.facts = frame.facts();
    if (workspace && workspace->campaign.site) {
        one.facts.site = frame::Fact<sky::Site>{*workspace->campaign.site, "campaign.toml, site"};
    }
    if (one.facts.kind && one.facts.kind->value != frame::FrameKind::light)
        one.missing.push_back("The sky: it is a calibration frame, by its " + one.facts.kind->source + ".");
    if (!one.facts.mid_exposure) {
        one.missing.emplace_back("The time of the exposure.");
    } else {
        one.late_date = sky::beyond_leap_second_table(one.facts.mid_exposure->value);
    }
    if (!one.facts.exposure_s) one.missing.emplace_back("The exposure time.");
    if (!one.facts.band) {
        const auto needs = night::needs_of(one.facts);
        one.missing.push_back("The band. " +
                              (needs ? std::string() : needs.error().what + " " + needs.error().mend));
    }
    if (one.facts.pixel_type == "uint8") one.missing.emplace_back("More than 8 bits a pixel.");
    const auto& wcs = frame.wcs();
    if (!wcs) {
        one.plate_problem = wcs.error();
        if (workspace && workspace->campaign.plate.solve) {
            one.plate_problem->mend = "`emberline measure` makes one of the frame's own stars.";
        } else {
            one.missing.emplace_back("A plate solution.");
        }
        return one;
    }
    SolvedPlate plate;
    plate.description = wcs->description();
    plate.scale_arcsec_per_px = wcs->scale_arcsec_per_px();
    plate.mirrored = wcs->mirrored();
    plate.position_angle_deg = wcs->position_angle_of_y().degrees();
    if (const auto centre = wcs->sky(one.facts.middle())) {
        plate.centre = *centre;
    }
    one.plate = plate;
    if (workspace) count_stars(one, *wcs, *workspace);
    return one;
}

}  // namespace

Result<std::vector<InspectedFile>> inspect(const std::vector<std::string>& places,
                                           const std::string& campaign_folder) {
    std::optional<Workspace> workspace;
    std::error_code error;
    if (std::filesystem::exists(std::filesystem::path(campaign_folder) / "campaign.toml", error)) {
        auto opened = open_workspace(campaign_folder);
        if (!opened) return fail(opened.error());
        workspace = std::move(*opened);
    } else if (campaign_folder != ".") {
        const auto missing = open_workspace(campaign_folder);
        return fail(missing.error());
    }
    const auto files = find_frame_files(places, "");
    if (!files) return fail(files.error());
    if (files->empty()) return fail(no_frames_in(places));
    const frame::Masters masters =
        workspace ? frame::Masters::open(workspace->campaign.master_paths()) : frame::Masters();
    std::vector<InspectedFile> out;
    const std::vector<frame::Instrument> none;
    for (const std::string& path : *files) {
        InspectedFile file;
        file.path = path;
        auto frames = frame::open_frames(path, workspace ? workspace->campaign.instruments : none, &masters);
        if (!frames) {
            file.problem = frames.error();
        } else {
            for (const frame::Frame& frame : *frames)
                file.frames.push_back(look_at(frame, workspace));
        }
        out.push_back(std::move(file));
    }
    return out;
}

std::string colour_name(const frame::FrameFacts& facts) {
    return facts.plane == 0 ? "red" : facts.plane == 1 ? "green" : "blue";
}

}  // namespace emberline::tasks
