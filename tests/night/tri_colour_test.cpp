// SPDX-License-Identifier: MIT
// Three magnitudes of one frame of a colour camera, from fluxes made of a known sky.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "night/aperture_grid.hpp"
#include "night/solve_campaign.hpp"
#include "night/star_noise.hpp"
#include "numerics/random.hpp"
#include "photometry/noise.hpp"
#include "quantities/magnitude.hpp"

using namespace emberline;
using night::CampaignSolution;
using night::NightMeasurement;

namespace {

constexpr double sky_pixels = 500.0, fwhm_px = 2.0, scale_arcsec_per_px = 2.4;

struct Star {
    std::string label;
    double v_mag, b_v, v_r;
};

std::vector<Star> sky_of_stars() {
    std::vector<Star> stars;
    for (int i = 0; i < 12; ++i) {
        const double b_v = 0.3 + 0.08 * ((5 * i) % 12);
        stars.push_back({fmt::format("{}", 110 + 2 * i), 11.0 + 0.2 * i, b_v, 0.02 + 0.57 * b_v});
    }
    return stars;
}

struct Setting {
    std::array<double, 3> term{0.3, -0.15, -0.3};  // of TB, TG, TR: M = m + T C
    std::array<double, 3> zero_point_mag{25.0, 25.6, 25.3};
    double sky_scatter_e = 30.0;
    double transient_v_mag = 14.0, b_v = 0.5, v_r = 0.35;  // off the stars' line in V − Rc
    double catalogue_err_mag = 0.02;
    std::string bands = "BVR";  // of the sequence
    int frames = 8;
    bool exchanged = false;  // red and blue
    double place_err = 0.0;
    bool dithered = true;
    night::Campaign campaign;
    std::vector<Star> stars = sky_of_stars();
};

double enclosed(double radius_px) {  // of a Gaussian image
    return 1.0 - std::exp2(-4.0 * radius_px * radius_px / (fwhm_px * fwhm_px));
}

std::array<double, 3> standard_of(double v_mag, double b_v, double v_r) {
    return {v_mag + b_v, v_mag, v_mag - v_r};
}

standard::Sequence sequence_of(const Setting& set, numerics::Random& random) {
    standard::Sequence sequence;
    sequence.source = "synthetic";
    for (const char band : set.bands)
        sequence.bands.push_back(*parse_band(std::string(1, band)));
    for (const Star& star : set.stars) {
        standard::ComparisonStar entry;
        entry.label = star.label;
        for (const Band& band : sequence.bands) {
            const auto truth = standard_of(star.v_mag, star.b_v, star.v_r);
            const double mag = truth[band.name() == "B" ? 0 : band.name() == "V" ? 1 : 2];
            entry.magnitudes[band] = {mag + random.gaussian(0.0, set.catalogue_err_mag),
                                      set.catalogue_err_mag};
        }
        sequence.stars.push_back(std::move(entry));
    }
    return sequence;
}

std::vector<photometry::FrameFluxes> fluxes_of(const Setting& set, numerics::Random& random) {
    constexpr std::array<const char*, 3> names{"TB", "TG", "TR"};
    std::vector<photometry::FrameFluxes> all;
    for (int n = 0; n < set.frames; ++n) {
        for (std::size_t b = 0; b < 3; ++b) {
            photometry::FrameFluxes frame;
            frame.frame = fmt::format("colour_{:03}.fits", n);
            frame.fingerprint = frame.frame;
            frame.plane = static_cast<int>(2 - b);
            frame.night = "2024-02-03";
            frame.band = *parse_band(names[set.exchanged ? 2 - b : b]);
            frame.instrument = "main";
            frame.mid_exposure = {2460344.0, 0.5 + n / 144.0, TimeScale::utc};
            frame.bjd_tdb = 2460344.503 + n / 144.0;
            frame.exposure_s = 60.0;
            frame.airmass = 1.2;
            frame.fwhm_px = fwhm_px;
            frame.scale_arcsec_per_px = scale_arcsec_per_px;
            frame.apertures = night::aperture_grid(fwhm_px, scale_arcsec_per_px, set.campaign.measure);
            const auto add = [&](const std::string& label, double v_mag, double b_v, double v_r) {
                const double colour = b == 2 ? v_r : b_v;
                const double standard_mag = standard_of(v_mag, b_v, v_r)[b];
                const double total_e =
                    flux_ratio(standard_mag - set.term[b] * colour - set.zero_point_mag[b]);
                photometry::StarFlux star;
                star.label = label;
                star.airmass = 1.2;
                star.sky_scatter_e = set.sky_scatter_e;
                star.sky_pixels = sky_pixels;
                star.position = {40.0 + (set.dithered ? 1.7 * n : 0.0), 60.0};
                double light = 0.0, area = 0.0, sum = 0.0;
                for (const auto& aperture : frame.apertures) {
                    const double next = enclosed(aperture.radius_px) * total_e;
                    const double next_area = photometry::square_area_px(
                        std::numbers::pi * aperture.radius_px * aperture.radius_px);
                    sum += next - light +
                           random.gaussian(
                               0.0, std::sqrt(next - light +
                                              (next_area - area) * set.sky_scatter_e * set.sky_scatter_e));
                    light = next;
                    area = next_area;
                    star.flux_e.push_back(sum);
                    star.area_px.push_back(std::numbers::pi * aperture.radius_px * aperture.radius_px);
                    star.place_err.push_back(set.place_err);
                }
                star.caveats.assign(frame.apertures.size(), {});
                frame.stars.push_back(std::move(star));
            };
            add(photometry::transient_label, set.transient_v_mag, set.b_v, set.v_r);
            for (const Star& star : set.stars)
                add(star.label, star.v_mag, star.b_v, star.v_r);
            frame.stars_expected = frame.stars_found = static_cast<int>(set.stars.size());
            all.push_back(std::move(frame));
        }
    }
    return all;
}

CampaignSolution solved(const Setting& set, std::uint64_t seed) {
    numerics::Random random(seed);
    const auto sequence = sequence_of(set, random);
    night::Campaign campaign = set.campaign;
    campaign.folder = "synthetic";
    auto out = night::solve_campaign(fluxes_of(set, random), sequence, campaign, {});
    REQUIRE(out);
    return std::move(*out);
}

const NightMeasurement* night_in(const CampaignSolution& s, const std::string& band) {
    for (const NightMeasurement& n : s.solution.nights) {
        if (n.band.name() == band) return &n;
    }
    return nullptr;
}

double shared(const night::Measurement& a, const night::Measurement& b) {
    double sum = 0.0;
    for (const auto& one : a.common) {
        for (const auto& other : b.common) {
            if (one.name == other.name) sum += one.err_mag * other.err_mag;
        }
    }
    return sum;
}

}  // namespace

TEST_CASE("three magnitudes of one frame, by colour terms as large as dyes make them", "[tricolour]") {
    const Setting set;
    const auto truth = standard_of(set.transient_v_mag, set.b_v, set.v_r);
    constexpr std::array<const char*, 3> names{"TB", "TG", "TR"};
    constexpr int campaigns = 60;
    std::array<double, 3> off{}, pull2{}, term{};
    for (int i = 0; i < campaigns; ++i) {
        const auto s = solved(set, 900 + static_cast<std::uint64_t>(i));
        CHECK(s.remarks.empty());
        for (std::size_t b = 0; b < 3; ++b) {
            const NightMeasurement* night = night_in(s, names[b]);
            REQUIRE(night != nullptr);
            REQUIRE(night->magnitude_mag);
            CHECK(night->transformed);
            CHECK(night->colour_index == (b == 2 ? "V-Rc" : "B-V"));
            CHECK(night->caveats.has(Caveat::sequence_mixed_band));
            CHECK(night->caveats.has(Caveat::spectrum_not_stellar));
            CHECK_FALSE(night->caveats.has(Caveat::colour_unknown));
            CHECK_FALSE(night->caveats.has(Caveat::pattern_doubtful));
            const double error = *night->magnitude_mag - truth[b];
            off[b] += error / campaigns;
            pull2[b] += std::pow(error / *night->total_err_mag(), 2) / campaigns;
            term[b] += *night->colour_term / campaigns;
        }
    }
    for (std::size_t b = 0; b < 3; ++b) {
        INFO(names[b] << ": off by " << off[b] << " mag, pull² " << pull2[b] << ", T " << term[b]);
        // 0.02 mag of catalogue error over 12 stars and 60 campaigns: 1 mmag, somewhat more with the colour.
        CHECK(std::abs(off[b]) < 0.004);
        // A prior that is zero with an error of 0.2 to 0.4 pulls a term known to 0.02–0.04 by 1 % of it.
        CHECK(term[b] == Approx(set.term[b]).margin(0.02));
        CHECK(pull2[b] == Approx(1.0).margin(0.45));  // 2.5 times √(2/60)
    }
}

TEST_CASE("bands that correct each other share their noise, and the errors say how", "[tricolour]") {
    // Terms known from before and a catalogue without error: what is left is the transient's noise.
    Setting set;
    set.catalogue_err_mag = 1e-4;
    set.frames = 1;
    set.transient_v_mag = 16.3;
    set.campaign.measure.aperture_fwhm = 1.2;
    const std::array<const char*, 3> names{"TB", "TG", "TR"};
    for (std::size_t b = 0; b < 3; ++b)
        set.campaign.colour_terms["main"][names[b]] = {set.term[b], 1e-4};
    const auto truth = standard_of(set.transient_v_mag, set.b_v, set.v_r);
    constexpr int campaigns = 1500;
    std::array<std::array<double, 3>, 3> seen{}, said{};
    for (int i = 0; i < campaigns; ++i) {
        const auto s = solved(set, 70000 + static_cast<std::uint64_t>(i));
        std::array<double, 3> error{};
        for (std::size_t a = 0; a < 3; ++a)
            error[a] = *night_in(s, names[a])->magnitude_mag - truth[a];
        for (std::size_t a = 0; a < 3; ++a) {
            for (std::size_t b = 0; b < 3; ++b) {
                const NightMeasurement &one = *night_in(s, names[a]), &other = *night_in(s, names[b]);
                seen[a][b] += error[a] * error[b] / campaigns;
                said[a][b] +=
                    (shared(one, other) + (a == b ? std::pow(*one.random_err_mag, 2) : 0.0)) / campaigns;
            }
        }
    }
    for (std::size_t a = 0; a < 3; ++a) {
        for (std::size_t b = a; b < 3; ++b) {
            const double scale = std::sqrt(said[a][a] * said[b][b]);
            INFO(names[a] << ", " << names[b] << ": correlation seen " << seen[a][b] / scale << ", said "
                          << said[a][b] / scale);
            // 1500 draws: 0.026 of a correlation, 0.037 of a variance, one sigma; three of them, and what a
            // logarithm of a flux known to 4 % adds.
            CHECK(seen[a][b] / scale == Approx(said[a][b] / scale).margin(a == b ? 0.12 : 0.08));
        }
    }
    // Blue's light in green and green's in blue do not cancel: it is no small matter.
    CHECK(std::abs(said[0][1]) / std::sqrt(said[0][0] * said[1][1]) > 0.1);
    // A frame alone in its night has what the night has.
    const auto s = solved(set, 70000);
    for (const auto& frame : s.solution.frames) {
        const NightMeasurement* night = night_in(s, frame.band.name());
        CHECK(*frame.random_err_mag == Approx(*night->random_err_mag));
        CHECK(frame.common == night->common);
        CHECK(frame.flux_e.err / frame.flux_e.value ==
              Approx(night->flux_e.err / night->flux_e.value).epsilon(1e-6));
    }
}

TEST_CASE("a sequence of V alone leaves green untransformed, and says what is not known", "[tricolour]") {
    Setting set;
    set.bands = "V";
    const auto s = solved(set, 5);
    const NightMeasurement* green = night_in(s, "TG");
    REQUIRE(green != nullptr);
    CHECK_FALSE(green->transformed);
    CHECK_FALSE(green->colour_mag);
    CHECK(green->caveats.has(Caveat::colour_unknown));
    CHECK(green->caveats.has(Caveat::sequence_mixed_band));
    // The correction that was not made is in the error: T (C − C̄) with a term of 0.2, a colour of 0.3.
    CHECK(*green->common_err_mag == Approx(0.06).margin(0.01));
    CHECK(std::abs(*green->magnitude_mag - 14.0) < 2.0 * *green->total_err_mag());
    CHECK(night_in(s, "TB") == nullptr);
    CHECK(night_in(s, "TR") == nullptr);
    CHECK(s.remarks.size() == 2);
    for (const auto& frame : s.solution.frames) {
        CHECK(frame.used == (frame.band.name() == "TG"));
        if (!frame.used) CHECK(frame.reason.find("No comparison star has a magnitude") != std::string::npos);
    }
}

TEST_CASE("without Rc the red is left out, and green has its colour all the same", "[tricolour]") {
    Setting set;
    set.bands = "BV";
    const auto s = solved(set, 6);
    CHECK(night_in(s, "TG")->transformed);
    CHECK(night_in(s, "TB")->transformed);
    CHECK(night_in(s, "TR") == nullptr);
    CHECK(std::abs(*night_in(s, "TG")->magnitude_mag - 14.0) < 3.0 * *night_in(s, "TG")->total_err_mag());
}

TEST_CASE("the observer's colour wins over what the frames tell", "[tricolour]") {
    Setting set;
    set.campaign.colours["B-V"] = 0.9;
    const auto s = solved(set, 7);
    CHECK(*night_in(s, "TG")->colour_mag == 0.9);
    CHECK(*night_in(s, "TB")->colour_mag == 0.9);
    // Wrong by 0.4 mag, as far as the term makes of it.
    CHECK(*night_in(s, "TG")->magnitude_mag - 14.0 == Approx(set.term[1] * 0.4).margin(0.03));
    // V − Rc is then of a V with that colour: TR is not far off.
    CHECK(*night_in(s, "TR")->colour_mag == Approx(0.35 + set.term[1] * 0.4).margin(0.06));
}

TEST_CASE("red and blue exchanged by a wrong pattern are named", "[tricolour]") {
    Setting set;
    set.exchanged = true;
    const auto s = solved(set, 8);
    REQUIRE(s.remarks.size() == 1);
    CHECK(s.remarks[0].find("red and blue exchanged") != std::string::npos);
    CHECK(s.remarks[0].find("`pattern`") != std::string::npos);
    for (const NightMeasurement& night : s.solution.nights)
        CHECK(night.caveats.has(Caveat::pattern_doubtful));
    for (const auto& frame : s.solution.frames)
        CHECK(frame.caveats.has(Caveat::pattern_doubtful));
}

TEST_CASE("stars of one colour, or three of them, doubt no pattern", "[tricolour]") {
    for (const bool few : {false, true}) {
        Setting set;
        set.exchanged = true;
        if (few) {
            set.stars.resize(3);
        } else {
            for (std::size_t i = 0; i < set.stars.size(); ++i)
                set.stars[i].b_v = set.stars[i].v_r = 0.5 + 0.01 * static_cast<double>(i);
        }
        const auto s = solved(set, 9);
        CHECK(s.remarks.empty());
        for (const NightMeasurement& night : s.solution.nights)
            CHECK_FALSE(night.caveats.has(Caveat::pattern_doubtful));
    }
}

TEST_CASE("what its place does to the transient averages out over places, not over frames", "[tricolour]") {
    Setting set;
    set.frames = 9;
    set.transient_v_mag = 10.5;
    set.place_err = 0.02;
    set.campaign.colours = {{"B-V", set.b_v}, {"V-Rc", set.v_r}};  // no noise of other bands
    const double still_mag = [&] {
        set.dithered = false;
        return *night_in(solved(set, 10), "TG")->random_err_mag;
    }();
    set.dithered = true;
    const double moved_mag = *night_in(solved(set, 10), "TG")->random_err_mag;
    CHECK(still_mag == Approx(0.02 * mag_per_relative_flux).epsilon(0.1));
    CHECK(moved_mag == Approx(still_mag / 3.0).epsilon(0.2));
}

TEST_CASE("the error of place counts by the light that is expected", "[tricolour]") {
    numerics::Random random(3);
    Setting set;
    set.place_err = 0.05;
    const auto frame = fluxes_of(set, random).front();
    photometry::StarFlux star = frame.stars.front();
    const double faint = night::noise_terms(frame, star, 3).variance_e2(-200.0);
    CHECK(night::noise_terms(frame, star, 3).variance_e2(1e5) ==
          Approx(1e5 + night::noise_terms(frame, star, 3).background_e2 + std::pow(0.05 * 1e5, 2)));
    CHECK(faint == night::noise_terms(frame, star, 3).background_e2);
    star.place_err.clear();
    CHECK(night::noise_terms(frame, star, 3).variance_e2(1e5) == Approx(1e5 + faint));
}
