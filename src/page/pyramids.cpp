// SPDX-License-Identifier: MIT
#include "page/pyramids.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <functional>

namespace emberline::page {
namespace {

// Two that are blinked against one another, and what one comes back to. Of a frame gzipped as a whole all of
// its pixels stay in memory too.
constexpr std::size_t most_pyramids = 4;

std::string state_of(const std::string& path, const tasks::Workspace& workspace) {
    std::error_code error;
    const auto size = std::filesystem::file_size(path, error);
    if (error) return {};
    const auto time = std::filesystem::last_write_time(path, error).time_since_epoch().count();
    return error ? std::string()
                 : fmt::format("{} {} {}", size, time, std::hash<std::string>{}(workspace.campaign_text));
}

}  // namespace

Result<std::shared_ptr<const ShownFrame>> Pyramids::of(const tasks::Workspace& workspace,
                                                       const tasks::ViewId& id) {
    const std::shared_ptr<Kept> kept = place_of(id.text());
    const std::scoped_lock lock(kept->making);
    if (kept->shown && !kept->state.empty() && kept->state == state_of(kept->path, workspace))
        return kept->shown;
    kept->shown.reset();
    const auto pixels = tasks::frame_pixels(workspace, id);
    if (!pixels) {
        forget(kept);
        return fail(pixels.error());
    }
    kept->path = pixels->facts().path;
    kept->state = state_of(kept->path, workspace);
    auto pyramid = picture::FramePyramid::of(*pixels);
    if (!pyramid) {
        forget(kept);
        return fail(pyramid.error());
    }
    kept->shown = std::make_shared<const ShownFrame>(
        ShownFrame{std::move(*pyramid), tasks::pixels_version(workspace, *pixels)});
    return kept->shown;
}

std::shared_ptr<Pyramids::Kept> Pyramids::place_of(const std::string& id) {
    const std::scoped_lock lock(mutex_);
    const auto found =
        std::find_if(kept_.begin(), kept_.end(), [&](const auto& one) { return one->id == id; });
    if (found != kept_.end()) {
        kept_.splice(kept_.begin(), kept_, found);
        return kept_.front();
    }
    kept_.push_front(std::make_shared<Kept>());
    kept_.front()->id = id;
    if (kept_.size() > most_pyramids) kept_.pop_back();
    return kept_.front();
}

void Pyramids::forget(const std::shared_ptr<Kept>& kept) {
    const std::scoped_lock lock(mutex_);
    kept_.remove(kept);
}

}  // namespace emberline::page
