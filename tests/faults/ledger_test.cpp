// SPDX-License-Identifier: MIT
#include <sys/stat.h>

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <memory>
#include <thread>

#include "ledger/connection.hpp"
#include "ledger/ledger.hpp"
#include "program/rehearsed.hpp"

using namespace emberline;
using namespace emberline::testing;

namespace {

const std::vector<Words> writing = {
    {"measure"}, {"measure", "--again"}, {"exclude", "first", "--reason", "it varies"}, {"include", "first"}};
const std::vector<Words> reading = {{"nights"}, {"curve", "--no-picture"}, {"report"}, {"export"}};

void storage_failed(const Outcome& outcome, const Rehearsed& campaign, const std::string& what,
                    const std::string& to_do) {
    const std::string line = outcome.problem();
    INFO(line);
    CHECK(outcome.status == 4);
    CHECK(outcome.out.empty());
    CHECK(line.starts_with("emberline: " + campaign.path("campaign.ledger") + ": "));
    CHECK(line.find(what) != std::string::npos);
    CHECK(line.find(to_do) != std::string::npos);
}

void every_command_fails(const Rehearsed& campaign, const std::string& what, const std::string& to_do) {
    for (const auto& commands : {writing, reading}) {
        for (const Words& words : commands) {
            INFO(words.front());
            storage_failed(campaign.run(words), campaign, what, to_do);
        }
    }
}

// SQLite's published file format keeps the user version at byte 60, the most significant byte first.
constexpr std::size_t user_version_byte = 60;

// Of somebody else, held until it goes out of scope.
class Lock {
  public:
    explicit Lock(const std::string& path) : connection_(path, ledger::Connection::Mode::write, 1.0) {
        connection_.execute("BEGIN IMMEDIATE");
    }
    Lock(const Lock&) = delete;
    Lock& operator=(const Lock&) = delete;
    ~Lock() { connection_.execute("ROLLBACK"); }

  private:
    ledger::Connection connection_;
};

}  // namespace

TEST_CASE("a ledger that is no database is left alone by every command", "[faults][ledger]") {
    const Rehearsed campaign;
    const std::string notes = "my notes of the night\n";
    write_contents(campaign.path("campaign.ledger"), notes);
    every_command_fails(campaign, "not a ledger", "Move it away");
    CHECK(contents(campaign.path("campaign.ledger")) == notes);
}

TEST_CASE("a ledger from a newer version is left alone by every command", "[faults][ledger]") {
    const Rehearsed campaign;
    campaign.measure();
    std::string bytes = contents(campaign.path("campaign.ledger"));
    REQUIRE(bytes.size() > 100);
    CHECK(bytes[user_version_byte + 3] == ledger::schema_version);
    bytes[user_version_byte + 3] = static_cast<char>(ledger::schema_version + 1);
    write_contents(campaign.path("campaign.ledger"), bytes);
    every_command_fails(campaign,
                        fmt::format("of version {}; this program knows versions up to {}",
                                    ledger::schema_version + 1, ledger::schema_version),
                        "Use a newer emberline");
    CHECK(contents(campaign.path("campaign.ledger")) == bytes);
}

TEST_CASE("a ledger cut short is called damaged by every command", "[faults][ledger]") {
    const Rehearsed campaign;
    campaign.measure();
    const std::string bytes = contents(campaign.path("campaign.ledger"));
    write_contents(campaign.path("campaign.ledger"), bytes.substr(0, bytes.size() / 2));
    every_command_fails(campaign, "damaged", "Restore it from a backup");
}

TEST_CASE("a read-only ledger is read, and not written", "[faults][ledger]") {
    if (!can_be_ordinary()) {
        WARN("SKIPPED: a superuser that cannot give up its power over permissions finds nothing read-only.");
        return;
    }
    const Setting ordinary{.as_ordinary_user = true};
    const Rehearsed campaign;
    campaign.measure();
    const std::string before = contents(campaign.path("campaign.ledger"));
    REQUIRE(::chmod(campaign.path("campaign.ledger").c_str(), 0444) == 0);
    for (const mode_t folder_mode : {0755U, 0555U}) {
        REQUIRE(::chmod(campaign.path().c_str(), folder_mode) == 0);
        for (const Words& words : writing)
            storage_failed(campaign.run(words, ordinary), campaign, "read-only", "Allow writing to the file");
        CHECK(campaign.run({"nights"}, ordinary).status == 0);
        CHECK(campaign.run({"export"}, ordinary).status == 0);
    }
    REQUIRE(::chmod(campaign.path().c_str(), 0755) == 0);
    CHECK(contents(campaign.path("campaign.ledger")) == before);
}

TEST_CASE("two programs on one ledger wait for each other", "[faults][ledger]") {
    const Rehearsed campaign;
    campaign.measure();
    auto lock = std::make_unique<Lock>(campaign.path("campaign.ledger"));
    Process excluding({"exclude", "first", "--reason", "it varies", "-q", "-c", campaign.path()});
    CHECK(campaign.run({"nights"}).status == 0);  // readers need not wait
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    CHECK(excluding.running());
    lock.reset();
    const Outcome excluded = excluding.wait();
    INFO(excluded.err);
    CHECK(excluded.status == 0);
}

// The program waits half a minute before it gives up, and so does this test.
TEST_CASE("a ledger that stays locked is given up with the reason", "[faults][ledger]") {
    const Rehearsed campaign;
    campaign.measure();
    const Lock lock(campaign.path("campaign.ledger"));
    Process measuring({"measure", "--again", "-q", "-c", campaign.path()});
    Process excluding({"exclude", "first", "--reason", "it varies", "-q", "-c", campaign.path()});
    storage_failed(excluding.wait(), campaign, "locked by another program", "run the command again");
    // Solving again changes nothing and so need not write; whoever waited says why it gave up.
    const Outcome measured = measuring.wait();
    if (measured.status != 0)
        storage_failed(measured, campaign, "locked by another program", "run the command again");
}
