// SPDX-License-Identifier: MIT
#include "tasks/night_sheet.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

#include "frame/frame.hpp"
#include "night/star_residuals.hpp"
#include "picture/finder_image.hpp"
#include "quantities/delimited_table.hpp"
#include "rehearsal/rehearse.hpp"
#include "tasks/measured_campaign.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using Catch::StartsWith;

namespace {

class Measured : public MeasuredCampaign {
  public:
    using MeasuredCampaign::MeasuredCampaign;
    [[nodiscard]] std::string page(const tasks::NightSheetRequest& request,
                                   tasks::NightSheetOutcome* outcome = nullptr) const {
        auto made = tasks::night_sheet(workspace(), request);
        if (!made) FAIL(one_line(made.error()));
        if (outcome != nullptr) *outcome = *made;
        return read_text_file(made->files.front()).value();
    }
};

rehearsal::RehearsalOptions small(std::vector<std::string> bands) {
    rehearsal::RehearsalOptions options;
    options.nights = 2;
    options.frames = 2;
    options.bands = std::move(bands);
    options.host = false;
    options.comparison_stars = 6;
    return options;
}

}  // namespace

TEST_CASE("a night's page is gathered from the ledger and its best frame, and the finder has north up",
          "[night-sheet]") {
    rehearsal::RehearsalOptions options = small({"B", "V"});
    options.field.camera_angle_deg = 200.0;
    options.field.mirrored = true;
    const Measured campaign(options);
    const tasks::Workspace workspace = campaign.workspace();
    tasks::NightSheetOutcome outcome;
    const std::string html = campaign.page({.night = "2024-03-14", .pdf = true}, &outcome);
    CHECK(outcome.night == "2024-03-14");
    CHECK(outcome.remarks.empty());
    REQUIRE(outcome.files == std::vector<std::string>{campaign.path("out/night_2024-03-14.html"),
                                                      campaign.path("out/night_2024-03-14.pdf")});
    CHECK(read_text_file(outcome.files[1])->starts_with("%PDF-"));

    const auto ledger = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
    REQUIRE(ledger);
    const auto solution = ledger->newest();
    const auto frames = ledger->frames();
    REQUIRE(solution);
    REQUIRE(frames);
    for (const night::NightMeasurement& m : solution->nights) {
        if (m.night != "2024-03-14") continue;
        CHECK_THAT(html, Contains(fmt::format("{:.3f} <small>±", *m.magnitude_mag)));
        // The check star is in the table as the ledger has it: no other zero point, no other colour term.
        for (const night::StarResidual& r :
             night::night_residuals(*frames, *solution, workspace.sequence, m)) {
            if (r.label == m.check.label)
                CHECK(r.residual_mag == Approx(*m.check.residual_mag).margin(0.002));
        }
    }
    CHECK_THAT(html, Contains(frames->front().fingerprint.substr(0, 10)) &&
                         Contains("solution 1 of campaign.ledger"));
    CHECK_THAT(html, Contains("frames/2024-03-14/") && !Contains("frames/2024-03-18/"));

    // The brightest comparison star is black where the catalogue has it, seen with north up and east left,
    // and the sky is pale where it would be were east right or north down.
    const photometry::FrameFluxes& f = frames->front();
    const auto map = picture::FieldMap::of(f);
    const auto opened = frame::open_frames(workspace.campaign.path(f.frame), workspace.campaign.instruments);
    REQUIRE(map);
    REQUIRE(opened);
    constexpr double half = 150.0;
    const auto pictures = picture::field_pictures(opened->front(), *map, half, 20.0);
    REQUIRE(pictures);
    const auto darkest = [&](double east, double north) {
        const picture::GreyPicture& p = pictures->field;
        int least = 255;
        for (int dy = -3; dy <= 3; ++dy) {
            for (int dx = -3; dx <= 3; ++dx) {
                const int x = static_cast<int>((half - east) / (2.0 * half) * p.width) + dx,
                          y = static_cast<int>((half - north) / (2.0 * half) * p.height) + dy;
                if (x < 0 || y < 0 || x >= p.width || y >= p.height) continue;
                least = std::min(least, static_cast<int>(p.grey[static_cast<std::size_t>(y * p.width + x)]));
            }
        }
        return least;
    };
    int seen = 0, mirrored_seen = 0;
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        const SkyOffset away = offset(workspace.campaign.position, star.position);
        const double e = away.east.arcseconds(), n = away.north.arcseconds();
        if (std::max(std::abs(e), std::abs(n)) > 0.95 * half || f.find(star.label) == nullptr) continue;
        ++seen;
        CHECK(darkest(e, n) < 90);
        mirrored_seen += darkest(-e, n) < 90 ? 1 : 0;
        mirrored_seen += darkest(e, -n) < 90 ? 1 : 0;
    }
    CHECK(seen >= 3);
    CHECK(mirrored_seen <= seen / 2);
    CHECK(darkest(0.0, 0.0) < 90);
}

TEST_CASE("a page without frames, without a host, of limits, or of one frame says so and stands",
          "[night-sheet]") {
    rehearsal::RehearsalOptions options = small({"V"});
    options.frames = 1;
    options.peak_mag = 22.0;
    const Measured campaign(options);
    CHECK_THAT(campaign.page({}), Contains("fainter than") && Contains("single-frame") && Contains("<image"));
    std::filesystem::remove_all(campaign.path("frames"));
    tasks::NightSheetOutcome outcome;
    const std::string html = campaign.page({.night = "2024-03-18"}, &outcome);
    CHECK_THAT(html, Contains("not at hand any more") && !Contains("<image"));
    REQUIRE(outcome.remarks.size() >= 1);
    CHECK_THAT(outcome.remarks.back(), Contains("not at hand any more"));
}

TEST_CASE("a night's frame that holds something else by now is not shown", "[night-sheet]") {
    const Measured campaign(small({"V"}));
    for (const auto& file : std::filesystem::recursive_directory_iterator(campaign.path("frames"))) {
        if (!file.is_regular_file()) continue;
        std::fstream frame(file.path(), std::ios::in | std::ios::out | std::ios::binary);
        frame.seekp(2880 * 3);
        frame << "overwritten";
    }
    CHECK_THAT(campaign.page({}), Contains("something else") && !Contains("<image"));
}

TEST_CASE("each colour of a mosaic has its number on the night's page", "[night-sheet]") {
    rehearsal::RehearsalOptions options = small({});
    options.pattern = "GRBG";
    const Measured campaign(options);
    const std::string html = campaign.page({});
    CHECK_THAT(html,
               Contains(">TB</h3>") && Contains(">TG</h3>") && Contains(">TR</h3>") && Contains("<image"));
}

TEST_CASE("a night that was not measured, and a file of another kind, are refused", "[night-sheet]") {
    const Measured campaign(small({"V"}));
    const auto absent = tasks::night_sheet(campaign.workspace(), {.night = "2024-05-01"});
    REQUIRE_FALSE(absent);
    CHECK(absent.error().kind == ProblemKind::request);
    CHECK_THAT(absent.error().mend, Contains("2024-03-14, 2024-03-18"));
    const auto kind = tasks::night_sheet(campaign.workspace(), {.file = campaign.path("night.txt")});
    REQUIRE_FALSE(kind);
    CHECK(kind.error().kind == ProblemKind::request);
    CHECK_FALSE(std::filesystem::exists(campaign.path("night.txt")));
    const auto nowhere =
        tasks::night_sheet(campaign.workspace(), {.file = campaign.path("no/such/folder.html")});
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
    tasks::NightSheetOutcome outcome;
    CHECK_THAT(campaign.page({.file = campaign.path("mine.pdf")}, &outcome), StartsWith("%PDF-"));
}
