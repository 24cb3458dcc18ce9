// SPDX-License-Identifier: MIT
#include <unistd.h>

#include <catch2/catch.hpp>

#include "faults/small_disk.hpp"
#include "ledger/connection.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

constexpr long small_file_bytes = 20000;  // less than a ledger, a frame or a picture needs

void storage_failed(const Outcome& outcome, const std::string& place, const std::string& to_do) {
    const std::string line = outcome.problem();
    INFO(line);
    CHECK(outcome.status == 4);
    CHECK(outcome.out.empty());
    CHECK(line.find(place) != std::string::npos);
    CHECK(line.find(to_do) != std::string::npos);
}

Words files_in(const std::string& folder) {
    Words names;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
        if (entry.is_regular_file()) names.push_back(entry.path().filename().string());
    }
    return names;
}

}  // namespace

TEST_CASE("on a full disk measuring fails in one line, and goes on once there is room", "[faults][disk]") {
    const Folder folder;
    const emberline::faults::SmallDisk disk(folder.path("disk"), 1024);
    if (!disk.mounted()) {
        WARN("SKIPPED: only a superuser can mount a small disk to fill.");
        return;
    }
    const Rehearsed original;
    const std::string campaign = folder.path("disk/c");
    std::filesystem::copy(original.path(), campaign, std::filesystem::copy_options::recursive);
    const auto room = std::filesystem::space(campaign).available;
    REQUIRE(room > 8192);
    write_contents(folder.path("disk/filling"), std::string(room - 8192, 'x'));
    storage_failed(run({"measure", "-q", "-c", campaign}), "campaign.ledger", "free space");
    std::filesystem::remove(folder.path("disk/filling"));
    const Outcome measured = run({"measure", "-q", "-c", campaign});
    INFO(measured.out << measured.err);
    CHECK(measured.status == 0);
    CHECK(measured.out.starts_with("2 frames: 2 measured, 0 known already, 0 refused.\n"));
    std::filesystem::create_directory(campaign + "/out");
    write_contents(campaign + "/t.csv", "an older table\n");
    write_contents(campaign + "/out/report.txt", "an older report\n");
    // A reader that holds the ledger open keeps its small files there, which reading needs and which a full
    // disk would have no room for.
    emberline::ledger::Connection reader(campaign + "/campaign.ledger",
                                         emberline::ledger::Connection::Mode::read, 1.0);
    CHECK(reader.integer("SELECT count(*) FROM sqlite_master") > 0);
    write_contents(folder.path("disk/filling"), std::string(std::filesystem::space(campaign).available, 'x'));
    storage_failed(run({"rehearse", folder.path("disk/r"), "-q"}), folder.path("disk/r"), "free space");
    storage_failed(run({"new", folder.path("disk/n"), "-q"}), folder.path("disk/n"), "free space");
    storage_failed(run({"export", "-q", "-c", campaign, "-o", campaign + "/t.csv"}), campaign + "/t.csv",
                   "free space");
    storage_failed(run({"report", "-q", "-c", campaign}), campaign + "/out/report.txt", "free space");
    CHECK(contents(campaign + "/t.csv") == "an older table\n");
    CHECK(contents(campaign + "/out/report.txt") == "an older report\n");
    CHECK(run({"nights", "-q", "-c", campaign}).status == 0);
    CHECK(files_in(folder.path("disk/r")).empty());  // no half frame stays behind
}

TEST_CASE("a write cut off midway fails in one line, and leaves what was there", "[faults][disk]") {
    const Setting cramped{.most_file_bytes = small_file_bytes};
    const Rehearsed campaign;
    const Outcome failed = campaign.run({"measure"}, cramped);
    storage_failed(failed, "campaign.ledger", "free space");
    campaign.measure();
    const Folder folder;
    storage_failed(run({"rehearse", folder.path("r"), "-q"}, cramped), folder.path("r"), "free space");
    CHECK(files_in(folder.path("r")).empty());
}

TEST_CASE("an answer that cannot be written is a failure that is told", "[faults][disk]") {
    if (!std::filesystem::exists("/dev/full")) {
        WARN("SKIPPED: there is no /dev/full here.");
        return;
    }
    const Setting full{.standard_output = "/dev/full"};
    const Rehearsed campaign;
    campaign.measure();
    for (const Words& words :
         {Words{"measure"}, Words{"measure", "--json"}, Words{"nights"}, Words{"nights", "--json"},
          Words{"inspect", campaign.first_frame()}, Words{"curve", "--no-picture"}, Words{"report"},
          Words{"export"}, Words{"export", "--level", "frame", "--json"}, Words{"include", "first"},
          Words{"exclude", "first", "--reason", "it varies"}, Words{"--help"}}) {
        INFO(words.front());
        storage_failed(campaign.run(words, full), "standard output", "free space");
    }
}

TEST_CASE("files asked for where there is no folder are refused by name", "[faults][disk]") {
    const Rehearsed campaign({"--nights", "2"});
    campaign.measure();
    for (const Words& words : {Words{"export", "-o"}, Words{"report", "-o"}, Words{"curve", "--picture"}}) {
        Words whole = words;
        whole.push_back(campaign.path("none/file.svg"));
        storage_failed(campaign.run(whole), campaign.path("none/file.svg"), "Check");
    }
}
