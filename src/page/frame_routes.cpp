// SPDX-License-Identifier: MIT
#include <limits>
#include <nlohmann/json.hpp>

#include "page/route.hpp"
#include "page/session.hpp"
#include "picture/grey_picture.hpp"
#include "tasks/frame_view.hpp"

namespace emberline::page {
namespace {

// Null: there are none to be shown.
void add_pixels(const ShownFrame* shown, Json& json) {
    const char* names[] = {"width_px", "height_px", "version", "tile_px", "levels", "encoding", "suggested"};
    for (const char* name : names)
        json[name] = nullptr;
    if (shown == nullptr) return;
    const picture::FramePyramid& pyramid = shown->pyramid;
    json["width_px"] = pyramid.levels().front().width_px;
    json["height_px"] = pyramid.levels().front().height_px;
    json["version"] = shown->version;
    json["tile_px"] = picture::tile_px;
    json["levels"] = Json::array();
    for (const picture::PyramidLevel& of : pyramid.levels()) {
        json["levels"].push_back({{"level", of.level},
                                  {"width_px", of.width_px},
                                  {"height_px", of.height_px},
                                  {"columns", of.columns},
                                  {"rows", of.rows}});
    }
    const picture::GreyScale& scale = pyramid.scale();
    json["encoding"] = {
        {"sky_adu", scale.sky_adu}, {"noise_adu", scale.noise_adu}, {"low", scale.low}, {"step", scale.step}};
    json["suggested"] = {{"black_adu", pyramid.black_adu()}, {"white_adu", pyramid.white_adu()}};
}

Result<Answer> list(Session& session, const Query& query) {
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto night = query.text("night");
    if (night) {
        const auto frames = tasks::frame_list(**workspace, night);
        if (!frames) return fail(frames.error());
        return answer(tasks::document(*frames));
    }
    using Frames = std::vector<ledger::ListedFrame>;
    const auto deepest = session.remembered<Frames>(
        "deepest frames", [&] { return tasks::frame_list(**workspace, std::nullopt); });
    if (!deepest) return fail(deepest.error());
    return answer(tasks::document(**deepest));
}

Result<Answer> one(Session& session, const Query& query) {
    const auto id = tasks::parse_view_id(query.part("id"));
    if (!id) return fail(id.error());
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto view = tasks::frame_view(**workspace, *id);
    if (!view) return fail(view.error());
    const auto shown = session.pyramids().of(**workspace, *id);
    Json json = tasks::document(*view);
    json["no_pixels"] = shown ? Json(nullptr) : tasks::document(shown.error());
    add_pixels(shown ? shown->get() : nullptr, json);
    return answer(json);
}

Result<Answer> tile(Session& session, const Query& query) {
    const auto id = tasks::parse_view_id(query.part("id"));
    if (!id) return fail(id.error());
    constexpr int most = std::numeric_limits<int>::max();
    const auto level = query.whole_part("level", 0, most), column = query.whole_part("column", 0, most),
               row = query.whole_part("row", 0, most);
    for (const auto& number : {level, column, row}) {
        if (!number) return fail(number.error());
    }
    const auto workspace = session.workspace();
    if (!workspace) return fail(workspace.error());
    const auto shown = session.pyramids().of(**workspace, *id);
    if (!shown) return fail(shown.error());
    const auto grey = (*shown)->pyramid.tile(*level, *column, *row);
    if (!grey) return fail(grey.error());
    return Answer{.body = picture::png_of(*grey),
                  .type = "image/png",
                  .file_name = {},
                  .lasting = query.text("v") == (*shown)->version};
}

}  // namespace

std::vector<Route> frame_routes() {
    return {{.pattern = "/api/frames", .handle = list},
            {.pattern = "/api/frames/{id}", .handle = one},
            {.pattern = "/api/frames/{id}/tiles/{level}/{column}/{row}", .handle = tile}};
}

}  // namespace emberline::page
