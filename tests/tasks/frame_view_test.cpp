// SPDX-License-Identifier: MIT
#include "tasks/frame_view.hpp"

#include <catch2/catch.hpp>

#include "tasks/measured_campaign.hpp"
#include "tasks/set_aside.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using picture::StarMark;

namespace {

rehearsal::RehearsalOptions small() {
    rehearsal::RehearsalOptions options;
    options.host = false;
    options.nights = 1;
    options.frames = 3;
    options.bands = {"V"};
    options.comparison_stars = 6;
    return options;
}

tasks::FrameView seen(const tasks::Workspace& workspace, const std::string& frame) {
    const auto listed = tasks::frame_list(workspace, "2024-03-14");
    REQUIRE(listed);
    for (const ledger::ListedFrame& one : *listed) {
        if (one.frame != frame) continue;
        auto view = tasks::frame_view(workspace, {.measured = tasks::FrameId{one.fingerprint, one.plane}});
        if (!view) FAIL(one_line(view.error()));
        return std::move(*view);
    }
    FAIL("no frame " << frame);
    return {};
}

}  // namespace

TEST_CASE("what was set aside is shown as such, with its reason, and where it lies", "[frame-view]") {
    const MeasuredCampaign campaign(small());
    const tasks::Workspace workspace = campaign.workspace();
    const auto listed = tasks::frame_list(workspace, "2024-03-14");
    REQUIRE(listed);
    REQUIRE(listed->size() == 3);
    const std::string frame = listed->front().frame, other = listed->back().frame;
    const tasks::FrameView before = seen(workspace, frame);
    CHECK(before.used);
    CHECK(before.reason.empty());
    std::string star;
    for (const tasks::ViewedStar& one : before.stars) {
        CHECK(one.catalogue_mag.has_value());
        if (one.mark == StarMark::comparison) star = one.label;
    }
    REQUIRE(!star.empty());

    {
        ledger::Ledger ledger = campaign.ledger(ledger::Ledger::Access::write);
        REQUIRE(ledger.exclude(ledger::SetAside::frame, frame, "a satellite crossed it"));
        REQUIRE(ledger.exclude(ledger::SetAside::star, star, "it varies"));
    }
    REQUIRE(tasks::measure(workspace, {.again = true, .threads = 1}));
    const tasks::FrameView after = seen(workspace, frame), whole = seen(workspace, other);
    CHECK_FALSE(after.used);
    CHECK_THAT(after.reason, Contains("a satellite crossed it"));
    CHECK(whole.used);
    REQUIRE(after.stars.size() == before.stars.size());
    for (const tasks::FrameView& view : {after, whole}) {
        std::size_t checks = 0, comparisons = 0;
        for (const tasks::ViewedStar& one : view.stars) {
            checks += one.mark == StarMark::check ? 1 : 0;
            comparisons += one.mark == StarMark::comparison ? 1 : 0;
            if (one.label != star) continue;
            CHECK(one.mark == StarMark::unused);
            CHECK_THAT(one.why, Contains("it varies"));
        }
        // Of the frame that is not used too: what they are for its night.
        CHECK(checks == 1);
        CHECK(comparisons >= 3);
    }
    for (std::size_t i = 0; i < after.stars.size(); ++i)
        CHECK(after.stars[i].position == before.stars[i].position);
}

TEST_CASE("the pixels of another file have another version, those of the same the same", "[frame-view]") {
    const MeasuredCampaign campaign(small());
    const tasks::Workspace workspace = campaign.workspace();
    const auto listed = tasks::frame_list(workspace, "2024-03-14");
    REQUIRE(listed);
    const auto version = [&](std::size_t i) {
        const auto pixels =
            tasks::frame_pixels(workspace, {.measured = tasks::FrameId{(*listed)[i].fingerprint, 0}});
        if (!pixels) FAIL(one_line(pixels.error()));
        return tasks::pixels_version(workspace, *pixels);
    };
    CHECK(version(0) == version(0));
    CHECK(version(0) != version(1));
}

TEST_CASE("ids stand for frames and templates, and go back to the same text", "[frame-view]") {
    for (const char* text : {"0123456789abcdef0123456789abcdef-2", "template-V", "template-Rc"}) {
        const auto id = tasks::parse_view_id(text);
        REQUIRE(id);
        CHECK(id->text() == text);
    }
    for (const char* text : {"", "-0", "template-", "template-42", "0123-9", "0123-", "../x-0", "0123-00"}) {
        const auto id = tasks::parse_view_id(text);
        REQUIRE_FALSE(id);
        CHECK(id.error().kind == ProblemKind::request);
        CHECK_FALSE(id.error().mend.empty());
    }
}
