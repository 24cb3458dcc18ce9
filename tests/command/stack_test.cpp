// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;

namespace {

const Words plain = {"--nights", "1", "--frames", "6", "--no-trails", "--clear"};

}  // namespace

TEST_CASE("stack makes one frame of the newest night, measures it, and agrees with the night's frames",
          "[command][stack]") {
    const Rehearsed campaign(plain);
    campaign.measure();
    const Outcome outcome = campaign.run({"stack"});
    INFO(outcome.out << outcome.err);
    REQUIRE(outcome.status == 0);
    CHECK_THAT(outcome.out, Contains("6 frames in") && Contains("stacks/2024-03-14_V.fits"));
    CHECK(std::filesystem::file_size(campaign.path("stacks/2024-03-14_V.fits")) > 100000);
    const auto frames = campaign.run({"nights", "--frames", "--json"}).json().at("frames");
    REQUIRE(frames.size() == 7);
    std::size_t used = 0;
    for (const auto& frame : frames)
        used += frame.at("used").get<bool>() ? 1 : 0;
    // The frames or their stack, never both.
    CHECK((used == 6 || used == 1));
    // It lies beside the campaign's frames and is not one of them: nothing is new.
    CHECK(campaign.run({"measure", "--json"}).json().at("measured") == 0);
}

TEST_CASE("a stack is never written over another, and needs frames", "[command][stack]") {
    const Rehearsed campaign(plain);
    CHECK(campaign.run({"stack"}).status == 3);
    campaign.measure();
    REQUIRE(campaign.run({"stack", "--no-measure"}).status == 0);
    const std::string path = campaign.path("stacks/2024-03-14_V.fits");
    const std::string before = contents(path);
    const Outcome again = campaign.run({"stack", "--no-measure"});
    CHECK(again.status != 0);
    CHECK(contents(path) == before);
    CHECK(campaign.run({"stack", "--no-measure", "--replace"}).status == 0);
    CHECK(campaign.run({"stack", "--night", "2020-01-01"}).status != 0);
    CHECK(campaign.run({"stack", "--band", "V9"}).status == 2);
}

TEST_CASE("a stack that is there already is told before the other bands' are made", "[command][stack]") {
    const Rehearsed campaign(
        {"--nights", "1", "--frames", "4", "--no-trails", "--clear", "--band", "B", "--band", "V"});
    campaign.measure();
    std::filesystem::create_directories(campaign.path("stacks"));
    write_contents(campaign.path("stacks/2024-03-14_V.fits"), "of before");
    const Outcome outcome = campaign.run({"stack", "--no-measure"});
    INFO(outcome.out << outcome.err);
    CHECK(outcome.status == 2);
    CHECK_THAT(outcome.problem(), Contains("2024-03-14_V.fits"));
    CHECK_FALSE(std::filesystem::exists(campaign.path("stacks/2024-03-14_B.fits")));
    CHECK(contents(campaign.path("stacks/2024-03-14_V.fits")) == "of before");
}
