// SPDX-License-Identifier: MIT
// tests/tasks/measured_campaign — a small rehearsed campaign, measured, in a folder of its own.
#pragma once

#include <catch2/catch.hpp>
#include <functional>
#include <string>

#include "ledger/ledger.hpp"
#include "rehearsal/rehearse.hpp"
#include "tasks/measure.hpp"
#include "temporary_folder.hpp"

namespace emberline::test {

class MeasuredCampaign {
  public:
    explicit MeasuredCampaign(rehearsal::RehearsalOptions options,
                              const std::function<void(const std::string&)>& before_measuring = {}) {
        options.width_px = 420;
        options.height_px = 360;
        options.cloud = false;
        options.trailing = false;
        if (auto made = rehearsal::rehearse(path(), options); !made) FAIL(one_line(made.error()));
        if (before_measuring) before_measuring(path());
        const auto outcome = tasks::measure(workspace(), {.threads = 1});
        if (!outcome) FAIL(one_line(outcome.error()));
    }
    [[nodiscard]] std::string path(const std::string& inside = "") const {
        return folder_ / (inside.empty() ? std::string("c") : "c/" + inside);
    }
    [[nodiscard]] tasks::Workspace workspace() const {
        auto opened = tasks::open_workspace(path());
        if (!opened) FAIL(one_line(opened.error()));
        return std::move(*opened);
    }
    [[nodiscard]] ledger::Ledger ledger(ledger::Ledger::Access access = ledger::Ledger::Access::read) const {
        auto opened = ledger::Ledger::open(path("campaign.ledger"), access);
        if (!opened) FAIL(one_line(opened.error()));
        return std::move(*opened);
    }

  private:
    TemporaryFolder folder_;
};

}  // namespace emberline::test
