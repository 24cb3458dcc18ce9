// SPDX-License-Identifier: MIT
// The stars on trial: fluxes of a known sky, some of its stars spoilt.
#include "night/audit_sequence.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <numbers>

#include "night/judge_stars.hpp"
#include "night/significance.hpp"
#include "night/synthetic_fluxes.hpp"
#include "quantities/magnitude.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Matchers::Contains;
using night::Advice;
using night::StarFault;
using night::StarOnTrial;

namespace {

constexpr std::uint64_t seed = 8201;

// Six nights of five frames, four days apart, the seeing of each its own.
struct Trial {
    std::vector<SyntheticStar> stars = synthetic_stars();
    night::Campaign campaign;
    night::SetAsideByObserver set_aside;
    std::vector<photometry::FrameFluxes> frames;
    int nights = 6;
    std::string bands = "V";

    Trial() {
        campaign.folder = "synthetic";
        campaign.check_label = "131";
        campaign.measure.colour_term = false;
    }

    void observe() {
        std::vector<SyntheticFrame> all;
        for (int n = 0; n < nights; ++n) {
            SyntheticFrame example;
            example.night = fmt::format("2024-02-{:02}", 3 + 4 * n);
            example.jd = 2460344.5 + 4.0 * n;
            example.fwhm_px = 3.0 + 0.4 * (n % 3);
            example.transient_mag = 14.0 + 0.2 * n;
            for (SyntheticFrame& frame : series_of(example, 5)) {
                frame.name = fmt::format("{}/{}", n, frame.name);
                all.push_back(frame);
            }
        }
        frames = synthetic_fluxes(all, stars, {}, campaign.measure, seed);
    }

    // The factor on the star's light in a frame, in a circle of that radius in FWHM.
    void spoil(const std::string& label,
               const std::function<double(const photometry::FrameFluxes&, double radius_fwhm)>& factor) {
        for (auto& frame : frames) {
            for (auto& star : frame.stars) {
                if (star.label != label) continue;
                for (std::size_t k = 0; k < star.flux_e.size(); ++k)
                    star.flux_e[k] *= factor(frame, frame.apertures[k].radius_px / frame.fwhm_px);
            }
        }
    }
    void make_variable(const std::string& label, double amplitude_mag) {
        spoil(label, [=](const photometry::FrameFluxes& frame, double) {
            const double days = frame.mid_exposure.jd() - 2460344.5;
            return flux_ratio(amplitude_mag * std::sin(2.0 * std::numbers::pi * days / 5.3));
        });
    }
    // A companion with `share` of the star's light, whose image grows with wider circles than the star's own.
    void give_companion(const std::string& label, double share) {
        spoil(label, [=](const photometry::FrameFluxes&, double radius_fwhm) {
            return 1.0 + share * (1.0 - std::exp2(-2.0 * radius_fwhm * radius_fwhm));
        });
    }

    [[nodiscard]] night::SequenceAudit audit(const night::AuditRequest& request = {}) const {
        const auto result =
            night::audit_sequence(frames, catalogue_of(stars, bands), campaign, set_aside, request);
        INFO("seed " << seed);
        if (!result) FAIL(result.error().what);
        return *result;
    }
};

const StarOnTrial& star_of(const night::SequenceAudit& audit, const std::string& label) {
    const auto found = std::find_if(audit.stars.begin(), audit.stars.end(),
                                    [&](const StarOnTrial& t) { return t.star.label == label; });
    REQUIRE(found != audit.stars.end());
    return *found;
}

std::vector<std::string> accused_in(const night::SequenceAudit& audit) {
    std::vector<std::string> labels;
    for (const StarOnTrial& trial : audit.stars) {
        if (trial.star.accused()) labels.push_back(trial.star.label);
    }
    std::sort(labels.begin(), labels.end());
    return labels;
}

}  // namespace

TEST_CASE("good stars are found good, with the numbers", "[audit]") {
    Trial trial;
    trial.observe();
    const auto audit = trial.audit({.bands = {}, .remove_each = true});
    REQUIRE(audit.stars.size() == 9);
    CHECK(audit.frames == 30);
    CHECK(audit.nights == 6);
    for (const StarOnTrial& one : audit.stars) {
        INFO(one.star.label << ": " << one.star.why);
        CHECK(one.star.fault == StarFault::fine);
        CHECK(one.advice == Advice::keep);
        CHECK(one.star.frames == 30);
        CHECK(one.star.nights.size() == 6);
        REQUIRE(one.star.offset_mag);
        CHECK(std::abs(one.star.offset_mag->value) < 4.0 * one.star.offset_mag->err);
        CHECK(one.star.frame_scatter_mag == Approx(one.star.expected_frame_scatter_mag).epsilon(0.6));
        REQUIRE(one.star.trend_mag_per_day);
        CHECK(std::abs(one.star.trend_mag_per_day->value) < 4.0 * one.star.trend_mag_per_day->err);
        REQUIRE(one.star.growth.size() == 2);
    }
    const StarOnTrial& check = star_of(audit, "131");
    CHECK(check.star.check);
    CHECK_FALSE(check.removal);
    CHECK_THAT(check.no_removal, Contains("check star"));
    const StarOnTrial& usual = star_of(audit, "124");
    REQUIRE(usual.removal);
    CHECK(usual.removal->nights.size() == 6);
    CHECK(usual.removal->harm < 0.5);
    REQUIRE(usual.removal->rate);
    // The transient fades by 0.2 mag in four days.
    CHECK(std::abs(usual.removal->rate->before_mag_per_day.value - 0.05) <
          4.0 * usual.removal->rate->before_mag_per_day.err);
}

TEST_CASE("a star that varies is found, and accuses no other", "[audit]") {
    Trial trial;
    trial.observe();
    trial.make_variable("124", 0.15);
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"124"});
    const StarOnTrial& bad = audit.stars.front();
    CHECK(bad.star.fault == StarFault::varies);
    // A sinusoid's rms is its amplitude over √2; six nights of a period of 5.3 days sample it evenly enough.
    CHECK(bad.star.night_scatter_mag == Approx(0.15 / std::numbers::sqrt2).epsilon(0.3));
    CHECK_THAT(bad.star.why, Contains("from night to night"));
    CHECK(bad.advice == Advice::exclude);
    CHECK_THAT(bad.advice_text, Contains("emberline exclude 124 --reason \"it varies\""));
    REQUIRE(bad.removal);
    CHECK(bad.removal->harm > 0.1);
}

TEST_CASE("a slow fading shows as a trend", "[audit]") {
    Trial trial;
    trial.observe();
    trial.spoil("126", [](const photometry::FrameFluxes& frame, double) {
        return flux_ratio(0.004 * (frame.mid_exposure.jd() - 2460344.5));
    });
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"126"});
    const auto& star = audit.stars.front().star;
    CHECK(star.fault == StarFault::varies);
    REQUIRE(star.trend_mag_per_day);
    CHECK(std::abs(star.trend_mag_per_day->value - 0.004) < 4.0 * star.trend_mag_per_day->err);
    CHECK_THAT(star.why, Contains("a trend of +0.004"));
}

TEST_CASE("a companion's light is found by wider circles", "[audit]") {
    Trial trial;
    trial.observe();
    trial.give_companion("128", 0.15);
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"128"});
    CHECK(audit.stars.front().star.fault == StarFault::blended);
    CHECK_THAT(audit.stars.front().star.why, Contains("more than the others between circles"));
    CHECK_THAT(audit.stars.front().advice_text, Contains("blended"));
}

TEST_CASE("a wrong catalogue magnitude is found, and what it should be", "[audit]") {
    Trial trial;
    trial.stars[5].catalogue_off_mag = 0.25;  // "130", 13.0 mag in truth
    trial.observe();
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"130"});
    const StarOnTrial& bad = audit.stars.front();
    CHECK(bad.star.fault == StarFault::catalogue_value);
    CHECK(bad.advice == Advice::other_magnitude);
    REQUIRE(bad.better_magnitude);
    CHECK(std::abs(bad.better_magnitude->value - trial.stars[5].v_mag) < 4.0 * bad.better_magnitude->err);
    CHECK(bad.better_magnitude->err < 0.02);
}

TEST_CASE("three bad stars among eight do not hide each other", "[audit]") {
    Trial trial;
    trial.stars[5].catalogue_off_mag = -0.3;
    trial.observe();
    trial.make_variable("122", 0.2);
    trial.give_companion("128", 0.2);
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"122", "128", "130"});
    CHECK(star_of(audit, "122").star.fault == StarFault::varies);
    CHECK(star_of(audit, "128").star.fault == StarFault::blended);
    CHECK(star_of(audit, "130").star.fault == StarFault::catalogue_value);
    // In order of harm.
    for (std::size_t i = 1; i < 3; ++i)
        CHECK(audit.stars[i - 1].harm() >= audit.stars[i].harm());
}

TEST_CASE("what cannot be told is not told", "[audit]") {
    Trial trial;
    SECTION("few stars") {
        trial.stars.resize(3);
        trial.campaign.check_label.clear();
        trial.observe();
        trial.make_variable("122", 0.3);
        for (const StarOnTrial& one : trial.audit().stars) {
            CHECK(one.star.fault == StarFault::cannot_tell);
            CHECK_THAT(one.star.why, Contains("Only 2 other stars"));
        }
    }
    SECTION("a star too faint") {
        trial.stars.push_back({"170", 19.5, 0.7});
        trial.observe();
        const auto audit = trial.audit();
        CHECK(star_of(audit, "170").star.fault == StarFault::cannot_tell);
        CHECK_THAT(star_of(audit, "170").star.why, Contains("too faint"));
        CHECK(accused_in(audit).empty());
    }
    SECTION("few frames") {
        trial.nights = 1;
        trial.observe();
        trial.frames.resize(4);
        for (const StarOnTrial& one : trial.audit().stars) {
            CHECK(one.star.fault == StarFault::cannot_tell);
            CHECK(one.advice == Advice::wait);
        }
    }
}

TEST_CASE("a star that was set aside is judged, and bears no witness", "[audit]") {
    Trial trial;
    trial.observe();
    trial.make_variable("124", 0.5);
    trial.set_aside.stars = {{"124", "looked odd"}, {"126", "looked odd too"}};
    const auto audit = trial.audit();
    CHECK(accused_in(audit) == std::vector<std::string>{"124"});
    CHECK_THAT(star_of(audit, "124").advice_text, Contains("Leave it set aside"));
    CHECK_THAT(star_of(audit, "126").advice_text, Contains("emberline include 126"));
    CHECK_FALSE(star_of(audit, "124").removal);
}

TEST_CASE("a band that was not measured is a bad request", "[audit]") {
    Trial trial;
    trial.observe();
    const auto none = night::audit_sequence(trial.frames, catalogue_of(trial.stars), trial.campaign, {},
                                            {.bands = {*parse_band("Rc")}, .remove_each = false});
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::request);
    CHECK_FALSE(night::audit_sequence({}, catalogue_of(trial.stars), trial.campaign, {}));
}

TEST_CASE("odds of all kinds are told in sigma of a Gaussian", "[audit]") {
    // Tails of 2 Φ(−3) = 0.0026998 and of Φ(−4) = 3.1671e-5, by numerical integration of the densities:
    // t of 10 degrees of freedom 3.9569; F of 5 and 40 7.8526, of 25 and 60 3.5416.
    CHECK(night::t_in_sigma(3.9569, 10.0) == Approx(3.0).epsilon(0.01));
    CHECK(night::t_in_sigma(-3.9569, 10.0) == Approx(-3.0).epsilon(0.01));
    CHECK(night::f_in_sigma(7.8526, 5.0, 40.0) == Approx(4.0).epsilon(0.02));
    CHECK(night::f_in_sigma(3.5416, 25.0, 60.0) == Approx(4.0).epsilon(0.02));
    CHECK(night::f_in_sigma(1.0, 30.0, 30.0) == Approx(0.0).margin(0.01));
    // Φ(−3) = 0.0013499; a hundred looks at 0.13499 in all have the same.
    CHECK(night::sigma_of_chance(0.0013499, 1.0) == Approx(3.0).epsilon(1e-4));
    CHECK(night::sigma_of_chance(0.13499, 100.0) == Approx(3.0).epsilon(1e-4));
    // More stars, more looks: a higher hurdle.
    CHECK(night::accused_from(40).varies > night::accused_from(12).varies);
    CHECK(night::doubted_from(12).catalogue < night::accused_from(12).catalogue);
}

TEST_CASE("what a removal does is told night by night and in the decline", "[audit]") {
    // Three nights two days apart, errors of 0.01 mag (random alone): before 14.00, 14.10, 14.20, so 0.05 mag
    // a day; without 14.00, 14.11, 14.24, so 0.06. The rate's error is σ/√Σ(t − t̄)² = 0.01/√8 = 0.003536;
    // with errors of 0.02, twice that, and the change's √(0.007071² − 0.003536²) = 0.006124.
    const auto solution = [](const std::vector<double>& magnitudes, double err_mag) {
        night::Solution s;
        for (std::size_t i = 0; i < magnitudes.size(); ++i) {
            night::NightMeasurement n;
            n.night = fmt::format("2024-02-{:02}", 3 + 2 * i);
            n.jd_utc = 2460344.5 + 2.0 * static_cast<double>(i);
            n.band = *parse_band("V");
            n.instrument = "main";
            n.magnitude_mag = magnitudes[i];
            n.random_err_mag = err_mag;
            s.nights.push_back(n);
        }
        return s;
    };
    const auto effect =
        night::removal_effect(solution({14.00, 14.10, 14.20}, 0.01), solution({14.00, 14.11, 14.24}, 0.02),
                              *parse_band("V"), "main");
    REQUIRE(effect.nights.size() == 3);
    CHECK(effect.mean_change_mag == Approx(0.05 / 3.0));
    CHECK(effect.largest_change_mag == Approx(0.04));
    CHECK(effect.largest_in_errors == Approx(4.0));
    CHECK(effect.harm == Approx(std::sqrt((0.0 + 1.0 + 16.0) / 3.0)));
    CHECK(effect.error_ratio == Approx(2.0));
    REQUIRE(effect.rate);
    CHECK(effect.rate->before_mag_per_day.value == Approx(0.05));
    CHECK(effect.rate->without_mag_per_day.value == Approx(0.06));
    CHECK(effect.rate->before_mag_per_day.err == Approx(0.01 / std::sqrt(8.0)));
    CHECK(effect.rate->change_mag_per_day.value == Approx(0.01));
    CHECK(effect.rate->change_mag_per_day.err == Approx(0.01 * std::sqrt(3.0 / 8.0)));
    // A night without a magnitude any more is lost, not changed.
    const auto fewer = night::removal_effect(solution({14.00, 14.10, 14.20}, 0.01), solution({14.00}, 0.01),
                                             *parse_band("V"), "main");
    CHECK(fewer.lost == 2);
    CHECK_FALSE(fewer.rate);
}
