// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <thread>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr int many_frames = 100;

// One frame under many dates, a second apart: each is a frame of its own.
void multiply_frames(const Rehearsed& campaign) {
    const std::string good = contents(campaign.first_frame());
    for (int i = 0; i < many_frames; ++i) {
        const std::string date = fmt::format("'2024-03-15T02:{:02}:{:02}.000'", i / 60, i % 60);
        write_contents(campaign.path(fmt::format("frames/more_{:03}.fits", i)),
                       with_card(good, "DATE-OBS", date));
    }
}

void wait_for_first_batch(const Rehearsed& campaign, Process& measuring) {
    const std::string log = campaign.path("campaign.ledger-wal");
    std::error_code none_yet;
    std::uintmax_t empty_ledger = 200000;  // more than the schema takes, less than a batch of frames
    while (measuring.running()) {
        const auto bytes = std::filesystem::file_size(log, none_yet);
        if (!none_yet && bytes > empty_ledger) return;
        std::this_thread::sleep_for(std::chrono::microseconds(200));
    }
}

}  // namespace

TEST_CASE("an interrupted measurement keeps what it has, and goes on from there", "[faults][interrupt]") {
    const Rehearsed campaign;
    multiply_frames(campaign);
    for (const int signal : {SIGINT, SIGTERM}) {
        std::filesystem::remove(campaign.path("campaign.ledger"));
        Process measuring({"measure", "-j", "1", "-q", "--json", "-c", campaign.path()});
        wait_for_first_batch(campaign, measuring);
        REQUIRE(measuring.running());
        measuring.signal(signal);
        const Outcome stopped = measuring.wait();
        INFO(stopped.out << stopped.err);
        CHECK(stopped.status == 130);
        CHECK(stopped.err.empty());
        const auto kept = stopped.json().at("measured").get<int>();
        CHECK(kept > 0);
        CHECK(kept < many_frames + 2);
        CHECK(stopped.json().at("refused").empty());
        const auto rest = campaign.run({"measure", "--json"});
        CHECK(rest.status == 0);
        CHECK(rest.json().at("known") == kept);
        CHECK(rest.json().at("measured") == many_frames + 2 - kept);
    }
    // The whole is what it would have been in one go.
    const std::string in_two = campaign.run({"export", "--level", "frame"}).out;
    std::filesystem::remove(campaign.path("campaign.ledger"));
    campaign.measure();
    CHECK(lines_of(in_two).size() == many_frames + 3);
    CHECK(campaign.run({"export", "--level", "frame"}).out == in_two);
}

TEST_CASE("a command with nothing to keep ends at once when it is interrupted", "[faults][interrupt]") {
    const Folder folder;
    Process rehearsing({"rehearse", folder.path("r"), "-q", "--nights", "2", "--frames", "40"});
    while (rehearsing.running() && !std::filesystem::exists(folder.path("r/frames")))
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    REQUIRE(rehearsing.running());
    rehearsing.signal(SIGINT);
    CHECK(rehearsing.wait().status == 130);
}
