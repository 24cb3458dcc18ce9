// SPDX-License-Identifier: MIT
#include "tasks/night_course.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "rehearsal/rehearse.hpp"
#include "tasks/measure.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

class Measured {
  public:
    explicit Measured(rehearsal::RehearsalOptions options) {
        options.width_px = 320;
        options.height_px = 300;
        options.cloud = false;
        options.trailing = false;
        options.comparison_stars = 6;
        if (auto made = rehearsal::rehearse(folder_ / "c", options); !made) FAIL(one_line(made.error()));
        auto opened = tasks::open_workspace(folder_ / "c");
        if (!opened) FAIL(one_line(opened.error()));
        workspace = std::move(*opened);
        const auto outcome = tasks::measure(workspace, {.threads = 1});
        if (!outcome) FAIL(one_line(outcome.error()));
    }
    [[nodiscard]] ledger::Ledger ledger() const {
        auto opened = ledger::Ledger::open(workspace.ledger_path(), ledger::Ledger::Access::read);
        if (!opened) FAIL(one_line(opened.error()));
        return std::move(*opened);
    }
    tasks::Workspace workspace;

  private:
    TemporaryFolder folder_;
};

rehearsal::RehearsalOptions options(std::vector<std::string> bands, int nights, int frames) {
    rehearsal::RehearsalOptions out;
    out.bands = std::move(bands);
    out.nights = nights;
    out.frames = frames;
    out.host = false;
    return out;
}

// The last point of each course against the night that the solution has.
void check_ends(const Measured& campaign) {
    const auto ledger = campaign.ledger();
    const double limit_sigma = campaign.workspace.campaign.measure.limit_sigma;
    const std::vector<ledger::NightCount> nights = ledger.nights().value();
    for (const ledger::NightCount& count : nights) {
        const auto kept = tasks::read_one_night(ledger, campaign.workspace, count.night);
        REQUIRE(kept);
        const auto courses = night::night_so_far(kept->frames, kept->solution, limit_sigma);
        REQUIRE(courses.size() == kept->solution.nights.size());
        for (std::size_t i = 0; i < courses.size(); ++i) {
            const night::NightMeasurement& night = kept->solution.nights[i];
            INFO(night.night << ' ' << night.band.name() << ' ' << night.method);
            CHECK(courses[i].band == night.band);
            REQUIRE(courses[i].points.size() == static_cast<std::size_t>(night.n_frames));
            const night::PointSoFar& last = courses[i].points.back();
            CHECK(last.frames == night.n_frames);
            REQUIRE(last.magnitude_mag.has_value() == night.magnitude_mag.has_value());
            constexpr double rounding_mag = 1e-6;
            CHECK(*last.limit_mag == Approx(*night.limit_mag).margin(rounding_mag));
            if (!night.magnitude_mag) continue;
            CHECK(*last.magnitude_mag == Approx(*night.magnitude_mag).margin(rounding_mag));
            CHECK(*last.random_err_mag == Approx(*night.random_err_mag).margin(rounding_mag));
            CHECK(*last.common_err_mag == Approx(*night.common_err_mag).margin(rounding_mag));
        }
    }
}

}  // namespace

TEST_CASE("the magnitude so far ends at the night's own: two bands that correct each other's colour",
          "[night-course]") {
    const Measured campaign(options({"B", "V"}, 1, 6));
    check_ends(campaign);
}

TEST_CASE("the magnitude so far ends at the night's own: a host taken away", "[night-course]") {
    rehearsal::RehearsalOptions hosted = options({"V"}, 2, 5);
    hosted.host = true;
    check_ends(Measured(hosted));
}

TEST_CASE("the first point is its frame alone, and the random error falls as the root of the frames",
          "[night-course]") {
    const Measured campaign(options({"V"}, 1, 9));
    const auto course = tasks::night_course(campaign.workspace, campaign.ledger(), std::nullopt, 0.02);
    REQUIRE(course);
    REQUIRE(course->running.size() == 1);
    const auto& points = course->running.front().points;
    REQUIRE(points.size() == 9);
    std::vector<const night::FrameMeasurement*> used;
    for (const tasks::NightExposure& one : course->frames) {
        CHECK(one.judged.frame == one.measured.frame);
        CHECK(one.judged.used == one.measured.used);
        if (one.measured.used) used.push_back(&one.measured);
    }
    REQUIRE(used.size() == points.size());
    // One frame has no other to be combined with: its own number, but for the flux that its noise is reckoned
    // at, which is the night's in the one and its own in the other.
    CHECK(*points.front().magnitude_mag == Approx(*used.front()->magnitude_mag).margin(1e-9));
    CHECK(*points.front().random_err_mag == Approx(*used.front()->random_err_mag).epsilon(0.05));
    CHECK(*points.front().common_err_mag == Approx(*used.front()->common_err_mag).epsilon(0.01));
    for (std::size_t i = 0; i < points.size(); ++i) {
        CHECK(points[i].frames == static_cast<int>(i) + 1);
        CHECK(points[i].jd_utc == used[i]->jd_utc);
        // Frames are alike within some tens of per cent; what they share does not fall.
        const double expected = *points.front().random_err_mag / std::sqrt(points[i].frames);
        CHECK(*points[i].random_err_mag == Approx(expected).epsilon(0.35));
        CHECK(*points[i].common_err_mag == Approx(*points.front().common_err_mag).epsilon(0.2));
    }
}

TEST_CASE("a night read alone is judged as with the whole ledger", "[night-course]") {
    const Measured campaign(options({"B", "V"}, 3, 2));
    const auto ledger = campaign.ledger();
    const auto whole = night::judge_nights(ledger.frames().value(), ledger.newest().value());
    const std::vector<ledger::NightCount> nights = ledger.nights().value();
    for (const ledger::NightCount& count : nights) {
        const auto course = tasks::night_course(campaign.workspace, ledger, count.night, 0.02);
        REQUIRE(course);
        std::size_t at = 0;
        for (const night::JudgedExposure& e : whole.exposures) {
            if (e.night != count.night) continue;
            REQUIRE(at < course->frames.size());
            const night::JudgedExposure& own = course->frames[at++].judged;
            CHECK(own.frame == e.frame);
            CHECK(own.band == e.band);
            CHECK(own.transparency == e.transparency);
            CHECK(own.weight == e.weight);
            CHECK(own.sky_mag_arcsec2 == e.sky_mag_arcsec2);
            CHECK(own.shift_east_arcsec == e.shift_east_arcsec);
            CHECK(own.rotation_deg == e.rotation_deg);
            CHECK(own.reason == e.reason);
        }
        CHECK(at == course->frames.size());
        CHECK(at == count.frames);
    }
    const auto newest = tasks::read_one_night(ledger, campaign.workspace, std::nullopt);
    REQUIRE(newest);
    CHECK(newest->night == ledger.nights().value().back().night);
    const auto none = tasks::read_one_night(ledger, campaign.workspace, "2031-01-01");
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::request);
}

TEST_CASE("the clear time to a goal is its frames at the pace of the night's", "[night-course]") {
    night::Solution solution;
    night::NightMeasurement night;
    night.night = "2024-03-14";
    night.band = parse_band("V").value();
    night.instrument = "main";
    night.magnitude_mag = 14.0;
    night.random_err_mag = 0.04;
    night.common_err_mag = 0.0;
    night.n_frames = 4;
    night.exposure_s = 240.0;
    solution.nights = {night};
    // 60 s exposures, 90 s from one to the next; one that is not used does not count.
    for (int i = 0; i < 5; ++i) {
        night::FrameMeasurement m;
        static_cast<night::Measurement&>(m) = night;
        m.jd_utc = 2460384.4 + i * 90.0 / 86400.0;
        m.used = i < 4;
        solution.frames.push_back(m);
    }
    const auto to = [&](double goal_mag) {
        return tasks::ways_to_goal(solution, night.night, goal_mag).at(0);
    };
    // 0.08 mag a frame: 16 frames make 0.02, 12 more.
    CHECK(to(0.02).frames_to_goal == 12.0);
    CHECK(to(0.02).clear_to_goal_s.value() == Approx(12.0 * 90.0).epsilon(1e-5));
    CHECK(to(0.05).clear_to_goal_s.value() == 0.0);
    solution.nights[0].common_err_mag = 0.03;
    CHECK(std::isinf(to(0.02).frames_to_goal.value()));
    CHECK_FALSE(to(0.02).clear_to_goal_s);
    solution.nights[0].magnitude_mag.reset();
    CHECK_FALSE(to(0.02).clear_to_goal_s);
    CHECK(tasks::ways_to_goal(solution, "2024-03-15", 0.02).empty());
}
