// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <chrono>
#include <thread>

#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

ReportedLine line(const std::string& subject, const std::string& content) {
    return {
        .format = "network", .subject = subject, .content = content, .file = "out/report.txt", .since = {}};
}

KeptTransformation term(double value) {
    KeptTransformation t;
    t.instrument = "main";
    t.band = *parse_band("V");
    t.colour_index = "B-V";
    t.colour_term = {value, 0.01};
    t.extinction = ValueWithError{0.2, 0.03};
    t.colour_low_mag = 0.1;
    t.colour_high_mag = 1.2;
    t.scatter_mag = 0.02;
    t.stars = 30;
    t.frames = 6;
    t.night = "2026-03-01";
    t.against = "standards.csv";
    return t;
}

}  // namespace

TEST_CASE("what was reported is remembered by format and subject, the newest counts", "[ledger][reported]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.keep_reported({line("night 1", "a"), line("night 2", "b")}));
    REQUIRE(ledger.keep_reported({line("night 1", "a, revised")}));
    auto other = line("night 1", "{}");
    other.format = "server";
    REQUIRE(ledger.keep_reported({other}));
    REQUIRE(ledger.keep_reported({}));
    const auto kept = ledger.reported("network").value();
    REQUIRE(kept.size() == 2);
    CHECK(kept[0].subject == "night 1");
    CHECK(kept[0].content == "a, revised");
    CHECK(kept[1].content == "b");
    CHECK(kept[1].file == "out/report.txt");
    CHECK(kept[1].since.size() >= 19);
    CHECK(ledger.reported("server").value().size() == 1);
    CHECK(ledger.reported("none").value().empty());
    // Nothing is lost: the former content is still there.
    CHECK(ask(folder.file(), "SELECT count(*) FROM reported") == 4);
}

TEST_CASE("colour terms are kept by instrument, band and index, the newest counts", "[ledger][reported]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    CHECK(ledger.transformations().value().empty());
    auto blue = term(0.1);
    blue.band = *parse_band("B");
    blue.extinction.reset();
    REQUIRE(ledger.keep_transformations({term(0.02), blue}));
    REQUIRE(ledger.keep_transformations({term(0.02)}));  // the same: nothing is added
    CHECK(ledger.every_transformation().value().size() == 2);
    REQUIRE(ledger.keep_transformations({term(0.03)}));
    CHECK(ledger.every_transformation().value().size() == 3);
    auto newest = ledger.transformations().value();
    REQUIRE(newest.size() == 2);
    for (auto& t : newest) {
        CHECK_FALSE(t.since.empty());
        t.since.clear();
    }
    CHECK(newest[0] == blue);
    CHECK(newest[1] == term(0.03));
}

TEST_CASE("a report is taken back by further rows, the newest first, and nothing is deleted",
          "[ledger][reported]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    CHECK(ledger.newest_report("network").value().empty());
    REQUIRE(ledger.keep_reported({line("night 1", "a"), line("night 2", "b")}));
    const auto first = ledger.newest_report("network").value();
    REQUIRE(first.size() == 2);
    std::this_thread::sleep_for(std::chrono::milliseconds(3));  // the time tells reports of one file apart
    REQUIRE(ledger.keep_reported({line("night 2", "b, revised"), line("night 3", "c")}));
    const auto second = ledger.newest_report("network").value();
    REQUIRE(second.size() == 2);
    CHECK(second[0].content == "b, revised");
    CHECK(second[0].since > first[0].since);

    const auto passed_over = ledger.take_back_report("network", first[0].file, first[0].since);
    REQUIRE_FALSE(passed_over);
    CHECK(passed_over.error().kind == ProblemKind::request);
    CHECK(ledger.reported("network").value().size() == 3);

    REQUIRE(ledger.take_back_report("network", second[0].file, second[0].since));
    const auto left = ledger.reported("network").value();
    REQUIRE(left.size() == 2);
    CHECK(left[0].content == "a");
    CHECK(left[1].content == "b");  // what it revised counts again
    CHECK(ledger.newest_report("network").value() == first);
    CHECK_FALSE(ledger.take_back_report("network", second[0].file, second[0].since));
    REQUIRE(ledger.take_back_report("network", first[0].file, first[0].since));
    CHECK(ledger.reported("network").value().empty());
    CHECK(ledger.newest_report("network").value().empty());
    CHECK(ask(folder.file(), "SELECT count(*) FROM reported WHERE format = 'network'") == 4);
    CHECK(ask(folder.file(), "SELECT count(*) FROM reported") == 8);

    // Reported once more, it counts.
    REQUIRE(ledger.keep_reported({line("night 3", "c")}));
    CHECK(ledger.reported("network").value().size() == 1);
}

TEST_CASE("taking a report of one format back leaves the others", "[ledger][reported]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    auto other = line("night 1", "{}");
    other.format = "server";
    REQUIRE(ledger.keep_reported({line("night 1", "a")}));
    REQUIRE(ledger.keep_reported({other}));
    const auto newest = ledger.newest_report("network").value();
    REQUIRE(newest.size() == 1);
    REQUIRE(ledger.take_back_report("network", newest[0].file, newest[0].since));
    CHECK(ledger.reported("server").value().size() == 1);
    CHECK(ledger.reported("network").value().empty());
}
