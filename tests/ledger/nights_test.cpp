// SPDX-License-Identifier: MIT
// One night asked of the ledger is what the whole ledger says of it, and no other night is read for it.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>

#include "examples.hpp"
#include "ledger/connection.hpp"
#include "ledger/solution_rows.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

std::string date(int number) {
    return fmt::format("2026-03-{:02d}", number);
}

// Frames of three nights, 5 a night, in one band or the other; the last of a night is not used.
Solution three_nights() {
    Solution given = solution(15, 3, 4);
    for (std::size_t i = 0; i < given.frames.size(); ++i) {
        given.frames[i].night = date(1 + static_cast<int>(i) / 5);
        given.frames[i].band = band(i % 2 == 0 ? "V" : "B");
        given.frames[i].used = i % 5 != 4;
    }
    for (std::size_t i = 0; i < given.nights.size(); ++i)
        given.nights[i].night = date(1 + static_cast<int>(i));
    return given;
}

photometry::FrameFluxes flux_of(int number, const std::string& night) {
    photometry::FrameFluxes f = frame_fluxes(number);
    f.night = night;
    return f;
}

std::string plan_of(Connection& connection, const std::string& sql) {
    Statement explain(connection, "EXPLAIN QUERY PLAN " + sql);
    std::string steps;
    while (explain.step())
        steps += explain.text(3) + "; ";
    return steps;
}

}  // namespace

TEST_CASE("an empty ledger has no nights", "[ledger][nights]") {
    const Folder folder;
    const Ledger ledger = opened(folder.file());
    CHECK(ledger.nights().value().empty());
    CHECK_FALSE(ledger.newest_night().value());
    CHECK(ledger.frames_of(date(1)).value().empty());
    CHECK(ledger.newest_of(date(1)).value() == Solution{});
    CHECK(ledger.night_measurements().value().empty());
    CHECK(ledger.star_verdicts().value().empty());
}

TEST_CASE("nights are counted by date, with their bands and the frames in use", "[ledger][nights]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    Solution given = three_nights();
    for (auto& frame : given.frames) {
        if (frame.night == date(2)) frame.band = band("V");
    }
    REQUIRE(ledger.store(given, provenance()).value());
    const std::vector<NightCount> expected = {{date(1), {band("B"), band("V")}, 5, 4},
                                              {date(2), {band("V")}, 5, 4},
                                              {date(3), {band("B"), band("V")}, 5, 4}};
    CHECK(ledger.nights().value() == expected);
    CHECK(ledger.newest_night().value() == date(3));
}

TEST_CASE("one night of the newest solution is what the whole of it has", "[ledger][nights]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    Solution given = three_nights();
    REQUIRE(ledger.store(given, provenance()).value());
    // Another solution: what it changed counts, what it left is valid still.
    given.frames[6].magnitude_mag = 15.125;
    given.nights[1].chi2 = 7.0;
    given.stars[0].why = "Varies.";
    std::swap(given.frames[7], given.frames[8]);
    REQUIRE(ledger.store(given, provenance()).value());
    const Solution whole = ledger.newest().value();
    for (int n = 1; n <= 3; ++n) {
        Solution expected = whole;
        std::erase_if(expected.frames, [&](const auto& f) { return f.night != date(n); });
        std::erase_if(expected.nights, [&](const auto& m) { return m.night != date(n); });
        REQUIRE(expected.frames.size() == 5);
        CHECK(same(ledger.newest_of(date(n)).value(), expected));
    }
    CHECK(ledger.night_measurements().value() == whole.nights);
    CHECK(ledger.star_verdicts().value() == whole.stars);
    CHECK(ledger.newest_of("2026-04-01").value().frames.empty());
}

TEST_CASE("a night that a newer solution no longer has is no night", "[ledger][nights]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    Solution given = three_nights();
    REQUIRE(ledger.store(given, provenance()).value());
    std::erase_if(given.frames, [](const auto& f) { return f.night == date(3); });
    REQUIRE(ledger.store(given, provenance()).value());
    CHECK(ledger.newest_night().value() == date(2));
    CHECK(ledger.nights().value().size() == 2);
}

TEST_CASE("the fluxes of one night are the current ones, by time", "[ledger][nights]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    const auto early = flux_of(1, date(1)), later = flux_of(2, date(2)), latest = flux_of(3, date(2));
    REQUIRE(ledger.record({latest, with_host(later, true), early}, provenance()));
    auto again = flux_of(3, date(2));
    again.fwhm_px += 1.0;
    REQUIRE(ledger.record({again}, provenance("others")));
    std::vector<photometry::FrameFluxes> expected = ledger.frames().value();
    std::erase_if(expected, [](const auto& f) { return f.night != date(2); });
    REQUIRE(expected.size() == 2);
    CHECK(expected.back().fwhm_px == again.fwhm_px);
    CHECK(ledger.frames_of(date(2)).value() == expected);
    CHECK(ledger.frames_of(date(1)).value() == std::vector<photometry::FrameFluxes>{early});
}

TEST_CASE("the questions about one night search its index", "[ledger][nights]") {
    const Folder folder;
    { REQUIRE(opened(folder.file()).store(three_nights(), provenance()).value()); }
    Connection connection(folder.file(), Connection::Mode::read, 1.0);
    const std::string counted =
        plan_of(connection,
                "SELECT night, band, count(*), sum(used) FROM frame_measurement "
                "WHERE last_solution IS NULL GROUP BY night, band ORDER BY night, band");
    INFO(counted);
    CHECK(counted.find("COVERING INDEX current_frame_measurement_of_night") != std::string::npos);
    CHECK(counted.find("TEMP B-TREE") == std::string::npos);
    const std::string newest =
        plan_of(connection, "SELECT max(night) FROM frame_measurement WHERE last_solution IS NULL");
    INFO(newest);
    CHECK(newest.find("SEARCH") != std::string::npos);
    CHECK(newest.find("current_frame_measurement_of_night") != std::string::npos);
    for (const std::string table : {"frame_measurement", "night_measurement"}) {
        const std::string one = plan_of(
            connection,
            fmt::format("SELECT {} FROM {} WHERE last_solution IS NULL AND night = ? ORDER BY position",
                        table == "frame_measurement" ? column_names<FrameMeasurement>().list()
                                                     : column_names<NightMeasurement>().list(),
                        table));
        INFO(one);
        CHECK(one.find(fmt::format("SEARCH {0} USING INDEX current_{0}_of_night (night=?)", table)) !=
              std::string::npos);
    }
    const std::string fluxes = plan_of(
        connection,
        "SELECT f.frame, s.label FROM frame_fluxes f LEFT JOIN star_flux s ON s.frame_fluxes_id = f.id "
        "WHERE f.superseded_by IS NULL AND f.night = ? "
        "ORDER BY f.mid_jd_day + f.mid_jd_fraction, f.id, s.position");
    INFO(fluxes);
    CHECK(fluxes.find("SEARCH f USING INDEX current_frame_of_night (night=?)") != std::string::npos);
    CHECK(fluxes.find("TEMP B-TREE FOR ORDER BY") == std::string::npos);
}

TEST_CASE("a ledger from before the nights' indexes is brought up to date", "[ledger][nights][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    { REQUIRE(opened(path).store(three_nights(), provenance()).value()); }
    for (const char* index : {"current_frame_of_night", "current_frame_measurement_of_night",
                              "current_night_measurement_of_night"})
        tell(path, fmt::format("DROP INDEX {}", index));
    tell(path, "PRAGMA user_version = 5");
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
    CHECK(opened(path).nights().value().size() == 3);
    CHECK(ask(path, "PRAGMA user_version") == schema_version);
    CHECK(opened(path, Ledger::Access::read).newest_night().value() == date(3));
}

TEST_CASE("a ledger tells that another has changed it, and not what it changed itself", "[ledger][nights]") {
    const Folder folder;
    Ledger writer = opened(folder.file());
    const Ledger reader = opened(folder.file(), Ledger::Access::read);
    const std::int64_t before = reader.data_version().value();
    CHECK(reader.data_version().value() == before);
    const std::int64_t own = writer.data_version().value();
    REQUIRE(writer.exclude(SetAside::night, date(1), "moon"));
    CHECK(reader.data_version().value() != before);
    CHECK(writer.data_version().value() == own);
    const std::int64_t after = reader.data_version().value();
    CHECK(reader.nights().value().empty());
    CHECK(reader.data_version().value() == after);
}
