// SPDX-License-Identifier: MIT
#include "night/judge_night.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "night/flip_step.hpp"
#include "night/solve_campaign.hpp"
#include "night/synthetic_fluxes.hpp"
#include "numerics/random.hpp"
#include "quantities/magnitude.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

struct Night {
    std::vector<photometry::FrameFluxes> frames;
    night::Solution solution;
};

night::Campaign campaign() {
    night::Campaign campaign;
    campaign.folder = "synthetic";
    campaign.check_label = "131";
    return campaign;
}

// The second half lies the other way round; a vignette of so much at the frame's corner changes each star's
// light by where it falls.
Night flipped_night(double vignette, std::uint64_t seed, int frames = 10, double cloud_mag = 0.0) {
    const auto stars = synthetic_stars();
    const auto settings = campaign();
    auto planned = series_of({.name = "V", .cloud_mag = cloud_mag}, frames);
    Night night;
    night.frames = synthetic_fluxes(planned, stars, {}, settings.measure, seed);
    for (std::size_t i = 0; i < night.frames.size(); ++i) {
        auto& frame = night.frames[i];
        frame.fingerprint = "print-" + std::to_string(i);
        const bool after = i >= night.frames.size() / 2;
        frame.rotation_deg = after ? 181.0 : 1.0;
        for (std::size_t s = 0; s < frame.stars.size(); ++s) {
            // Along the chip's diagonal, the sequence from one corner to the other; the transient at a third.
            const double place = static_cast<double>(s) / static_cast<double>(frame.stars.size() - 1);
            const double x = after ? 1.0 - place : place;
            frame.stars[s].position = {1000.0 * x, 800.0 * x};
            for (double& flux : frame.stars[s].flux_e)
                flux *= 1.0 - vignette * x;
        }
    }
    const auto solved = night::solve_campaign(night.frames, catalogue_of(stars, "V"), settings, {});
    REQUIRE(solved);
    night.solution = solved->solution;
    return night;
}

}  // namespace

TEST_CASE("a vignette that nothing takes out shows where the field turns round", "[judge-night]") {
    const Night night = flipped_night(0.06, 3);
    const auto judged = night::judge_nights(night.frames, night.solution);
    REQUIRE(judged.flips.size() == 1);
    const night::FlipOfNight& flip = judged.flips.front();
    CHECK(flip.stands_out);
    CHECK(judged.remarks.size() == 1);
    // A star at x before lies at 1 − x after: its step is −2.5 log10((1 − v (1 − x)) / (1 − v x)), less what
    // the zero points take of all alike.
    std::vector<double> wanted, found;
    for (const night::FlipStep& step : flip.steps) {
        const double x = step.before_x_px / 1000.0;
        CHECK(step.after_x_px == Approx(1000.0 * (1.0 - x)).margin(1e-6));
        wanted.push_back(magnitude_difference(1.0 - 0.06 * (1.0 - x), 1.0 - 0.06 * x));
        found.push_back(step.step_mag);
        CHECK(step.before == 5);
        CHECK(step.after == 5);
    }
    double shift = 0.0;
    for (std::size_t i = 0; i < wanted.size(); ++i)
        shift += (found[i] - wanted[i]) / static_cast<double>(wanted.size());
    for (std::size_t i = 0; i < wanted.size(); ++i)
        CHECK(found[i] - wanted[i] - shift == Approx(0.0).margin(4.0 * flip.steps[i].err_mag + 1e-3));
    for (const auto& night_in_band : night.solution.nights)
        CHECK(night_in_band.caveats.has(Caveat::flip_step));
}

TEST_CASE("without a vignette the flip stands out in no more nights than chance allows", "[judge-night]") {
    // One in a thousand by its level: of 150 nights, two would be one in a hundred.
    int stand_out = 0;
    double chi2 = 0.0, steps = 0.0;
    for (std::uint64_t seed = 1; seed <= 150; ++seed) {
        const Night night = flipped_night(0.0, seed, 6, seed % 2 == 0 ? 0.3 : 0.0);
        const auto flips = night::flips_of(night.frames, night.solution);
        REQUIRE(flips.size() == 1);
        stand_out += flips.front().stands_out ? 1 : 0;
        for (const night::FlipStep& step : flips.front().steps) {
            if (step.label == photometry::transient_label) continue;
            chi2 += std::pow(step.step_mag / step.err_mag, 2);
            steps += 1.0;
        }
    }
    CHECK(stand_out <= 1);
    // The steps' errors are what the steps scatter by, but for what nine stars' common zero points take.
    CHECK(std::sqrt(chi2 / steps) == Approx(1.0).margin(0.15));
}

TEST_CASE("a night that does not turn has no flip", "[judge-night]") {
    Night night = flipped_night(0.06, 3);
    for (auto& frame : night.frames)
        frame.rotation_deg = 1.0;
    CHECK(night::judge_nights(night.frames, night.solution).flips.empty());
}

TEST_CASE("each exposure is told by what it saw and how much it counts", "[judge-night]") {
    const auto stars = synthetic_stars();
    const auto settings = campaign();
    auto planned = series_of({.name = "V", .transient_mag = 16.5}, 6);
    planned[2].cloud_mag = 1.0;
    planned[4].elongation = 4.0;  // refused
    planned[5].cloud_mag = 3.0;   // refused too
    Night night;
    night.frames = synthetic_fluxes(planned, stars, {}, settings.measure, 11);
    for (std::size_t i = 0; i < night.frames.size(); ++i) {
        night.frames[i].fingerprint = "print-" + std::to_string(i);
        night.frames[i].middle_ra_deg = 200.0;
        night.frames[i].middle_dec_deg = 30.0 + static_cast<double>(i) / 3600.0;
    }
    const auto solved = night::solve_campaign(night.frames, catalogue_of(stars, "V"), settings, {});
    REQUIRE(solved);
    const auto judged = night::judge_nights(night.frames, solved->solution);
    REQUIRE(judged.exposures.size() == 6);
    double best = 0.0;
    for (std::size_t i = 0; i < 6; ++i) {
        const night::JudgedExposure& e = judged.exposures[i];
        CHECK(e.shift_north_arcsec == Approx(static_cast<double>(i)).margin(1e-3));
        CHECK(e.shift_east_arcsec == Approx(0.0).margin(1e-3));
        best = std::max(best, e.transparency.value_or(0.0));
    }
    CHECK(best == Approx(1.0));
    // 1 mag of cloud lets 10^−0.4 through.
    REQUIRE(judged.exposures[2].transparency);
    CHECK(*judged.exposures[2].transparency == Approx(std::pow(10.0, -0.4)).margin(0.02));
    CHECK(judged.exposures[2].used);
    CHECK(judged.exposures[2].weight < 0.5);
    CHECK(judged.exposures[2].reason.find("light came through") != std::string::npos);
    // One that cloud refused still tells how much of it there was, and how bright the sky.
    CHECK_FALSE(judged.exposures[5].used);
    REQUIRE(judged.exposures[5].transparency);
    CHECK(*judged.exposures[5].transparency == Approx(std::pow(10.0, -1.2)).margin(0.01));
    REQUIRE(judged.exposures[5].sky_mag_arcsec2);
    REQUIRE(judged.exposures[0].sky_mag_arcsec2);
    // The same pixels' noise in both: the same sky.
    CHECK(*judged.exposures[5].sky_mag_arcsec2 == Approx(*judged.exposures[0].sky_mag_arcsec2).margin(0.01));
    CHECK_FALSE(judged.exposures[4].used);
    CHECK(judged.exposures[4].weight == 0.0);
    CHECK_FALSE(judged.exposures[4].reason.empty());
}
