// SPDX-License-Identifier: MIT
#include "night/solve_campaign.hpp"

#include <algorithm>
#include <catch2/catch.hpp>

#include "night/synthetic_fluxes.hpp"
#include "numerics/robust.hpp"

using namespace emberline;
using namespace emberline::test;
using night::CampaignSolution;
using night::FrameMeasurement;
using night::NightMeasurement;

namespace {

constexpr std::uint64_t seed = 4711;

night::Campaign campaign_with_check() {
    night::Campaign campaign;
    campaign.folder = "synthetic";
    campaign.check_label = "131";
    return campaign;
}

struct Setting {
    std::vector<SyntheticStar> stars = synthetic_stars();
    SyntheticCamera camera;
    night::Campaign campaign = campaign_with_check();
    night::SetAsideByObserver set_aside;
    std::string bands = "V";

    [[nodiscard]] Result<CampaignSolution> solve(const std::vector<SyntheticFrame>& frames) const {
        return night::solve_campaign(synthetic_fluxes(frames, stars, camera, campaign.measure, seed),
                                     catalogue_of(stars, bands), campaign, set_aside);
    }
};

const FrameMeasurement& frame_named(const CampaignSolution& solved, const std::string& name) {
    const auto& frames = solved.solution.frames;
    const auto found =
        std::find_if(frames.begin(), frames.end(), [&](const auto& m) { return m.frame == name; });
    REQUIRE(found != frames.end());
    return *found;
}

bool names(const std::vector<std::string>& labels, const std::string& label) {
    return std::find(labels.begin(), labels.end(), label) != labels.end();
}

double pull(const night::Measurement& m, double truth_mag) {
    REQUIRE(m.magnitude_mag);
    return (*m.magnitude_mag - truth_mag) / *m.total_err_mag();
}

}  // namespace

TEST_CASE("a campaign with a known sky comes out as it went in", "[solve]") {
    Setting setting;
    setting.campaign.measure.colour_term = false;
    const auto solved = setting.solve(series_of({}, 8));
    REQUIRE(solved);
    REQUIRE(solved->solution.nights.size() == 1);
    const NightMeasurement& night = solved->solution.nights[0];
    INFO("seed " << seed);
    CHECK(std::abs(pull(night, 14.0)) < 3.0);
    // The catalogue's 0.02 mag in eight stars are 0.007 mag that all frames share: near that, and no mean of
    // frames shrinks it.
    CHECK(*night.common_err_mag == Approx(0.02 / std::sqrt(8.0)).epsilon(0.2));
    CHECK(*night.random_err_mag < *frame_named(*solved, "V-0").random_err_mag / 2.0);
    CHECK(night.n_frames == 8);
    CHECK(night.n_rejected == 0);
    CHECK(night.n_comparison == 8);
    CHECK(night.exposure_s == 480.0);
    CHECK(night.check.label == "131");
    CHECK(*night.check.residual_mag == Approx(0.0).margin(3.0 * std::hypot(*night.check.err_mag, 0.02)));
    CHECK(night.caveats == Caveats{});
    // The zero point that went in: 22 + 2.5 log10(60 s) − 0.15 · 1.2, less the light outside the aperture.
    CHECK(night.zero_point_mag < 22.0 + 2.5 * std::log10(60.0) - 0.18);
    CHECK(night.zero_point_mag > 22.0 + 2.5 * std::log10(60.0) - 0.18 - 0.8);
}

TEST_CASE("a star missing from some frames does not make their zero points jump", "[solve]") {
    Setting setting;
    setting.campaign.measure.colour_term = false;
    // Three stars, one of them 0.06 mag from its catalogue value: a mean of the stars present would jump by
    // 0.03 mag where it is missing.
    setting.stars.resize(3);
    setting.stars[0].catalogue_off_mag = 0.06;
    auto frames = series_of({}, 20);
    for (std::size_t i = 1; i < frames.size(); i += 2)
        frames[i].missing = {"120"};
    const auto solved = setting.solve(frames);
    REQUIRE(solved);
    std::vector<double> whole, without;
    for (const FrameMeasurement& m : solved->solution.frames) {
        REQUIRE(m.magnitude_mag);
        (names(m.comparison_labels, "120") ? whole : without).push_back(*m.magnitude_mag);
    }
    REQUIRE(whole.size() == 10);
    REQUIRE(without.size() == 10);
    const double random_mag = *solved->solution.frames[0].random_err_mag;
    INFO("seed " << seed << ", random error " << random_mag);
    REQUIRE(random_mag < 0.012);
    // Medians of ten: 1.25 σ/sqrt(10) each, 0.56 σ for the difference; three of these.
    CHECK(std::abs(numerics::median(whole) - numerics::median(without)) < 1.7 * random_mag);
}

TEST_CASE("a frame through thick cloud is refused, through thin cloud flagged and right", "[solve]") {
    Setting setting;
    auto frames = series_of({}, 8);
    frames[3].cloud_mag = 2.6;
    frames[5].cloud_mag = 0.6;
    const auto solved = setting.solve(frames);
    REQUIRE(solved);
    const FrameMeasurement& thick = frame_named(*solved, "V-3");
    CHECK_FALSE(thick.used);
    CHECK(thick.reason.find("Cloud took 2.") != std::string::npos);
    CHECK_FALSE(thick.magnitude_mag);
    const FrameMeasurement& thin = frame_named(*solved, "V-5");
    CHECK(thin.used);
    CHECK(thin.caveats.has(Caveat::cloud));
    CHECK(thin.relative_transparency == Approx(std::pow(10.0, -0.4 * 0.6)).epsilon(0.02));
    CHECK(std::abs(pull(thin, 14.0)) < 3.0);
    CHECK_FALSE(frame_named(*solved, "V-4").caveats.has(Caveat::cloud));
    CHECK(solved->solution.nights[0].n_rejected == 1);
    CHECK(solved->solution.nights[0].n_frames == 7);
}

TEST_CASE("longer exposures and higher airmass are no cloud", "[solve]") {
    auto frames = series_of({}, 6);
    for (std::size_t i = 0; i < frames.size(); ++i) {
        frames[i].exposure_s = i % 2 == 0 ? 30.0 : 240.0;
        frames[i].airmass = 1.1 + 0.3 * static_cast<double>(i);
    }
    const auto solved = Setting{}.solve(frames);
    REQUIRE(solved);
    for (const FrameMeasurement& m : solved->solution.frames) {
        INFO(m.frame);
        CHECK_FALSE(m.caveats.has(Caveat::cloud));
        CHECK(m.relative_transparency == Approx(1.0).epsilon(0.0).margin(0.02));
    }
}

TEST_CASE("a trailed frame is refused with its elongation", "[solve]") {
    auto frames = series_of({}, 4);
    frames[2].elongation = 3.1;
    const auto solved = Setting{}.solve(frames);
    REQUIRE(solved);
    const FrameMeasurement& trailed = frame_named(*solved, "V-2");
    CHECK_FALSE(trailed.used);
    CHECK(trailed.reason.find("trailed: 3.1") != std::string::npos);
    CHECK(solved->solution.nights[0].n_frames == 3);
}

TEST_CASE("what the observer sets aside takes no part, and the reason stays with it", "[solve]") {
    SyntheticFrame next;
    next.night = "2024-02-04";
    next.jd += 1.0;
    auto frames = series_of({}, 4);
    for (SyntheticFrame frame : series_of(next, 2)) {
        frame.name = "next-" + frame.name;
        frames.push_back(frame);
    }
    Setting setting;
    setting.set_aside.frames["V-1"] = "a satellite";
    setting.set_aside.nights["2024-02-04"] = "dew";
    setting.set_aside.stars["124"] = "variable";
    const auto solved = setting.solve(frames);
    REQUIRE(solved);
    CHECK_FALSE(frame_named(*solved, "V-1").used);
    CHECK(frame_named(*solved, "V-1").reason == "Set aside by the observer: a satellite");
    CHECK(frame_named(*solved, "next-V-0").reason == "Its night is set aside by the observer: dew");
    REQUIRE(solved->solution.nights.size() == 1);
    CHECK(solved->solution.nights[0].night == "2024-02-03");
    CHECK(solved->solution.nights[0].n_frames == 3);
    CHECK_FALSE(names(solved->solution.nights[0].comparison_labels, "124"));
    CHECK(names(solved->solution.nights[0].comparison_labels, "126"));
    for (const auto& star : solved->solution.stars)
        CHECK(star.label != "124");

    setting.set_aside = {};
    const auto again = setting.solve(frames);
    REQUIRE(again);
    CHECK(again->solution.nights.size() == 2);
    CHECK(names(again->solution.nights[0].comparison_labels, "124"));
    setting.set_aside.stars["131"] = "the check star itself";
    const auto unchecked = setting.solve(frames);
    REQUIRE(unchecked);
    CHECK(unchecked->solution.nights[0].caveats.has(Caveat::no_check_star));
    CHECK_FALSE(unchecked->solution.nights[0].check.magnitude_mag);
}

TEST_CASE("the check star calibrates nothing, and says when it is off", "[solve]") {
    Setting setting;
    setting.campaign.measure.colour_term = false;
    for (SyntheticStar& star : setting.stars) {
        if (star.role == standard::Role::check) star.catalogue_off_mag = 0.25;
    }
    const auto solved = setting.solve(series_of({}, 6));
    REQUIRE(solved);
    const NightMeasurement& night = solved->solution.nights[0];
    CHECK(night.caveats.has(Caveat::check_star_off));
    CHECK(*night.check.residual_mag == Approx(-0.25).margin(0.03));
    CHECK(*night.check.catalogue_mag == Approx(13.35));
    CHECK_FALSE(names(night.comparison_labels, "131"));
    CHECK(std::abs(pull(night, 14.0)) < 3.0);
}

TEST_CASE("a comparison star far from its catalogue magnitude is named, not obeyed", "[solve]") {
    Setting setting;
    setting.stars[2].catalogue_off_mag = 0.5;
    const auto solved = setting.solve(series_of({}, 8));
    REQUIRE(solved);
    for (const auto& star : solved->solution.stars) {
        INFO(star.label << ' ' << star.offset_mag << ' ' << star.why);
        CHECK(star.suspect == (star.label == "124"));
        if (star.suspect) {
            // δ is true − catalogue.
            CHECK(star.offset_mag == Approx(-0.5).margin(0.05));
            CHECK_FALSE(star.why.empty());
        }
    }
    // Obeyed among eight equals it would shift the transient by 0.06 mag.
    CHECK(*solved->solution.nights[0].magnitude_mag == Approx(14.0).margin(0.02));
}

TEST_CASE("two bands of a night tell the transient's colour, and the colour term is applied", "[solve]") {
    Setting setting;
    setting.bands = "BV";
    setting.camera.colour_term = -0.06;  // V; 0.12 in B
    SyntheticFrame v;
    v.transient_colour_mag = 0.45;
    SyntheticFrame b = v;
    b.band = "B";
    b.jd += 0.003;
    b.transient_mag = 14.45;
    auto frames = series_of(v, 8);
    const auto blue = series_of(b, 8);
    frames.insert(frames.end(), blue.begin(), blue.end());
    const auto solved = setting.solve(frames);
    REQUIRE(solved);
    REQUIRE(solved->solution.nights.size() == 2);
    for (const NightMeasurement& night : solved->solution.nights) {
        const bool is_blue = night.band.name() == "B";
        INFO(night.band.name() << ", seed " << seed);
        CHECK(night.transformed);
        CHECK(night.colour_index == "B-V");
        CHECK(*night.colour_mag == Approx(0.45).margin(0.04));
        CHECK(*night.colour_term == Approx(is_blue ? 0.12 : -0.06).margin(0.05));
        CHECK(std::abs(pull(night, is_blue ? 14.45 : 14.0)) < 3.0);
        CHECK(night.caveats.has(Caveat::spectrum_not_stellar));
        CHECK_FALSE(night.caveats.has(Caveat::colour_unknown));
        // What the colour has of both bands' light is one unknown that they share.
        CHECK(std::any_of(night.common.begin(), night.common.end(),
                          [](const auto& c) { return c.name == "colour noise B-V main 2024-02-03"; }));
    }
}

TEST_CASE("a colour given by the observer is used, and one outside the sequence's is said", "[solve]") {
    Setting setting;
    setting.bands = "BV";
    setting.camera.colour_term = -0.06;
    SyntheticFrame v;
    v.transient_colour_mag = 1.6;  // the sequence's: 0.35 to 1.05
    setting.campaign.colours["B-V"] = 1.6;
    const auto solved = setting.solve(series_of(v, 8));
    REQUIRE(solved);
    const NightMeasurement& night = solved->solution.nights[0];
    CHECK(*night.colour_mag == 1.6);
    CHECK(night.transformed);
    CHECK(night.caveats.has(Caveat::colour_extrapolated));
    CHECK(std::abs(pull(night, 14.0)) < 3.0);
}

TEST_CASE("one band alone leaves the colour unknown and the magnitude untransformed", "[solve]") {
    Setting setting;
    setting.bands = "BV";
    const auto solved = setting.solve(series_of({}, 8));
    REQUIRE(solved);
    CHECK_FALSE(solved->solution.nights[0].transformed);
    CHECK_FALSE(solved->solution.nights[0].colour_mag);
    CHECK(solved->solution.nights[0].caveats.has(Caveat::colour_unknown));
}

TEST_CASE("clear-filter frames are calibrated on V and say so", "[solve]") {
    SyntheticFrame clear;
    clear.band = "CV";
    const auto solved = Setting{}.solve(series_of(clear, 6));
    REQUIRE(solved);
    const NightMeasurement& night = solved->solution.nights[0];
    CHECK(night.band.name() == "CV");
    CHECK(night.caveats.has(Caveat::sequence_mixed_band));
    CHECK(std::abs(pull(night, 14.0)) < 3.0);
}

TEST_CASE("where there is no light the answer is a limit at three sigma", "[solve]") {
    SyntheticFrame dark;
    dark.transient_mag = 99.0;
    const auto frames = series_of(dark, 250);
    const auto solved = Setting{}.solve(frames);
    REQUIRE(solved);
    int detected = 0;
    for (const FrameMeasurement& m : solved->solution.frames) {
        REQUIRE(m.used);
        detected += m.is_limit ? 0 : 1;
        if (!m.is_limit) continue;
        CHECK_FALSE(m.magnitude_mag);
        CHECK_FALSE(m.total_err_mag());
        // max(F, 0) + 3 σ: nothing else.
        const double limit_e = std::max(m.flux_e.value, 0.0) + 3.0 * m.flux_e.err;
        CHECK(*m.limit_mag == Approx(m.zero_point_mag - 2.5 * std::log10(limit_e)));
    }
    INFO("seed " << seed);
    // Beyond 3 sigma by chance: 0.34 of 250 expected.
    CHECK(detected <= 3);
    // 250 frames go deeper by 2.5 log10 sqrt(250) = 3.0 mag, less what a flux of up to 2 sigma adds.
    const NightMeasurement& night = solved->solution.nights[0];
    REQUIRE(night.is_limit);
    CHECK(*night.limit_mag - *frame_named(*solved, "V-0").limit_mag > 2.2);
}

TEST_CASE("a band without comparison stars is left out with the reason and stops nobody", "[solve]") {
    auto frames = series_of({}, 3);
    SyntheticFrame b;
    b.band = "B";
    const auto blue = series_of(b, 2);
    frames.insert(frames.end(), blue.begin(), blue.end());
    const auto solved = Setting{}.solve(frames);  // the sequence knows V alone
    REQUIRE(solved);
    REQUIRE(solved->solution.nights.size() == 1);
    CHECK(solved->solution.nights[0].band.name() == "V");
    CHECK_FALSE(frame_named(*solved, "B-0").used);
    CHECK(frame_named(*solved, "B-0").reason == "No comparison star has a magnitude in band B.");
    REQUIRE(solved->remarks.size() == 1);
    CHECK(solved->remarks[0].find("band B") != std::string::npos);
}

TEST_CASE("frames in which the transient has no flux are refused, be they all", "[solve]") {
    // A night of nothing but undefined fluxes once ended the program.
    const Setting setting;
    auto fluxes = synthetic_fluxes(series_of({}, 4), setting.stars, setting.camera, {}, seed);
    const auto spoil = [](photometry::FrameFluxes& frame, double flux_e, double sky_pixels) {
        frame.stars[0].sky_pixels = sky_pixels;
        std::fill(frame.stars[0].flux_e.begin(), frame.stars[0].flux_e.end(), flux_e);
    };
    spoil(fluxes[1], std::nan(""), 500.0);
    spoil(fluxes[2], 1000.0, 0.0);  // not a clear pixel of sky: no noise
    const auto sequence = catalogue_of(setting.stars, "V");
    auto solved = night::solve_campaign(fluxes, sequence, setting.campaign, {});
    REQUIRE(solved);
    for (const char* name : {"V-1", "V-2"}) {
        CHECK_FALSE(frame_named(*solved, name).used);
        CHECK(frame_named(*solved, name).reason == "The transient was not measured in it.");
    }
    REQUIRE(solved->solution.nights.size() == 1);
    CHECK(std::abs(pull(solved->solution.nights[0], 14.0)) < 3.0);
    for (auto& frame : fluxes)
        spoil(frame, std::nan(""), 500.0);
    solved = night::solve_campaign(fluxes, sequence, setting.campaign, {});
    REQUIRE(solved);
    CHECK(solved->solution.nights.empty());
    CHECK(solved->solution.frames.size() == 4);
}

TEST_CASE("no frame, and an aperture that no frame has, are Problems", "[solve]") {
    Setting setting;
    CHECK(setting.solve({}).error().what == "No frame has been measured yet.");
    const auto fluxes = synthetic_fluxes(series_of({}, 3), setting.stars, setting.camera, {}, seed);
    setting.campaign.measure.aperture_arcsec = 5.5;
    const auto solved = night::solve_campaign(fluxes, catalogue_of(setting.stars, "V"), setting.campaign, {});
    REQUIRE_FALSE(solved);
    CHECK(solved.error().what == "No frame was measured with the aperture of 5.5 arcsec.");
}

TEST_CASE("the order in which frames come does not matter", "[solve]") {
    const Setting setting;
    auto fluxes = synthetic_fluxes(series_of({}, 6), setting.stars, setting.camera, {}, seed);
    const auto sequence = catalogue_of(setting.stars, "V");
    const auto forward = night::solve_campaign(fluxes, sequence, setting.campaign, {});
    std::reverse(fluxes.begin(), fluxes.end());
    const auto backward = night::solve_campaign(fluxes, sequence, setting.campaign, {});
    REQUIRE(forward);
    REQUIRE(backward);
    CHECK(forward->solution == backward->solution);
}

TEST_CASE("over many campaigns (m − truth)/σ of frames and nights has unit spread", "[solve]") {
    // Campaigns of one night, catalogue errors drawn anew: by its quantiles the spread of 1200 Gaussian pulls
    // is known to 1.35/sqrt(2 · 1200) = 0.028, so that 0.1 is 3.6 of it.
    constexpr int campaigns = 1200;
    std::vector<double> night_pulls, frame_pulls;
    for (int c = 0; c < campaigns; ++c) {
        numerics::Random random = numerics::Random(seed).stream(static_cast<std::uint64_t>(c));
        Setting setting;
        setting.campaign.measure.colour_term = false;
        for (SyntheticStar& star : setting.stars)
            star.catalogue_off_mag = random.gaussian(0.0, synthetic_catalogue_err_mag);
        SyntheticFrame example;
        example.transient_mag = 15.0;
        const auto fluxes = synthetic_fluxes(series_of(example, 6), setting.stars, setting.camera,
                                             setting.campaign.measure, random.bits());
        const auto solved =
            night::solve_campaign(fluxes, catalogue_of(setting.stars, "V"), setting.campaign, {});
        REQUIRE(solved);
        night_pulls.push_back(pull(solved->solution.nights.at(0), 15.0));
        // Random errors alone: two frames of one night share everything else.
        const auto& frames = solved->solution.frames;
        frame_pulls.push_back((*frames[0].magnitude_mag - *frames[1].magnitude_mag) /
                              std::hypot(*frames[0].random_err_mag, *frames[1].random_err_mag));
    }
    INFO("seed " << seed << ", nights " << numerics::robust_spread(night_pulls) << ", frames "
                 << numerics::robust_spread(frame_pulls));
    CHECK(numerics::robust_spread(night_pulls) == Approx(1.0).epsilon(0.0).margin(0.1));
    CHECK(numerics::robust_spread(frame_pulls) == Approx(1.0).epsilon(0.0).margin(0.1));
    CHECK(std::abs(numerics::median(night_pulls)) < 0.12);  // 3.3 of 1.25/sqrt(1200)
}
