// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "child.hpp"
#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;
using photometry::FrameFluxes;

namespace {

FrameFluxes named(int number, const std::string& name, int plane = 0) {
    FrameFluxes frame = frame_fluxes(number);
    frame.frame = name;
    frame.plane = plane;
    return frame;
}

std::vector<std::string> prints(const Ledger& ledger) {
    std::vector<std::string> found;
    const auto frames = ledger.frames().value();
    for (const FrameFluxes& frame : frames)
        found.push_back(frame.fingerprint);
    return found;
}

}  // namespace

TEST_CASE("a file that was overwritten supersedes what it held before, which stays as history",
          "[ledger][names]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({named(1, "frames/a.fits"), named(2, "frames/b.fits")}, provenance()));
    const auto recorded = ledger.record({named(3, "frames/a.fits")}, provenance());
    REQUIRE(recorded);
    CHECK(*recorded == std::vector<Recorded>{Recorded::superseding});
    CHECK(prints(ledger) ==
          std::vector<std::string>{frame_fluxes(2).fingerprint, frame_fluxes(3).fingerprint});
    CHECK_FALSE(ledger.has(frame_fluxes(1).fingerprint, 0, provenance().settings).value());
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_fluxes WHERE superseded_by = 3") == 1);
    CHECK(ask(folder.file(), "SELECT count(*) FROM star_flux WHERE frame_fluxes_id = 1") == 4);
    // The former exposure comes back: measured again, and current again.
    CHECK(ledger.record({named(1, "frames/a.fits")}, provenance()).value()[0] == Recorded::superseding);
    CHECK(prints(ledger) ==
          std::vector<std::string>{frame_fluxes(1).fingerprint, frame_fluxes(2).fingerprint});
}

TEST_CASE("the same name on another night is another exposure", "[ledger][names]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    FrameFluxes next = named(2, "frames/a.fits");
    next.night = "2026-03-02";
    REQUIRE(ledger.record({named(1, "frames/a.fits")}, provenance()));
    CHECK(ledger.record({next}, provenance()).value()[0] == Recorded::fresh);
    CHECK(ledger.frames().value().size() == 2);
}

TEST_CASE("of a colour file that is overwritten by a plain one no plane stays", "[ledger][names]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    const std::string name = "frames/colour.fits";
    REQUIRE(ledger.record({named(1, name, 0), named(1, name, 1), named(1, name, 2)}, provenance()));
    REQUIRE(ledger.record({named(2, name, 0)}, provenance()));
    CHECK(prints(ledger) == std::vector<std::string>{frame_fluxes(2).fingerprint});
    // And the other way round; each plane finds its own predecessor.
    const auto back =
        ledger.record({named(1, name, 0), named(1, name, 1), named(1, name, 2)}, provenance()).value();
    CHECK(back == std::vector<Recorded>{Recorded::superseding, Recorded::fresh, Recorded::fresh});
    const auto again =
        ledger.record({named(3, name, 0), named(3, name, 1), named(3, name, 2)}, provenance()).value();
    CHECK(again == std::vector<Recorded>(3, Recorded::superseding));
    CHECK(ledger.frames().value().size() == 3);
}

TEST_CASE("a file under a new name keeps its fluxes, its former name and its exclusion", "[ledger][names]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({named(1, "frames/a.fits", 0), named(1, "frames/a.fits", 1)}, provenance()));
    REQUIRE(ledger.exclude(SetAside::frame, "frames/a.fits", "satellite"));
    const std::string print = frame_fluxes(1).fingerprint;
    CHECK(ledger.name_of(print).value() == "frames/a.fits");
    CHECK_FALSE(ledger.name_of("none").value().has_value());
    CHECK(ledger.rename({{print, "frames/night/a.fits"}, {"none", "frames/x.fits"}}).value() == 1);
    CHECK(ledger.rename({{print, "frames/night/a.fits"}}).value() == 0);
    CHECK(ledger.name_of(print).value() == "frames/night/a.fits");
    const auto frames = ledger.frames().value();
    REQUIRE(frames.size() == 2);
    CHECK(frames[0] == named(1, "frames/night/a.fits", 0));
    CHECK(frames[1].frame == "frames/night/a.fits");
    CHECK(ask(folder.file(), "SELECT count(*) FROM former_frame_name WHERE frame = 'frames/a.fits'") == 1);
    const auto exclusions = ledger.exclusions().value();
    REQUIRE(exclusions.size() == 2);
    CHECK(exclusions[1].key == "frames/night/a.fits");
    CHECK(exclusions[1].reason == "satellite");
}

TEST_CASE("a file that takes another's name supersedes it, and files that change names do not",
          "[ledger][names]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    const std::string a = frame_fluxes(1).fingerprint, b = frame_fluxes(2).fingerprint;
    REQUIRE(ledger.record({named(1, "a.fits"), named(2, "b.fits")}, provenance()));
    CHECK(ledger.rename({{a, "b.fits"}, {b, "a.fits"}}).value() == 2);
    CHECK(ledger.name_of(a).value() == "b.fits");
    CHECK(ledger.name_of(b).value() == "a.fits");
    CHECK(ledger.frames().value().size() == 2);
    CHECK(ledger.rename({{a, "a.fits"}}).value() == 1);
    CHECK(prints(ledger) == std::vector<std::string>{a});
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_fluxes") == 2);
    CHECK(ask(folder.file(), "SELECT count(*) FROM pragma_foreign_key_check") == 0);
}

TEST_CASE("killed while files are renamed, the ledger has all of the names or none", "[ledger][survival]") {
    constexpr int files = 40;
    for (int round = 0; round < 6; ++round) {
        const Folder folder;
        std::vector<FrameFluxes> frames;
        std::vector<Renamed> renamed;
        for (int i = 0; i < files; ++i) {
            frames.push_back(named(i, "old/" + std::to_string(i)));
            renamed.push_back({frames.back().fingerprint, "new/" + std::to_string(i)});
        }
        { REQUIRE(opened(folder.file()).record(frames, provenance())); }
        const pid_t child = start_child([&] {
            Ledger ledger = opened(folder.file());
            return ledger.rename(renamed) ? 0 : 1;
        });
        ::usleep(static_cast<useconds_t>(500 * round));
        ::kill(child, SIGKILL);
        wait_for(child);
        CHECK(opened(folder.file()).frames().value().size() == files);
        const auto moved = ask(folder.file(), "SELECT count(*) FROM frame_fluxes WHERE frame LIKE 'new/%'");
        const auto kept = ask(folder.file(), "SELECT count(*) FROM former_frame_name");
        CHECK((moved == 0 || moved == files));
        CHECK(kept == moved);
    }
}
