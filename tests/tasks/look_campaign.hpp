// SPDX-License-Identifier: MIT
// tests/tasks/look_campaign — a small invented campaign, measured, whose stars are looked at.
#pragma once

#include <catch2/catch.hpp>
#include <functional>
#include <string>

#include "rehearsal/rehearse.hpp"
#include "tasks/look.hpp"
#include "tasks/measure.hpp"
#include "temporary_folder.hpp"

namespace emberline::test {

using Change = std::function<void(const std::string& folder)>;

// A small campaign, measured.
class Measured {
  public:
    explicit Measured(rehearsal::RehearsalOptions options, const Change& before_measuring = {}) {
        options.cloud = false;
        options.trailing = false;
        if (auto made = rehearsal::rehearse(path(), options); !made) FAIL(one_line(made.error()));
        if (before_measuring) before_measuring(path());
        auto opened = tasks::open_workspace(path());
        if (!opened) FAIL(one_line(opened.error()));
        workspace_ = std::move(*opened);
        const auto outcome = tasks::measure(workspace_, {.threads = 1});
        if (!outcome) FAIL(one_line(outcome.error()));
        REQUIRE(outcome->refused.empty());
    }
    [[nodiscard]] std::string path(const std::string& inside = "") const {
        return folder_ / (inside.empty() ? std::string("c") : "c/" + inside);
    }
    [[nodiscard]] const tasks::Workspace& workspace() const { return workspace_; }
    [[nodiscard]] ledger::Ledger ledger() const {
        auto opened = ledger::Ledger::open(workspace_.ledger_path(), ledger::Ledger::Access::read);
        if (!opened) FAIL(one_line(opened.error()));
        return std::move(*opened);
    }
    [[nodiscard]] tasks::MeasuredFrame frame(const std::string& name, const std::string& band = "") const {
        auto found = tasks::find_measured(workspace_, ledger(), name, band);
        if (!found) FAIL(one_line(found.error()));
        return std::move(*found);
    }
    [[nodiscard]] Result<tasks::LookedStar> look(const tasks::MeasuredFrame& frame,
                                                 const tasks::LookRequest& request) const {
        return tasks::look(workspace_, ledger(), frame, request);
    }
    [[nodiscard]] tasks::LookedStar seen(const tasks::MeasuredFrame& frame,
                                         const tasks::LookRequest& request) const {
        auto star = look(frame, request);
        if (!star) FAIL(one_line(star.error()));
        return std::move(*star);
    }

  private:
    TemporaryFolder folder_;
    tasks::Workspace workspace_;
};

inline rehearsal::RehearsalOptions small() {
    rehearsal::RehearsalOptions options;
    options.nights = 1;
    options.frames = 2;
    options.host = false;
    options.comparison_stars = 6;
    options.width_px = 420;
    options.height_px = 360;
    return options;
}

inline tasks::LookRequest at(double x, double y) {
    return {.label = {}, .place = frame::PixelPosition{x, y}};
}
inline tasks::LookRequest star(std::string label) {
    return {.label = std::move(label), .place = {}};
}

}  // namespace emberline::test
