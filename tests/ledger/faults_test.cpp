// SPDX-License-Identifier: MIT
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <csignal>
#include <filesystem>
#include <random>
#include <thread>

#include "child.hpp"
#include "examples.hpp"
#include "ledger/connection.hpp"
#include "ledger/fluxes.hpp"
#include "ledger/schema.hpp"
#include "ledger/solutions.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;
using Access = Ledger::Access;

namespace {

void check_problem(const Problem& problem, const std::string& path, const std::string& words,
                   ProblemKind kind = ProblemKind::storage) {
    INFO(one_line(problem));
    CHECK(problem.what.find(words) != std::string::npos);
    CHECK(problem.where == path);
    CHECK(problem.mend.ends_with('.'));
    CHECK(problem.kind == kind);
}

void check_refused(const std::string& path, Access access, const std::string& words,
                   ProblemKind kind = ProblemKind::storage, double wait_s = 0.05) {
    const auto ledger = Ledger::open(path, access, wait_s);
    REQUIRE_FALSE(ledger);
    check_problem(ledger.error(), path, words, kind);
}

std::string filled(const Folder& folder) {
    Ledger ledger = opened(folder.file());
    std::vector<photometry::FrameFluxes> frames;
    for (int i = 0; i < 20; ++i)
        frames.push_back(frame_fluxes(i));
    REQUIRE(ledger.record(frames, provenance()));
    REQUIRE(ledger.store(solution(20, 5, 5), provenance()));
    return folder.file();
}

// Everybody else has fewer rights than the superuser, for whom no file is read-only.
class OrdinaryUser {
  public:
    OrdinaryUser() : superuser_(::geteuid() == 0) {
        if (superuser_ && ::seteuid(65534) != 0) FAIL("cannot become an ordinary user");
    }
    ~OrdinaryUser() {
        if (superuser_ && ::seteuid(0) != 0) std::abort();
    }
    OrdinaryUser(const OrdinaryUser&) = delete;
    OrdinaryUser& operator=(const OrdinaryUser&) = delete;

  private:
    bool superuser_;
};

}  // namespace

TEST_CASE("reading where nothing was measured says to measure first", "[ledger][faults]") {
    const Folder folder;
    check_refused(folder.file(), Access::read, "nothing was measured", ProblemKind::input);
    CHECK(Ledger::open(folder.file(), Access::read).error().mend.find("emberline measure") !=
          std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder.file()));
    check_refused(folder.file("none/campaign.ledger"), Access::read, "nothing was measured",
                  ProblemKind::input);
    write_contents(folder.file(), "");  // made, and the program was cut off before anything else
    check_refused(folder.file(), Access::read, "nothing was measured", ProblemKind::input);
    CHECK(Ledger::open(folder.file(), Access::write));
}

TEST_CASE("a ledger that cannot be made says what stands in the way", "[ledger][faults]") {
    const Folder folder;
    check_refused(folder.file("none/campaign.ledger"), Access::write, "folder of the ledger does not exist");
    std::filesystem::create_directory(folder.file("a folder"));
    check_refused(folder.file("a folder"), Access::write, "a folder where the ledger should be");
    check_refused(folder.file("a folder"), Access::read, "a folder where the ledger should be");
}

TEST_CASE("a pipe or a device where the ledger should be is refused, not waited for", "[ledger][faults]") {
    const Folder folder;
    REQUIRE(::mkfifo(folder.file().c_str(), 0666) == 0);
    check_refused(folder.file(), Access::write, "is no file");
    check_refused(folder.file(), Access::read, "is no file");
    check_refused("/dev/null", Access::write, "is no file");
    check_refused("/dev/null", Access::read, "is no file");
}

TEST_CASE("names that mean something to SQLite are names of files", "[ledger][faults]") {
    const Folder folder;
    for (const char* name : {"file:odd?mode=memory#x%41", ":memory:", "a%20b?immutable=1"}) {
        const std::string path = folder.file(name);
        { REQUIRE(opened(path).record({frame_fluxes(1)}, provenance())); }
        CHECK(std::filesystem::exists(path));
        CHECK(opened(path, Access::read).frames().value().size() == 1);
    }
}

TEST_CASE("a file that is no database is refused and left alone", "[ledger][faults]") {
    const Folder folder;
    for (const std::string& bytes :
         {std::string("label,ra,dec\n126,201.3,-43.0\n"), std::string("x"), std::string(5000, '\0'),
          std::string("SQLite format 3"),
          std::string("SIMPLE  =                    T") + std::string(9000, ' ')}) {
        write_contents(folder.file(), bytes);
        check_refused(folder.file(), Access::write, "not a ledger");
        check_refused(folder.file(), Access::read, "not a ledger");
        CHECK(contents(folder.file()) == bytes);
    }
}

TEST_CASE("another program's database is refused and left alone", "[ledger][faults]") {
    const Folder folder;
    tell(folder.file(), "CREATE TABLE recipes (name TEXT); INSERT INTO recipes VALUES ('soup')");
    for (const char* owner : {"PRAGMA application_id = 0", "PRAGMA application_id = 1196444487"}) {
        tell(folder.file(), owner);
        const std::string before = contents(folder.file());
        check_refused(folder.file(), Access::write, "another program's database");
        check_refused(folder.file(), Access::read, "another program's database");
        CHECK(contents(folder.file()) == before);
    }
}

TEST_CASE("a ledger from a newer version is refused and left alone", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    tell(path, fmt::format("PRAGMA user_version = {}", schema_version + 1));
    const std::string before = contents(path);
    check_refused(path, Access::write, fmt::format("of version {}", schema_version + 1));
    check_refused(path, Access::read, fmt::format("of version {}", schema_version + 1));
    CHECK(contents(path) == before);
}

TEST_CASE("a ledger cut short is called damaged", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    const std::string whole = contents(path);
    for (const std::size_t size :
         {whole.size() / 2, whole.size() - 1, whole.size() - 4096, std::size_t{4096}}) {
        write_contents(path, whole.substr(0, size));
        INFO(size << " of " << whole.size() << " bytes");
        check_refused(path, Access::write, "damaged");
        check_refused(path, Access::read, "damaged");
    }
    write_contents(path, whole.substr(0, 200));
    CHECK_FALSE(Ledger::open(path, Access::write, 0.05));
    CHECK_FALSE(Ledger::open(path, Access::read, 0.05));
}

TEST_CASE("a ledger with scrambled bytes gives rows or a problem and never worse", "[ledger][faults]") {
    constexpr unsigned seed = 20260301;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    const Folder folder;
    const std::string path = filled(folder);
    const std::string whole = contents(path);
    int problems = 0;
    for (int round = 0; round < 150; ++round) {
        std::string bytes = whole;
        const int changes = 1 + static_cast<int>(random() % 200);
        for (int i = 0; i < changes; ++i)
            bytes[100 + random() % (bytes.size() - 100)] = static_cast<char>(random());
        write_contents(path, bytes);
        const auto ledger = Ledger::open(path, round % 2 == 0 ? Access::read : Access::write, 0.05);
        if (!ledger) {
            CHECK(ledger.error().kind == ProblemKind::storage);
            ++problems;
            continue;
        }
        const auto frames = ledger->frames();
        const auto newest = ledger->newest();
        if (!frames) check_problem(frames.error(), path, "damaged");
        if (!newest) check_problem(newest.error(), path, "damaged");
        problems += !frames || !newest ? 1 : 0;
    }
    CHECK(problems > 30);  // most scramblings reach a page that matters
}

TEST_CASE("values that no ledger holds are called damage, not believed", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    const std::string whole = contents(path);
    for (const char* sql : {"UPDATE frame_fluxes SET band = 'purple' WHERE id = 3",
                            "UPDATE frame_fluxes SET apertures = x'07' WHERE id = 3",
                            "UPDATE frame_fluxes SET plane = 99999999999 WHERE id = 3",
                            "UPDATE frame_fluxes SET mid_time_scale = 'local' WHERE id = 3",
                            "UPDATE frame_fluxes SET bjd_tdb = 'late' WHERE id = 3",
                            "UPDATE frame_fluxes SET remarks = 'no line end' WHERE id = 3",
                            "UPDATE star_flux SET flux_e = x'0102' WHERE frame_fluxes_id = 3",
                            "UPDATE star_flux SET caveats = x'ff' WHERE frame_fluxes_id = 3",
                            "ALTER TABLE star_flux DROP COLUMN sky_factor"}) {
        INFO(sql);
        write_contents(path, whole);
        tell(path, sql);
        const auto frames = opened(path, Access::read).frames();
        REQUIRE_FALSE(frames);
        check_problem(frames.error(), path, "damaged");
    }
    for (const char* sql :
         {"UPDATE frame_measurement SET common_errs_mag = x'' WHERE id = 3", "DELETE FROM name_list",
          "UPDATE night_measurement SET jd_utc = x'00' WHERE id = 3",
          "UPDATE star_verdict SET suspect = 'perhaps'", "DROP TABLE star_verdict"}) {
        INFO(sql);
        write_contents(path, whole);
        tell(path, sql);
        const auto newest = opened(path, Access::read).newest();
        REQUIRE_FALSE(newest);
        check_problem(newest.error(), path, "damaged");
    }
}

TEST_CASE("a locked ledger is waited for, and then called locked", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    Ledger ledger = opened(path, Access::write, 0.2);
    Connection other(path, Connection::Mode::write, 1.0);
    {
        const Transaction holding(other, Transaction::Kind::write);
        const auto start = std::chrono::steady_clock::now();
        check_refused(path, Access::write, "locked by another program", ProblemKind::storage, 0.2);
        const std::chrono::duration<double> waited = std::chrono::steady_clock::now() - start;
        CHECK(waited.count() > 0.15);
        CHECK(waited.count() < 10.0);
        const auto recorded = ledger.record({frame_fluxes(77)}, provenance());
        REQUIRE_FALSE(recorded);
        check_problem(recorded.error(), path, "locked by another program");
        CHECK_FALSE(ledger.store(solution(3, 1, 1), provenance()));
        CHECK_FALSE(ledger.exclude(SetAside::night, "2026-03-01", "moon"));
        // Readers never wait.
        CHECK(opened(path, Access::read, 0.0).frames().value().size() == 20);
        CHECK(ledger.frames().value().size() == 20);
    }
    CHECK(ledger.record({frame_fluxes(77)}, provenance()));
    std::thread releasing([&] {
        const Transaction holding(other, Transaction::Kind::write);
        std::this_thread::sleep_for(std::chrono::milliseconds(300));
    });
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    const auto waited = Ledger::open(path, Access::write, 20.0);
    releasing.join();
    CHECK(waited);
}

TEST_CASE("a ledger that another program holds for itself alone is not read behind its back",
          "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    tell(path, "PRAGMA journal_mode = DELETE");
    Connection other(path, Connection::Mode::write, 1.0);
    other.execute("BEGIN EXCLUSIVE");
    check_refused(path, Access::read, "locked by another program");
    check_refused(path, Access::write, "locked by another program");
    other.execute("COMMIT");
    CHECK(opened(path, Access::read).frames().value().size() == 20);
    CHECK(opened(path).frames().value().size() == 20);
}

TEST_CASE("a reader keeps its view while another program writes", "[ledger]") {
    const Folder folder;
    const std::string path = filled(folder);
    Ledger writer = opened(path);
    const Ledger reader = opened(path, Access::read);
    int seen = 0;
    REQUIRE(reader.for_each_frame([&](const photometry::FrameFluxes&) {
        if (++seen == 5) CHECK(writer.record({frame_fluxes(500), frame_fluxes(501)}, provenance()));
        return true;
    }));
    CHECK(seen == 20);
    CHECK(reader.frames().value().size() == 22);
}

TEST_CASE("a ledger opened for reading is not written to", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    const std::string before = contents(path);
    Ledger ledger = opened(path, Access::read);
    const auto recorded = ledger.record({frame_fluxes(77)}, provenance());
    REQUIRE_FALSE(recorded);
    check_problem(recorded.error(), path, "read-only");
    CHECK_FALSE(ledger.exclude(SetAside::night, "2026-03-01", "moon"));
    CHECK(contents(path) == before);
}

TEST_CASE("a read-only file is read, and refused for writing", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    ::chmod(path.c_str(), 0444);
    const OrdinaryUser ordinary;
    check_refused(path, Access::write, "read-only");
    CHECK(opened(path, Access::read).frames().value().size() == 20);
}

TEST_CASE("a read-only folder is read, and refused for writing", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    ::chmod(path.c_str(), 0666);
    ::chmod(folder.path().c_str(), 0555);
    {
        const OrdinaryUser ordinary;
        check_refused(path, Access::write, "read-only");
        check_refused(folder.file("new.ledger"), Access::write, "read-only");
        CHECK(opened(path, Access::read).frames().value().size() == 20);
        CHECK(opened(path, Access::read).newest().value().nights.size() == 5);
    }
    ::chmod(path.c_str(), 0444);
    const OrdinaryUser ordinary;
    check_refused(path, Access::write, "read-only");
    CHECK(opened(path, Access::read).frames().value().size() == 20);
}

TEST_CASE("a file nobody may read is called that", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    ::chmod(path.c_str(), 0000);
    const OrdinaryUser ordinary;
    check_refused(path, Access::write, "may not be read");
    check_refused(path, Access::read, "may not be read");
}

TEST_CASE("a full disk is a problem, and what was committed before stays", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    Connection connection(path, Connection::Mode::write, 1.0);
    connection.execute(
        fmt::format("PRAGMA max_page_count = {}", connection.integer("PRAGMA page_count") + 5));
    std::vector<photometry::FrameFluxes> many;
    for (int i = 100; i < 400; ++i)
        many.push_back(frame_fluxes(i));
    const auto recorded = guarded(path, [&] { return record_fluxes(connection, many, provenance()); });
    REQUIRE_FALSE(recorded);
    check_problem(recorded.error(), path, "disk is full");
    const auto stored =
        guarded(path, [&] { return store_solution(connection, solution(400, 5, 5), provenance()); });
    REQUIRE_FALSE(stored);
    check_problem(stored.error(), path, "disk is full");
    CHECK(connection.integer("SELECT count(*) FROM frame_fluxes") == 20);
    CHECK(newest_solution_number(connection) == 1);
    // With room again, the same connection goes on.
    connection.execute("PRAGMA max_page_count = 1073741823");
    CHECK(record_fluxes(connection, many, provenance()).size() == many.size());
    CHECK(ask(path, "SELECT count(*) FROM frame_fluxes") == 320);
}

TEST_CASE("a disk that refuses to take more is reported while the ledger stays whole", "[ledger][faults]") {
    const Folder folder;
    const std::string path = filled(folder);
    // A limit on the size of files stands for the end of the disk: both end a write in its middle.
    const auto size = std::filesystem::file_size(path);
    const int status = in_child([&] {
        std::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{size + 8192, size + 8192};
        if (::setrlimit(RLIMIT_FSIZE, &limit) != 0) return 2;
        auto ledger = Ledger::open(path, Access::write);
        if (!ledger) return 3;
        std::vector<photometry::FrameFluxes> many;
        for (int i = 100; i < 400; ++i)
            many.push_back(frame_fluxes(i));
        const auto recorded = ledger->record(many, provenance());
        if (recorded) return 4;
        if (!recorded.error().what.starts_with("The disk")) return 5;
        return ledger->frames().value().size() == 20 ? 0 : 6;
    });
    CHECK(status == 0);
    CHECK(opened(path).frames().value().size() == 20);
    CHECK(ask(path, "SELECT count(*) FROM pragma_integrity_check WHERE integrity_check = 'ok'") == 1);
}
