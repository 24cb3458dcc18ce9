// SPDX-License-Identifier: MIT
#include "ledger/ledger.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <limits>

#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;
using photometry::FrameFluxes;

TEST_CASE("every field of a frame's fluxes comes back from the file", "[ledger][fluxes]") {
    const Folder folder;
    FrameFluxes bare;  // all optional things absent, all lists empty
    bare.fingerprint = "bare";
    bare.mid_exposure = {2461100.5, 0.0, TimeScale::tt};
    FrameFluxes empty_remark = frame_fluxes(3);
    empty_remark.remarks = {""};
    empty_remark.caveats = Caveats::from_bits(~std::uint64_t{0});  // also words of a later version
    const std::vector<FrameFluxes> given{bare, frame_fluxes(1), frame_fluxes(2), empty_remark};
    {
        Ledger ledger = opened(folder.file());
        const auto recorded = ledger.record(given, provenance());
        REQUIRE(recorded);
        CHECK(*recorded == std::vector<Recorded>(4, Recorded::fresh));
    }
    const Ledger ledger = opened(folder.file(), Ledger::Access::read);
    const auto kept = ledger.frames();
    REQUIRE(kept);
    CHECK(*kept == given);
    CHECK(ledger.last_provenance().value()->settings == provenance().settings);
    CHECK(ledger.last_provenance().value()->software == provenance().software);
    CHECK(ledger.last_provenance().value()->campaign == provenance().campaign);
}

TEST_CASE("the transient's surroundings and what took its host away come back from the file",
          "[ledger][fluxes][host]") {
    const Folder folder;
    std::vector<FrameFluxes> given{frame_fluxes(1), with_host(frame_fluxes(2), true), frame_fluxes(3),
                                   with_host(frame_fluxes(4), false)};
    {
        Ledger ledger = opened(folder.file());
        REQUIRE(ledger.record(given, provenance()));
    }
    const Ledger ledger = opened(folder.file(), Ledger::Access::read);
    const auto kept = ledger.frames();
    REQUIRE(kept);
    CHECK(*kept == given);
    // Pixels of another number than their box has would be read beyond their end.
    tell(folder.file(), "UPDATE surroundings SET box_width = box_width + 1");
    const auto damaged = ledger.frames();
    REQUIRE_FALSE(damaged);
    CHECK(damaged.error().kind == ProblemKind::storage);
}

TEST_CASE("doubles come back bit by bit, the odd ones too", "[ledger][fluxes]") {
    const Folder folder;
    using limits = std::numeric_limits<double>;
    FrameFluxes frame = frame_fluxes(1);
    const std::vector<double> odd{-0.0,
                                  limits::denorm_min(),
                                  limits::min(),
                                  limits::max(),
                                  limits::lowest(),
                                  1.0 / 3.0,
                                  std::nextafter(1.0, 2.0),
                                  limits::infinity(),
                                  -limits::infinity(),
                                  std::nan("7"),
                                  9007199254740993.0};
    frame.stars[0].flux_e = odd;
    double* const scalars[] = {&frame.exposure_s,        &frame.gain_e_per_adu, &frame.read_noise_e,
                               &frame.scintillation,     &frame.flat_err,       &frame.fwhm_px,
                               &frame.elongation,        &frame.direction_deg,  &frame.rotation_deg,
                               &frame.stars[1].peak_adu, &frame.shift_x_px};
    for (std::size_t i = 0; i < odd.size(); ++i)
        *scalars[i] = odd[i];
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({frame}, provenance()));
    const FrameFluxes kept = ledger.frames().value().at(0);
    const double back[] = {kept.exposure_s,   kept.gain_e_per_adu,    kept.read_noise_e, kept.scintillation,
                           kept.flat_err,     kept.fwhm_px,           kept.elongation,   kept.direction_deg,
                           kept.rotation_deg, kept.stars[1].peak_adu, kept.shift_x_px};
    CHECK(std::memcmp(back, odd.data(), sizeof back) == 0);
    CHECK(std::memcmp(kept.stars[0].flux_e.data(), odd.data(), sizeof back) == 0);
}

TEST_CASE("the same frame with the same settings changes nothing in the file", "[ledger][fluxes]") {
    const Folder folder;
    { REQUIRE(opened(folder.file()).record({frame_fluxes(1), frame_fluxes(2)}, provenance())); }
    const std::string before = contents(folder.file());
    {
        Ledger ledger = opened(folder.file());
        FrameFluxes renamed = frame_fluxes(2);
        renamed.frame = "frames/another name.fits";
        Provenance later = provenance();
        later.software = "emberline 0.1.1";
        const auto recorded = ledger.record({frame_fluxes(1), renamed}, later);
        REQUIRE(recorded);
        CHECK(*recorded == std::vector<Recorded>(2, Recorded::unchanged));
        CHECK(ledger.has(renamed.fingerprint, renamed.plane, provenance().settings).value());
        CHECK_FALSE(ledger.has(renamed.fingerprint, renamed.plane, "others").value());
        CHECK_FALSE(ledger.has(renamed.fingerprint, renamed.plane + 1, provenance().settings).value());
        CHECK_FALSE(ledger.has("none", renamed.plane, provenance().settings).value());
        CHECK(ledger.frames().value().size() == 2);
        CHECK(contents(folder.file() + "-wal").empty());
    }
    CHECK(contents(folder.file()) == before);
}

TEST_CASE("a frame measured with other settings supersedes, and the old fluxes stay", "[ledger][fluxes]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({frame_fluxes(1), frame_fluxes(2)}, provenance("first")));
    FrameFluxes again = frame_fluxes(1);
    again.stars[0].flux_e[0] += 1.0;
    const auto recorded = ledger.record({again, frame_fluxes(5), frame_fluxes(5)}, provenance("second"));
    REQUIRE(recorded);
    CHECK(*recorded == std::vector<Recorded>{Recorded::superseding, Recorded::fresh, Recorded::unchanged});
    CHECK(ledger.frames().value() == std::vector<FrameFluxes>{again, frame_fluxes(2), frame_fluxes(5)});
    CHECK(ledger.has(again.fingerprint, again.plane, "second").value());
    CHECK_FALSE(ledger.has(again.fingerprint, again.plane, "first").value());
    CHECK(ledger.last_provenance().value()->settings == "second");
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_fluxes WHERE superseded_by = 3") == 1);
    CHECK(ask(folder.file(), "SELECT count(*) FROM star_flux WHERE frame_fluxes_id = 1") == 4);
    // Back to the first settings: measured anew, and newest again.
    CHECK(ledger.record({frame_fluxes(1)}, provenance("first")).value()[0] == Recorded::superseding);
    CHECK(ledger.frames().value()[0] == frame_fluxes(1));
    CHECK(ask(folder.file(), "SELECT count(*) FROM frame_fluxes") == 5);
}

TEST_CASE("frames come one at a time, by time, until the visitor has enough", "[ledger][fluxes]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({frame_fluxes(30), frame_fluxes(10), frame_fluxes(20)}, provenance()));
    std::vector<std::string> seen;
    REQUIRE(ledger.for_each_frame([&](const FrameFluxes& f) {
        seen.push_back(f.fingerprint);
        // The ledger may be asked, and even added to, from within.
        CHECK(ledger.has(f.fingerprint, f.plane, provenance().settings).value());
        if (seen.size() == 1) CHECK(ledger.exclude(SetAside::frame, f.frame, "cloud"));
        return seen.size() < 2;
    }));
    CHECK(seen == std::vector<std::string>{frame_fluxes(10).fingerprint, frame_fluxes(20).fingerprint});
    CHECK(ledger.exclusions().value().size() == 1);
}

TEST_CASE("a new ledger is empty and says so without a problem", "[ledger]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    CHECK(ledger.frames().value().empty());
    CHECK(ledger.exclusions().value().empty());
    CHECK(same(ledger.newest().value(), {}));
    CHECK(ledger.solutions().value() == 0);
    CHECK_FALSE(ledger.last_provenance().value().has_value());
    CHECK_FALSE(ledger.store({}, provenance()).value());
    CHECK(ledger.record({}, provenance()).value().empty());
}

TEST_CASE("what is set aside is remembered with its reason, and its end is kept", "[ledger][exclusions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.exclude(SetAside::frame, "frames/a.fits", "satellite"));
    REQUIRE(ledger.exclude(SetAside::star, "126", "variable"));
    REQUIRE(ledger.exclude(SetAside::night, "2026-03-01", "moon"));
    REQUIRE(ledger.exclude(SetAside::star, "126", "variable"));  // nothing new
    REQUIRE(ledger.exclude(SetAside::night, "126", "a night of that name is another thing"));
    auto now = ledger.exclusions().value();
    REQUIRE(now.size() == 4);
    CHECK(now[1].kind == SetAside::star);
    CHECK(now[1].key == "126");
    CHECK(now[1].reason == "variable");
    CHECK(now[1].since.size() == std::string("2026-03-01T21:04:05Z").size());
    REQUIRE(ledger.exclude(SetAside::star, "126", "eclipsing"));
    CHECK(ledger.exclusions().value().size() == 4);
    CHECK(ledger.include(SetAside::star, "126").value());
    CHECK_FALSE(ledger.include(SetAside::star, "126").value());
    CHECK_FALSE(ledger.include(SetAside::star, "999").value());
    CHECK(ledger.exclusions().value().size() == 3);
    CHECK(ask(folder.file(),
              "SELECT count(*) FROM exclusion WHERE key = '126' AND kind = 'star' "
              "AND ended_at IS NOT NULL") == 2);
    const auto unnamed = ledger.exclude(SetAside::star, "", "nothing");
    REQUIRE_FALSE(unnamed);
    CHECK(unnamed.error().kind == ProblemKind::request);
}

TEST_CASE("a frame set aside and then renamed stays set aside when it is measured again",
          "[ledger][exclusions]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    REQUIRE(ledger.record({frame_fluxes(1)}, provenance("first")));
    REQUIRE(ledger.exclude(SetAside::frame, frame_fluxes(1).frame, "satellite"));
    FrameFluxes renamed = frame_fluxes(1);
    renamed.frame = "frames/renamed.fits";
    REQUIRE(ledger.record({renamed}, provenance("second")));
    CHECK(ledger.frames().value()[0].frame == "frames/renamed.fits");
    const auto exclusions = ledger.exclusions().value();
    REQUIRE(exclusions.size() == 2);
    CHECK(exclusions[1].key == "frames/renamed.fits");
    CHECK(exclusions[1].reason == "satellite");
}
