// SPDX-License-Identifier: MIT
#include "page/live.hpp"

#include <atomic>
#include <catch2/catch.hpp>
#include <thread>

using namespace emberline::page;
using namespace std::chrono_literals;

TEST_CASE("a listener hears what happened after what it heard last") {
    Live live;
    live.tell("ledger", "1");
    live.tell("frame", "2");
    const auto all = live.wait(0, 1s);
    REQUIRE(all.events.size() == 2);
    CHECK(all.events[1].name == "frame");
    CHECK(all.events[1].number == 2);
    CHECK(!all.missed);
    const auto later = live.wait(1, 1s);
    REQUIRE(later.events.size() == 1);
    CHECK(later.events[0].data == "2");
    CHECK(live.wait(2, 1ms).events.empty());
}

TEST_CASE("a listener who slept too long is told to read everything anew") {
    Live live;
    for (int i = 0; i < 1000; ++i)
        live.tell("ledger", "x");
    const auto heard = live.wait(3, 1s);
    CHECK(heard.missed);
    REQUIRE(heard.events.size() == 1);
    CHECK(heard.events[0].number == 1000);  // and goes on from there
    CHECK(!live.wait(999, 1s).missed);
    // The number of another start of the program.
    CHECK(live.wait(5000, 1s).missed);
}

TEST_CASE("a listener who waits is woken, and sent home at the end") {
    Live live;
    std::thread teller([&] {
        std::this_thread::sleep_for(20ms);
        live.tell("ledger", "now");
    });
    CHECK(live.wait(0, 10s).events.size() == 1);
    teller.join();
    std::thread ender([&] {
        std::this_thread::sleep_for(20ms);
        live.end();
    });
    CHECK(live.wait(1, 10s).over);
    ender.join();
}

TEST_CASE("a ledger that changes is told once a change") {
    std::atomic<int> version{1};
    Live live;
    live.follow([&] { return std::to_string(version.load()); });
    CHECK(live.wait(0, 700ms).events.empty());
    version = 2;
    const auto heard = live.wait(0, 5s);
    REQUIRE(heard.events.size() == 1);
    CHECK(heard.events[0].name == "ledger");
    CHECK(heard.events[0].data == R"({"revision":"2"})");
}
