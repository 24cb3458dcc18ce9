// SPDX-License-Identifier: MIT
#include "tasks/star_course.hpp"

#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numeric>

#include "numerics/robust.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "tasks/documents.hpp"
#include "tasks/measured_campaign.hpp"
#include "tasks/set_aside.hpp"
#include "watched.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

constexpr double wrong_mag = 0.25;  // table − truth of one star

const MeasuredCampaign& campaign() {
    static const MeasuredCampaign made = [] {
        rehearsal::RehearsalOptions options;
        options.host = false;
        options.nights = 3;
        options.frames = 3;
        options.bands = {"B", "V"};
        options.comparison_stars = 7;
        options.stars.wrong_mag = wrong_mag;
        return MeasuredCampaign(options);
    }();
    return made;
}

// label,band,true_mag,catalogue_mag,catalogue_err
std::map<std::pair<std::string, std::string>, double> truth_less_table() {
    std::map<std::pair<std::string, std::string>, double> out;
    std::istringstream lines(read_text_file(campaign().path("truth_stars.csv")).value());
    std::string line;
    std::getline(lines, line);
    while (std::getline(lines, line)) {
        std::istringstream cells(line);
        std::string label, band, true_mag, table_mag;
        std::getline(cells, label, ',');
        std::getline(cells, band, ',');
        std::getline(cells, true_mag, ',');
        std::getline(cells, table_mag, ',');
        out[{label, band}] = *parse_number(true_mag) - *parse_number(table_mag);
    }
    return out;
}

}  // namespace

TEST_CASE("the stars' course shows what each catalogue magnitude is wrong by, night by night", "[stars]") {
    const tasks::Workspace workspace = campaign().workspace();
    const ledger::Ledger ledger = campaign().ledger();
    const auto courses = tasks::star_courses(workspace, ledger);
    REQUIRE(courses);
    CHECK(courses->nights == std::vector<std::string>{"2024-03-14", "2024-03-18", "2024-03-22"});
    CHECK(courses->frames.size() == 18);
    REQUIRE(courses->stars.size() == workspace.sequence.stars.size());
    const auto truth = truth_less_table();
    for (const std::size_t b : {std::size_t{0}, std::size_t{1}}) {
        const std::string band = b == 0 ? "B" : "V";
        for (std::size_t n = 0; n < 3; ++n) {
            // The zero point is the stars' mean magnitude, so that what is wrong on the whole shifts all
            // residuals alike: the truth is met about the middle of them.
            std::vector<double> misses, errs;
            double largest = 0.0;
            for (const tasks::StarCourse& star : courses->stars) {
                REQUIRE(star.bands.size() == 2);
                REQUIRE(star.bands[b].band.name() == band);
                REQUIRE(star.bands[b].nights.size() == 3);
                const tasks::StarNight& night = star.bands[b].nights[n];
                CHECK(night.mean.frames == 3);
                misses.push_back(night.mean.residual_mag - truth.at({star.star.label, band}));
                errs.push_back(night.mean.err_mag);
                largest = std::max(largest, std::abs(night.mean.residual_mag));
            }
            CHECK(largest == Approx(wrong_mag).margin(0.12));  // three catalogue errors and the mean's
            const double middle = numerics::median(misses);
            double chi2 = 0.0;
            for (std::size_t i = 0; i < misses.size(); ++i) {
                INFO(band << " night " << n << " star " << courses->stars[i].star.label);
                // The flats of a rehearsal are perfect and its colours those of the transformation, to a few
                // thousandths.
                const double sigma = std::hypot(errs[i], 0.004);
                CHECK(std::abs(misses[i] - middle) < 4.5 * sigma);
                chi2 += std::pow((misses[i] - middle) / sigma, 2);
            }
            CHECK(chi2 / static_cast<double>(misses.size()) < 3.0);
        }
    }
}

TEST_CASE("roles, verdicts and what is set aside stand beside each star", "[stars]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(ledger::Ledger::Access::write);
    const auto solution = ledger.newest().value();
    const auto courses = tasks::star_courses(workspace, ledger).value();
    std::size_t checks = 0, verdicts = 0;
    for (const tasks::StarCourse& star : courses.stars) {
        checks += star.role == tasks::StarRole::check ? 1 : 0;
        CHECK_FALSE(star.set_aside);
        for (const tasks::StarInBand& band : star.bands) {
            verdicts += band.verdict ? 1 : 0;
            if (star.role == tasks::StarRole::check) {
                CHECK_FALSE(band.verdict);
                CHECK(band.used_in_nights == 0);
            }
        }
    }
    CHECK(checks == 1);
    CHECK(verdicts == solution.stars.size());
    const std::string label = courses.stars.front().star.label;
    const auto named = tasks::find_named(workspace, ledger, ledger::SetAside::star, label);
    REQUIRE(named);
    REQUIRE(tasks::exclude(workspace, ledger, *named, "it varies"));
    const auto without = tasks::star_courses(workspace, ledger).value();
    const tasks::StarCourse& aside = *without.find(label);
    REQUIRE(aside.set_aside);
    CHECK(aside.set_aside->reason == "it varies");
    CHECK(aside.bands[0].used_in_nights == 0);
    CHECK_FALSE(aside.bands[0].verdict);
    CHECK(aside.bands[0].nights.size() == 3);  // it is measured all the same
    const auto json = tasks::document(without);
    CHECK(json["stars"][0]["label"] == label);
    CHECK(json["stars"][0]["set_aside"]["reason"] == "it varies");
    CHECK(json["stars"][0]["bands"][0]["offset_mag"].is_null());
    CHECK(json["stars"][1]["bands"][0]["offset_mag"].is_number());
    CHECK(json["stars"][1]["bands"][0]["nights"][2]["frames"] == 3);
    const auto own = tasks::document(without, aside);
    CHECK(own["label"] == label);
    REQUIRE(own["bands"][1]["frames"].size() == 9);
    const auto& frame = own["bands"][1]["frames"][0];
    CHECK(frame["night"] == "2024-03-14");
    CHECK(frame["used"] == true);
    CHECK(frame["mid_utc"].get<std::string>().ends_with("Z"));
    CHECK(frame["id"].get<std::string>().ends_with("-0"));
    REQUIRE(tasks::include(workspace, ledger, *named));
}

// Recording takes most of it.
TEST_CASE("the stars of 20 000 frames are read in a time that a person waits", "[stars][.][long]") {
    constexpr int copies = 1112;  // of 18 frames
    TemporaryFolder folder;
    const tasks::Workspace workspace = campaign().workspace();
    const auto small = campaign().ledger();
    const auto frames = small.frames().value();
    const auto one = small.newest().value();
    night::Solution solution;
    solution.stars = one.stars;
    auto large = ledger::Ledger::open(folder / "campaign.ledger", ledger::Ledger::Access::write).value();
    for (int copy = 0; copy < copies; ++copy) {
        const std::string suffix = "." + std::to_string(copy);
        auto moved = frames;
        for (photometry::FrameFluxes& frame : moved) {
            frame.fingerprint += suffix;
            frame.frame += suffix;
            frame.night += suffix;
            frame.mid_exposure = sky::later_by(frame.mid_exposure, 60.0 * copy);
        }
        REQUIRE(large.record(moved, workspace.provenance()));
        for (night::FrameMeasurement m : one.frames) {
            m.fingerprint += suffix;
            m.frame += suffix;
            m.night += suffix;
            solution.frames.push_back(std::move(m));
        }
        for (night::NightMeasurement m : one.nights) {
            m.night += suffix;
            solution.nights.push_back(std::move(m));
        }
    }
    REQUIRE(large.store(solution, workspace.provenance()));
    const auto start = std::chrono::steady_clock::now();
    const auto courses = tasks::star_courses(workspace, large);
    const double took_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    REQUIRE(courses);
    CHECK(courses->frames.size() == 18U * copies);
    const auto text = tasks::document(*courses).dump();
    WARN(courses->frames.size() << " frames of " << courses->stars.size() << " stars in " << took_s
                                << " s; the answer has " << text.size() / 1000 << " kB");
    CHECK(took_s < 10.0 * testing::watched_slowdown);
}
