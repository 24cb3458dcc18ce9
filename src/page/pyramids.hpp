// SPDX-License-Identifier: MIT
// page/pyramids — the reduced levels of the frames that were looked at last. Used by many threads: one makes
// a frame's, the others that want it wait. Private to this room.
#pragma once

#include <list>
#include <memory>
#include <mutex>
#include <string>

#include "picture/frame_pyramid.hpp"
#include "quantities/problem.hpp"
#include "tasks/frame_view.hpp"
#include "tasks/workspace.hpp"

namespace emberline::page {

struct ShownFrame {
    picture::FramePyramid pyramid;
    std::string version;  // of its pixels, as tiles are kept by
};

class Pyramids {
  public:
    // Made anew where the file or the campaign's settings changed since. Problem: as of tasks::frame_pixels
    // and FramePyramid::of; it is not remembered.
    [[nodiscard]] Result<std::shared_ptr<const ShownFrame>> of(const tasks::Workspace& workspace,
                                                               const tasks::ViewId& id);

  private:
    struct Kept {
        std::string id;
        std::mutex making;
        std::string path, state;  // of the file when it was opened
        std::shared_ptr<const ShownFrame> shown;
    };
    [[nodiscard]] std::shared_ptr<Kept> place_of(const std::string& id);
    void forget(const std::shared_ptr<Kept>& kept);

    std::mutex mutex_;                       // of the list
    std::list<std::shared_ptr<Kept>> kept_;  // the one asked last comes first
};

}  // namespace emberline::page
