// SPDX-License-Identifier: MIT
// A watch whose disk and ledger are played: they block, fail, and come back.
#include "tasks/watching.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <functional>
#include <memory>
#include <thread>

using namespace emberline;
using namespace emberline::tasks;
using Kind = WatchEvent::Kind;

namespace {

const WatchPatience hasty{
    .look_s = 0.1, .silent_s = 0.3, .retry_s = 0.05, .longest_retry_s = 0.1, .grace_s = 0.3};

// Outlives the threads that a test leaves behind.
struct Played {
    std::atomic<bool> list_blocks{false}, offer_blocks{false}, stop{false};
    std::atomic<int> failures{0};
    std::atomic<int> offers{0};
    Problem failure{.what = "The ledger is locked by another program.",
                    .where = "campaign.ledger",
                    .mend = "Wait until that program is done, or end it, and run the command again.",
                    .kind = ProblemKind::storage};
};

void wait_while(const std::atomic<bool>& flag) {
    while (flag)
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
}

WatchWorld world_of(const std::shared_ptr<Played>& played) {
    return {.list = [played]() -> Result<std::vector<FileSeen>> {
                wait_while(played->list_blocks);
                return std::vector<FileSeen>{{"d/a.fits", "a.fits", 10, 1, 1}};
            },
            .offer = [played](const OfferRequest& request) -> Result<Offered> {
                ++played->offers;
                wait_while(played->offer_blocks);
                if (played->failures > 0) {
                    --played->failures;
                    return fail(played->failure);
                }
                Offered offered;
                for (const std::string& path : request.files) {
                    OfferedFile& file = offered.files.emplace_back();
                    file.path = file.name = path;
                    file.fate = OfferedFile::Fate::measured;
                }
                offered.outcome.emplace();
                return offered;
            }};
}

struct Told {
    Result<WatchOutcome> outcome;
    std::vector<WatchEvent> events;
    double seconds = 0.0;
    [[nodiscard]] std::size_t count(Kind kind) const {
        return static_cast<std::size_t>(
            std::count_if(events.begin(), events.end(), [&](const auto& e) { return e.kind == kind; }));
    }
};

Told watch_played(const std::shared_ptr<Played>& played, const std::function<void(const WatchEvent&)>& also,
                  std::optional<double> idle_s) {
    const FolderEvents events;
    WatchRequest request{.folder = "d", .settle_s = 0.1, .idle_s = idle_s, .stop = &played->stop};
    Told told;
    const auto since = std::chrono::steady_clock::now();
    told.outcome = watch_world(world_of(played), events, request, hasty, [&](const WatchEvent& event) {
        told.events.push_back(event);
        if (also) also(event);
    });
    told.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - since).count();
    return told;
}

}  // namespace

TEST_CASE("a folder that blocks is told once, and can be left", "[watch]") {
    const auto played = std::make_shared<Played>();
    played->list_blocks = true;
    std::thread stopper([played] {
        std::this_thread::sleep_for(std::chrono::milliseconds(800));
        played->stop = true;
    });
    const Told told = watch_played(played, {}, std::nullopt);
    stopper.join();
    REQUIRE(told.outcome);
    CHECK(told.outcome->interrupted);
    CHECK(told.outcome->left_behind);
    CHECK(told.count(Kind::folder_silent) == 1);
    // Ticks are of 0.05 s, beside whatever else this machine does.
    CHECK(told.seconds < 1.5);
    played->list_blocks = false;
}

TEST_CASE("a folder that answers again goes on", "[watch]") {
    const auto played = std::make_shared<Played>();
    played->list_blocks = true;
    const Told told = watch_played(
        played,
        [&](const WatchEvent& event) {
            if (event.kind == Kind::folder_silent) played->list_blocks = false;
        },
        0.3);
    REQUIRE(told.outcome);
    CHECK(told.count(Kind::folder_silent) == 1);
    CHECK(told.count(Kind::folder_back) == 1);
    CHECK(told.outcome->measured == 1);
    CHECK_FALSE(told.outcome->left_behind);
}

TEST_CASE("a frame that blocks while it is measured does not hold up a stop", "[watch]") {
    const auto played = std::make_shared<Played>();
    played->offer_blocks = true;
    std::thread stopper([played] {
        while (played->offers == 0)
            std::this_thread::sleep_for(std::chrono::milliseconds(5));
        played->stop = true;
    });
    const Told told = watch_played(played, {}, std::nullopt);
    stopper.join();
    REQUIRE(told.outcome);
    CHECK(told.outcome->left_behind);
    CHECK(told.outcome->measured == 0);
    played->offer_blocks = false;
}

TEST_CASE("a ledger in use is waited for, one that is damaged is not", "[watch]") {
    const auto played = std::make_shared<Played>();
    played->failures = 4;
    const Told told = watch_played(played, {}, 0.2);
    REQUIRE(told.outcome);
    CHECK(told.outcome->measured == 1);
    CHECK(played->offers == 5);
    // Told once, and once more when it is over.
    CHECK(told.count(Kind::note) == 2);

    const auto broken = std::make_shared<Played>();
    broken->failures = 1;
    broken->failure.what = "The ledger is damaged.";
    broken->failure.mend = "Restore it from a backup.";
    const Told given_up = watch_played(broken, {}, 0.2);
    REQUIRE_FALSE(given_up.outcome);
    CHECK(given_up.outcome.error().kind == ProblemKind::storage);
    CHECK(broken->offers == 1);
}
