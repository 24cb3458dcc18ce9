// SPDX-License-Identifier: MIT
// How long a ledger takes, and that a large one is not read whole. Times are reported; only bounds that a
// slow disk keeps as well are asserted.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <filesystem>

#include "examples.hpp"
#include "ledger/connection.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

double seconds_of(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

TEST_CASE("the queries that walk over a ledger use its indexes and sort nothing", "[ledger][size]") {
    const Folder folder;
    { REQUIRE(opened(folder.file()).record({frame_fluxes(1)}, provenance())); }
    Connection connection(folder.file(), Connection::Mode::read, 1.0);
    const auto plan = [&](const std::string& sql) {
        Statement explain(connection, "EXPLAIN QUERY PLAN " + sql);
        std::string steps;
        while (explain.step())
            steps += explain.text(3) + "; ";
        return steps;
    };
    const std::string one = plan(
        "SELECT 1 FROM frame_fluxes f JOIN provenance p ON p.id = f.provenance_id "
        "WHERE f.fingerprint = ? AND f.plane = ? AND f.superseded_by IS NULL AND p.settings = ?");
    CHECK(one.find("current_frame (fingerprint=? AND plane=?)") != std::string::npos);
    CHECK(one.find("SCAN") == std::string::npos);
    const std::string by_time = plan(
        "SELECT f.night, s.label FROM frame_fluxes f LEFT JOIN star_flux s ON s.frame_fluxes_id = f.id "
        "WHERE f.superseded_by IS NULL ORDER BY f.mid_jd_day + f.mid_jd_fraction, f.id, s.position");
    INFO(by_time);
    CHECK(by_time.find("current_frame_by_time") != std::string::npos);
    CHECK(by_time.find("TEMP B-TREE FOR ORDER BY") == std::string::npos);
    for (const char* table : {"frame_measurement", "night_measurement"}) {
        const std::string walk = plan(
            fmt::format("SELECT * FROM {} WHERE last_solution IS NULL ORDER BY jd_utc, position", table));
        INFO(walk);
        CHECK(walk.find(std::string("current_") + table) != std::string::npos);
        CHECK(walk.find("TEMP B-TREE") == std::string::npos);
    }
}

TEST_CASE("a thousand frames of 13 stars and 18 apertures", "[ledger][size][.long]") {
    const Folder folder;
    constexpr int nights = 20;
    constexpr int each = 50;
    std::vector<std::vector<photometry::FrameFluxes>> campaign(nights);
    for (int i = 0; i < nights * each; ++i)
        campaign[static_cast<std::size_t>(i / each)].push_back(frame_fluxes(i, 13, 18));
    Ledger ledger = opened(folder.file());
    const double record_s = seconds_of([&] {
        for (const auto& night : campaign)
            REQUIRE(ledger.record(night, provenance()));
    });
    const double again_s = seconds_of([&] {
        for (const auto& night : campaign)
            REQUIRE(ledger.record(night, provenance()));
    });
    const double has_s = seconds_of([&] {
        for (const auto& night : campaign) {
            for (const auto& f : night)
                REQUIRE(ledger.has(f.fingerprint, f.plane, provenance().settings).value());
        }
    });
    const double read_s = seconds_of([&] { REQUIRE(ledger.frames().value().size() == nights * each); });
    const Solution solved = solution(nights * each, nights, 13);
    const double store_s = seconds_of([&] { REQUIRE(ledger.store(solved, provenance()).value()); });
    const double store_again_s =
        seconds_of([&] { REQUIRE_FALSE(ledger.store(solved, provenance()).value()); });
    const double newest_s = seconds_of([&] { REQUIRE(ledger.newest()); });
    WARN(fmt::format(
        "ms a frame: record {:.3f}, record again {:.3f}, has {:.4f}, read {:.3f}, store {:.3f}, store "
        "again {:.3f}, newest {:.3f}; file {:.1f} MB",
        record_s, again_s, has_s, read_s, store_s, store_again_s, newest_s,
        static_cast<double>(std::filesystem::file_size(folder.file())) / 1e6));
    CHECK(record_s < 1.0 * 5);  // goal 1 ms a frame; five for a slow disk
}

TEST_CASE("a ledger of a million frame measurements is opened and added to without being read whole",
          "[ledger][size][.long]") {
    const Folder folder;
    const std::string path = folder.file();
    {
        Ledger ledger = opened(path);
        REQUIRE(ledger.record({frame_fluxes(1)}, provenance()));
        REQUIRE(ledger.store(solution(1, 1, 1), provenance()));
    }
    std::string columns;
    {
        Connection connection(path, Connection::Mode::read, 1.0);
        Statement names(connection,
                        "SELECT group_concat(name) FROM pragma_table_info('frame_measurement') "
                        "WHERE name NOT IN ('id', 'position', 'jd_utc', 'fingerprint')");
        REQUIRE(names.step());
        columns = names.text(0);
    }
    tell(path,
         fmt::format("WITH RECURSIVE n (i) AS (VALUES (2) UNION ALL SELECT i + 1 FROM n WHERE i < 1000000) "
                     "INSERT INTO frame_measurement (id, position, jd_utc, fingerprint, {0}) "
                     "SELECT i, i, 2461000.0 + i / 5000.0, printf('%064x', i), {0} "
                     "FROM n, frame_measurement WHERE frame_measurement.id = 1",
                     columns));
    std::optional<Ledger> ledger;
    const double open_s = seconds_of([&] { ledger = opened(path); });
    const double append_s = seconds_of([&] { REQUIRE(ledger->record({frame_fluxes(2)}, provenance())); });
    const double first_s = seconds_of([&] {
        REQUIRE(ledger->for_each_frame_measurement([](const night::FrameMeasurement&) { return false; }));
    });
    int seen = 0;
    const double all_s = seconds_of([&] {
        REQUIRE(
            ledger->for_each_frame_measurement([&](const night::FrameMeasurement&) { return ++seen > 0; }));
    });
    CHECK(seen == 1000000);
    WARN(fmt::format(
        "{:.0f} MB: open {:.4f} s, append a frame {:.4f} s, first row {:.5f} s, all rows {:.2f} s",
        static_cast<double>(std::filesystem::file_size(path)) / 1e6, open_s, append_s, first_s, all_s));
    // A thousandth of a whole reading would be fair; the disk's own slowness is left room.
    CHECK(open_s < 0.1 * all_s);
    CHECK(append_s < 0.1 * all_s);
    CHECK(first_s < 0.1 * all_s);
}
