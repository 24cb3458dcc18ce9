// SPDX-License-Identifier: MIT
#include "ledger/solutions.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

TEST_CASE("a solution comes back whole, and storing it twice adds nothing", "[ledger][solutions]") {
    const Folder folder;
    Solution given = solution(12, 5, 4);
    given.frames[2].common.clear();
    given.frames[3].comparison_labels.clear();
    given.nights[1].check = {};
    given.nights[2].airmass.reset();
    given.frames.push_back(given.frames[0]);  // twice the same row is two rows
    {
        Ledger ledger = opened(folder.file());
        CHECK(ledger.store(given, provenance()).value());
    }
    const std::string before = contents(folder.file());
    {
        Ledger ledger = opened(folder.file());
        CHECK_FALSE(ledger.store(given, provenance("others")).value());
        CHECK(ledger.solutions().value() == 1);
        CHECK(same(ledger.newest().value(), given));
    }
    CHECK(contents(folder.file()) == before);
    CHECK(same(opened(folder.file(), Ledger::Access::read).newest().value(), given));
}

TEST_CASE("each older solution can be had as it was", "[ledger][solutions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    std::vector<Solution> given;
    for (int i = 0; i < 6; ++i) {
        Solution next = solution(4 + i, 2 + i, 3);
        next.frames[1].magnitude_mag = 15.0 + i / 7.0;
        next.nights[0].random_err_mag = i % 2 == 0 ? std::optional(0.1) : std::nullopt;
        next.stars[2].why = i < 3 ? "Varies." : "Is steady.";
        if (i == 4) next.frames.erase(next.frames.begin());  // and it comes back in the next
        given.push_back(next);
        REQUIRE(ledger.store(next, provenance()).value());
    }
    CHECK(ledger.solutions().value() == 6);
    CHECK(same(ledger.newest().value(), given.back()));
    Connection connection(folder.file(), Connection::Mode::read, 1.0);
    REQUIRE(newest_solution_number(connection) == 6);
    for (std::size_t i = 0; i < given.size(); ++i) {
        Solution kept = solution_number(connection, static_cast<std::int64_t>(i) + 1);
        const auto by_name = [](const auto& a, const auto& b) { return a.frame < b.frame; };
        std::sort(kept.frames.begin(), kept.frames.end(), by_name);
        CHECK(same(kept, given[i]));
    }
}

TEST_CASE("an older result that comes back is a new solution", "[ledger][solutions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    const Solution first = solution(3, 1, 2);
    Solution second = first;
    second.frames[0].magnitude_mag = 16.0;
    CHECK(ledger.store(first, provenance()).value());
    CHECK(ledger.store(second, provenance()).value());
    CHECK(ledger.store(first, provenance()).value());
    CHECK(ledger.solutions().value() == 3);
    CHECK(same(ledger.newest().value(), first));
}

TEST_CASE("rows are put in the order of the newest solution", "[ledger][solutions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    Solution given = solution(5, 5, 5);
    REQUIRE(ledger.store(given, provenance()).value());
    std::rotate(given.frames.begin(), given.frames.begin() + 2, given.frames.end());
    std::reverse(given.stars.begin(), given.stars.end());
    given.nights[0].chi2 = 1.5;
    REQUIRE(ledger.store(given, provenance()).value());
    CHECK(same(ledger.newest().value(), given));
    std::vector<double> times;
    REQUIRE(ledger.for_each_frame_measurement([&](const night::FrameMeasurement& m) {
        times.push_back(m.jd_utc);
        return times.size() < 4;
    }));
    CHECK(times.size() == 4);
    CHECK(std::is_sorted(times.begin(), times.end()));
    int nights = 0;
    REQUIRE(ledger.for_each_night_measurement([&](const night::NightMeasurement&) { return ++nights > 0; }));
    CHECK(nights == 5);
}

TEST_CASE("numbers that compare oddly are stored once and known again", "[ledger][solutions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    Solution given = solution(3, 1, 1);
    given.frames[0].airmass = std::nan("");
    given.frames[1].zero_point_err_mag = -0.0;
    given.stars[0].scatter_mag = std::nan("");
    CHECK(ledger.store(given, provenance()).value());
    CHECK_FALSE(ledger.store(given, provenance()).value());
    given.frames[1].zero_point_err_mag = 0.0;
    CHECK(ledger.store(given, provenance()).value());
    CHECK(std::signbit(ledger.newest().value().frames[1].zero_point_err_mag) == false);
}

TEST_CASE("a hundred solvings of a growing campaign write only what changes", "[ledger][solutions]") {
    const Folder folder;
    constexpr int nights = 100;
    constexpr int frames_a_night = 6;
    {
        Ledger ledger = opened(folder.file());
        for (int n = 1; n <= nights; ++n)
            REQUIRE(ledger.store(solution(n * frames_a_night, n, 10), provenance()).value());
    }
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_measurement") == nights * frames_a_night);
    CHECK(ask(folder.file(), "SELECT count(*) FROM night_measurement") == nights);
    CHECK(ask(folder.file(), "SELECT count(*) FROM star_verdict") == 10);
    CHECK(ask(folder.file(), "SELECT count(*) FROM name_list") == 2);
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_measurement WHERE first_solution <= 50") ==
          50 * frames_a_night);
}

TEST_CASE("a solution is not stored where another program changed the ledger meanwhile",
          "[ledger][solutions]") {
    // Two programs measured at once; the slower stored last, without the other's frames.
    const Folder folder;
    Ledger slow = opened(folder.file()), quick = opened(folder.file());
    const std::int64_t seen = slow.data_version().value();
    REQUIRE(slow.record({frame_fluxes(1)}, provenance()));  // its own changes do not count
    REQUIRE(quick.record({frame_fluxes(2)}, provenance()));
    REQUIRE(quick.store(solution(2, 1, 1), provenance()).value());
    CHECK(slow.store_if_still(seen, solution(1, 1, 1), provenance()).value() == std::nullopt);
    CHECK(same(slow.newest().value(), solution(2, 1, 1)));
    const std::int64_t now = slow.data_version().value();
    CHECK(slow.store_if_still(now, solution(3, 1, 1), provenance()).value() == true);
    CHECK(slow.store_if_still(now, solution(3, 1, 1), provenance()).value() == false);
    CHECK(same(quick.newest().value(), solution(3, 1, 1)));
}
