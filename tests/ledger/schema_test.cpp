// SPDX-License-Identifier: MIT
#include "ledger/schema.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "examples.hpp"
#include "older_schema.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

constexpr int later = schema_version + 2;

std::vector<Migration> invented_steps() {
    return {{schema_version + 1,
             "ALTER TABLE exclusion ADD COLUMN moon TEXT; UPDATE exclusion SET moon = 'full'"},
            {later, "CREATE TABLE moon (phase REAL); INSERT INTO moon VALUES (0.5)"}};
}

Result<void> migrate_to(const std::string& path, const std::vector<Migration>& steps, int version) {
    return guarded(path, [&] {
        Connection connection(path, Connection::Mode::write, 1.0);
        prepare_for_writing(connection, steps, version);
    });
}

void take_back_to(const std::string& path, int version) {
    for (const std::string& statement : statements_back_to(version))
        tell(path, statement);
}

void fill(const std::string& path) {
    Ledger ledger = opened(path);
    REQUIRE(ledger.record({frame_fluxes(1), frame_fluxes(2)}, provenance()));
    REQUIRE(ledger.exclude(SetAside::night, "2026-03-01", "moon"));
}

}  // namespace

TEST_CASE("a ledger says whose it is, of which version, and keeps a write-ahead log", "[ledger][schema]") {
    const Folder folder;
    fill(folder.file());
    CHECK(ask(folder.file(), "PRAGMA application_id") == application_id);
    CHECK(ask(folder.file(), "PRAGMA user_version") == schema_version);
    CHECK(contents(folder.file())[18] ==
          2);  // the file format's mark of a write-ahead log, sqlite.org/fileformat
    Connection connection(folder.file(), Connection::Mode::write, 1.0);
    CHECK(connection.integer("PRAGMA synchronous") == 2);  // FULL
    CHECK(connection.integer("PRAGMA foreign_keys") == 1);
}

TEST_CASE("an older ledger is brought up to date, step by step, after a copy", "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    fill(path);
    const std::string copy = fmt::format("{}.version-{}", path, schema_version);
    REQUIRE(migrate_to(path, invented_steps(), later));
    CHECK(ask(path, "PRAGMA user_version") == later);
    CHECK(ask(path, "SELECT count(*) FROM exclusion WHERE moon = 'full'") == 1);
    CHECK(ask(path, "SELECT count(*) FROM frame_fluxes") == 2);
    CHECK(ask(path, "SELECT count(*) FROM moon") == 1);
    CHECK(opened(copy, Ledger::Access::read).frames().value().size() == 2);
    CHECK(opened(copy, Ledger::Access::read).exclusions().value().size() == 1);
    // A second time there is nothing to do, and no second copy.
    REQUIRE(migrate_to(path, invented_steps(), later));
    CHECK_FALSE(std::filesystem::exists(copy + "-2"));
    // This program's own version is older than that ledger now.
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
}

TEST_CASE("a ledger from before the hosts is brought up to date with all that it holds", "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    fill(path);
    // As the first version left it: without what the later ones added.
    take_back_to(path, 1);
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
    Ledger ledger = opened(path);
    CHECK(ledger.frames().value().size() == 2);
    REQUIRE(ledger.record({with_host(frame_fluxes(7), true)}, provenance()));
    CHECK(ledger.frames().value().size() == 3);
    CHECK(ask(path, "PRAGMA user_version") == schema_version);
    CHECK(ask(path, "SELECT count(*) FROM host_light") == 2);
    CHECK(std::filesystem::exists(path + ".version-1"));
}

TEST_CASE("a ledger from before the errors of place is brought up to date, its stars without any",
          "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    const auto known = frame_fluxes(1);
    {
        Ledger ledger = opened(path);
        REQUIRE(ledger.record({known, with_host(frame_fluxes(2), true)}, provenance()));
    }
    take_back_to(path, 2);
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
    Ledger ledger = opened(path);
    CHECK(std::filesystem::exists(path + ".version-2"));
    CHECK(ask(path, "PRAGMA user_version") == schema_version);
    const auto frames = ledger.frames().value();
    REQUIRE(frames.size() == 2);
    for (std::size_t i = 0; i < known.stars.size(); ++i) {
        auto expected = known.stars[i];
        expected.place_err.clear();
        CHECK(frames[0].stars[i] == expected);
    }
    CHECK(frames[1].host_lights.size() == 2);
    // What is measured from now on has them.
    REQUIRE(ledger.record({frame_fluxes(3)}, provenance()));
    CHECK(ledger.frames().value().back().stars == frame_fluxes(3).stars);
}

TEST_CASE(
    "a ledger from before the plate solutions is brought up to date, its frames solved by their headers",
    "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    const auto known = frame_fluxes(1);
    { REQUIRE(opened(path).record({known}, provenance())); }
    take_back_to(path, 3);
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
    Ledger ledger = opened(path);
    CHECK(std::filesystem::exists(path + ".version-3"));
    CHECK(ask(path, "PRAGMA user_version") == schema_version);
    auto expected = known;
    expected.plate = "header";
    expected.plate_stars = 0;
    expected.plate_rms_arcsec = 0.0;
    expected.middle_ra_deg.reset();
    expected.middle_dec_deg.reset();
    expected.stack_of.clear();
    expected.seen.reset();
    CHECK(ledger.frames().value() == std::vector<photometry::FrameFluxes>{expected});
    REQUIRE(ledger.keep_plate(kept_plate(3)));
    REQUIRE(ledger.keep_reference(field_reference(5)));
    CHECK(ledger.plate(kept_plate(3).fingerprint).value().has_value());
    CHECK(ledger.reference().value() == field_reference(5));
}

TEST_CASE("a ledger from before the reports is brought up to date, its frames without seen places",
          "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    auto known = frame_fluxes(1);
    { REQUIRE(opened(path).record({known}, provenance())); }
    take_back_to(path, 4);
    CHECK_FALSE(Ledger::open(path, Ledger::Access::read));
    Ledger ledger = opened(path);
    CHECK(std::filesystem::exists(path + ".version-4"));
    known.seen.reset();
    CHECK(ledger.frames().value() == std::vector<photometry::FrameFluxes>{known});
    CHECK(ledger.transformations().value().empty());
    CHECK(ledger.reported("network").value().empty());
    REQUIRE(ledger.record({frame_fluxes(2)}, provenance()));
    CHECK(ledger.frames().value().back().seen == frame_fluxes(2).seen);
}

TEST_CASE("a ledger brought up to date has the tables of a new one", "[ledger][schema]") {
    const Folder older, fresh;
    { CHECK(opened(older.file()).frames().value().empty()); }
    { CHECK(opened(fresh.file()).frames().value().empty()); }
    take_back_to(older.file(), 3);
    { CHECK(opened(older.file()).frames().value().empty()); }
    const char* const columns =
        "SELECT count(*) FROM sqlite_schema m JOIN pragma_table_xinfo(m.name) c WHERE m.type IN ('table', "
        "'index')";
    CHECK(ask(older.file(), columns) == ask(fresh.file(), columns));
    CHECK(ask(older.file(), "SELECT count(*) FROM sqlite_schema") ==
          ask(fresh.file(), "SELECT count(*) FROM sqlite_schema"));
}

TEST_CASE("a copy never overwrites an earlier one", "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    fill(path);
    const std::string copy = fmt::format("{}.version-{}", path, schema_version);
    write_contents(copy, "precious");
    REQUIRE(migrate_to(path, invented_steps(), later));
    CHECK(contents(copy) == "precious");
    CHECK(opened(copy + "-2", Ledger::Access::read).frames().value().size() == 2);
}

TEST_CASE("a step that fails leaves the ledger as it was", "[ledger][schema]") {
    const Folder folder;
    const std::string path = folder.file();
    fill(path);
    auto steps = invented_steps();
    steps[1].sql = "CREATE TABLE moon (phase REAL); INSERT INTO sun VALUES (1)";
    CHECK_FALSE(migrate_to(path, steps, later));
    steps[1].sql =
        "INSERT INTO star_flux SELECT 4040, position, label, ra_rad, dec_rad, x_px, y_px, position_err_px, "
        "forced, flux_e, area_px, sky_e_per_px, sky_err_e_per_px, sky_scatter_e, sky_pixels, sky_factor, "
        "sky_unevenness, peak_adu, fwhm_px, airmass, caveats, place_err FROM star_flux LIMIT 1";
    const auto orphan = migrate_to(path, steps, later);
    REQUIRE_FALSE(orphan);
    CHECK(orphan.error().what.find("points at another that is not there") != std::string::npos);
    steps.pop_back();
    const auto missing = migrate_to(path, steps, later);
    REQUIRE_FALSE(missing);
    CHECK(missing.error().what.find("never released") != std::string::npos);
    CHECK(ask(path, "PRAGMA user_version") == schema_version);
    CHECK(opened(path).frames().value().size() == 2);
    CHECK(opened(path).exclusions().value().size() == 1);
    // Nothing lies about beside it.
    for (const auto& entry : std::filesystem::directory_iterator(folder.path()))
        CHECK(entry.path().filename() == "campaign.ledger");
}

TEST_CASE("an older ledger opened for reading says how to bring it up to date", "[ledger][schema]") {
    const Folder folder;
    fill(folder.file());
    const auto read = guarded(folder.file(), [&] {
        Connection connection(folder.file(), Connection::Mode::read, 1.0);
        return ready_for_reading(connection, later);
    });
    REQUIRE_FALSE(read);
    CHECK(read.error().what.find("older version") != std::string::npos);
    CHECK(read.error().mend.find("emberline measure --again") != std::string::npos);
}

TEST_CASE("a ledger of a version before the first is refused and not copied", "[ledger][schema]") {
    const Folder folder;
    fill(folder.file());
    tell(folder.file(), "PRAGMA user_version = 0");
    const auto ledger = Ledger::open(folder.file(), Ledger::Access::write);
    REQUIRE_FALSE(ledger);
    CHECK(ledger.error().what.find("never released") != std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder.file() + ".version-0"));
}
