// SPDX-License-Identifier: MIT
#include "tasks/curve_words.hpp"

#include <catch2/catch.hpp>

#include "tasks/command_line.hpp"

using namespace emberline;
using namespace emberline::tasks;

namespace {

// What is refused, as the observer is told.
Problem refused(const CurveWords& words) {
    CurveRequest request;
    const auto read = read_words(words, request);
    REQUIRE_FALSE(read);
    CHECK(read.error().kind == ProblemKind::request);
    CHECK_FALSE(read.error().mend.empty());
    return read.error();
}

}  // namespace

TEST_CASE("a date is a night of one's own, and a whole day of others' points", "[tasks][curve]") {
    CurveRequest own;
    REQUIRE(read_words({.from = "2024-03-10", .to = "2024-03-12"}, own));
    CHECK(own.from_night == "2024-03-10");
    CHECK(own.to_night == "2024-03-12");
    CHECK_FALSE(own.from_bjd_tdb);

    CurveRequest others;
    REQUIRE(read_words({.series = {"a.csv"}, .from = "2024-03-10", .to = "2024-03-10"}, others));
    CHECK_FALSE(others.from_night);
    // 2024-03-10 0 h is JD 2460379.5 (Meeus, Astronomical Algorithms, chapter 7, by hand); TDB is 69.184 s
    // later than UTC since 2017: 37 leap seconds and 32.184 s.
    CHECK(*others.from_bjd_tdb == Approx(2460379.5 + 69.184 / 86400.0).margin(1e-6).epsilon(0.0));
    CHECK(*others.to_bjd_tdb - *others.from_bjd_tdb == Approx(1.0).margin(1e-9));

    CurveRequest julian;
    REQUIRE(read_words({.from = "2460379.25", .rates = {"2460380:2024-03-20"}}, julian));
    CHECK(*julian.from_bjd_tdb == 2460379.25);
    CHECK(julian.rates.at(0).from_bjd_tdb == 2460380.0);
}

TEST_CASE("what is no date, no interval, or runs backwards is refused in words", "[tasks][curve]") {
    for (const char* bad :
         {"yesterday", "nan", "inf", "1e999", "2024-13-01", "2024-3-1", "2024-03-10x", "--"}) {
        INFO(bad);
        CHECK(refused({.from = bad}).where == "--from");
        CHECK(refused({.to = bad}).where == "--to");
        CHECK(refused({.rates = {std::string(bad) + ":2460400"}}).where == "--rate");
        CHECK(refused({.rates = {bad}}).where == "--rate");
    }
    CHECK(refused({.from = "2024-03-12", .to = "2024-03-10"}).mend == "Exchange them.");
    CHECK(refused({.from = "2460400", .to = "2024-03-10"}).mend == "Exchange them.");
    CHECK(refused({.rates = {"2460400:2460390"}}).mend == "Exchange its ends.");
    CHECK(refused({.rates = {"2460400:2460400"}}).mend == "Exchange its ends.");
    CHECK(refused({.rates = {":"}}).where == "--rate");
}

TEST_CASE("what is named twice counts once", "[tasks][curve]") {
    CurveRequest request;
    const CurveWords words{.bands = std::vector<std::string>(1000, "V"),
                           .models = {"straight-line", "straight-line"}};
    REQUIRE(read_words(words, request));
    CHECK(request.bands == std::vector<std::string>{"V"});
    CHECK(request.models.size() == 1);
    CHECK(command_line(words) == "emberline curve --band V --model straight-line");
}

TEST_CASE("a command line keeps every word whole in a shell", "[tasks]") {
    CHECK(shell_word("2460384.5:2460390") == "2460384.5:2460390");
    CHECK(shell_word("others' points.csv") == R"('others'\'' points.csv')");
    CHECK(shell_word("$(rm -rf .)") == "'$(rm -rf .)'");
    CHECK(shell_word("") == "''");
    CHECK(CommandLine("curve").option("--from", "-5").option("--to", "").flag("--frames", true).text() ==
          "emberline curve --from=-5 --frames");
}
