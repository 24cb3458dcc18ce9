// SPDX-License-Identifier: MIT
// Lists of frames say what the fluxes and the newest solution say of each.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <limits>

#include "examples.hpp"

using namespace emberline;
using namespace emberline::ledger;
using namespace emberline::ledger::testing;

namespace {

// Twelve frames of two nights in two bands; the depth grows with the number, and one has none.
struct Campaign {
    std::vector<photometry::FrameFluxes> fluxes;
    Solution solved;
};

Campaign two_nights() {
    Campaign made{{}, solution(12, 2, 3)};
    for (int i = 0; i < 12; ++i) {
        photometry::FrameFluxes f = frame_fluxes(i);
        night::FrameMeasurement& m = made.solved.frames[static_cast<std::size_t>(i)];
        f.night = m.night = i < 6 ? "2026-03-01" : "2026-03-02";
        f.band = m.band = band(i % 2 == 0 ? "V" : "B");
        f.fingerprint = m.fingerprint;
        f.plane = m.plane;
        f.frame = m.frame;
        f.fwhm_px = 3.0 + 0.1 * i;
        f.scale_arcsec_per_px = 0.5 + 0.01 * i;
        m.jd_utc = 2461100.5 + i;
        m.used = i % 6 != 5;
        m.limit_mag = 18.0 + 0.1 * i;
        made.fluxes.push_back(std::move(f));
    }
    made.solved.frames[2].limit_mag = std::numeric_limits<double>::quiet_NaN();
    made.solved.frames[4].limit_mag = std::nullopt;
    return made;
}

}  // namespace

TEST_CASE("a night's frames are listed by time with what became of each", "[ledger][frame-list]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    CHECK(ledger.list_of("2026-03-01").value().empty());
    CHECK(ledger.deepest_frames().value().empty());
    const Campaign campaign = two_nights();
    REQUIRE(ledger.record(campaign.fluxes, provenance()));
    CHECK(ledger.list_of("2026-03-01").value().empty());  // nothing is solved yet
    REQUIRE(ledger.store(campaign.solved, provenance()));
    const auto listed = ledger.list_of("2026-03-02").value();
    REQUIRE(listed.size() == 6);
    for (std::size_t k = 0; k < listed.size(); ++k) {
        const ListedFrame& one = listed[k];
        const night::FrameMeasurement& m = campaign.solved.frames[k + 6];
        const photometry::FrameFluxes& f = campaign.fluxes[k + 6];
        CHECK(one == ListedFrame{.fingerprint = m.fingerprint,
                                 .plane = m.plane,
                                 .frame = m.frame,
                                 .night = "2026-03-02",
                                 .band = m.band,
                                 .instrument = m.instrument,
                                 .jd_utc = m.jd_utc,
                                 .exposure_s = m.exposure_s,
                                 .used = m.used,
                                 .reason = m.reason,
                                 .fwhm_arcsec = f.fwhm_px * f.scale_arcsec_per_px});
    }
    CHECK(ledger.list_of("2026-03-03").value().empty());
}

TEST_CASE("the deepest frame of each night and band; neither a refused one nor one without a depth",
          "[ledger][frame-list]") {
    const Folder folder;
    Ledger ledger = opened(folder.file());
    const Campaign campaign = two_nights();
    REQUIRE(ledger.record(campaign.fluxes, provenance()));
    REQUIRE(ledger.store(campaign.solved, provenance()));
    const auto deepest = ledger.deepest_frames().value();
    std::vector<std::string> frames;
    for (const ListedFrame& one : deepest)
        frames.push_back(one.frame);
    // Of V on the first night 2 and 4 have no depth, which leaves 0; of B 5 and 11 are not used.
    CHECK(frames == std::vector<std::string>{"frames/00000.fits", "frames/00003.fits", "frames/00009.fits",
                                             "frames/00010.fits"});
    CHECK(deepest.front().band == band("V"));
}
