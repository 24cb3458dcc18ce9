// SPDX-License-Identifier: MIT
#include "night/star_residuals.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <map>

#include "night/synthetic_fluxes.hpp"

using namespace emberline;
using namespace emberline::test;

namespace {

// Twelve frames each of three nights, one star 0.15 mag brighter in the catalogue than it is.
struct Case {
    std::vector<SyntheticStar> stars = synthetic_stars();
    std::vector<photometry::FrameFluxes> frames;
    standard::Sequence sequence;
    night::Solution solution;

    explicit Case(double wrong_mag, double colour_term = 0.0) {
        stars[3].catalogue_off_mag = -wrong_mag;
        night::Campaign campaign;
        campaign.check_label = "131";
        std::vector<SyntheticFrame> plan;
        for (int n = 0; n < 3; ++n) {
            SyntheticFrame example;
            example.night = "2024-02-0" + std::to_string(3 + n);
            example.name = "N" + std::to_string(n);
            example.jd += 1.0 * n;
            for (const SyntheticFrame& frame : series_of(example, 12))
                plan.push_back(frame);
        }
        SyntheticCamera camera;
        camera.colour_term = colour_term;
        frames = synthetic_fluxes(plan, stars, camera, campaign.measure, 11);
        for (std::size_t i = 0; i < frames.size(); ++i)
            frames[i].fingerprint = "f" + std::to_string(i);
        sequence = catalogue_of(stars);
        auto solved = night::solve_campaign(frames, sequence, campaign, {});
        if (!solved) FAIL(one_line(solved.error()));
        solution = std::move(solved->solution);
    }
};

// Without any of the library's own sums: magnitudes of the used aperture's light, frame by frame.
std::map<std::string, double> by_hand(const Case& c, const std::string& night) {
    double mean_colour_mag = 0.0;
    std::map<std::string, double> colours;
    for (const SyntheticStar& star : c.stars) {
        colours[star.label] = star.colour_mag;
        if (star.role == standard::Role::comparison) mean_colour_mag += star.colour_mag / 8.0;
    }
    std::map<std::string, std::pair<double, double>> sums;
    for (const night::FrameMeasurement& m : c.solution.frames) {
        if (m.night != night) continue;
        for (const photometry::FrameFluxes& f : c.frames) {
            if (f.fingerprint != m.fingerprint) continue;
            std::size_t k = 0;
            while (std::abs(f.apertures[k].radius_px - m.aperture_px) > 1e-9)
                ++k;
            for (const photometry::StarFlux& star : f.stars) {
                if (star.label == photometry::transient_label) continue;
                const double flux = star.flux_e[k];
                // Merline & Howell 1995, Exp. Astron. 6, 163 (from memory): photons, the sky's noise in each
                // pixel, and what the sky's mean is uncertain by.
                const double s2 = star.sky_scatter_e * star.sky_scatter_e;
                const double area = star.area_px[k];
                const double variance = flux + area * s2 + area * area * s2 / star.sky_pixels;
                const double weight = flux * flux / variance;
                const double shift = m.colour_term.value_or(0.0) * (colours[star.label] - mean_colour_mag);
                sums[star.label].first += weight * (m.zero_point_mag + shift - 2.5 * std::log10(flux));
                sums[star.label].second += weight;
            }
        }
    }
    std::map<std::string, double> out;
    for (const auto& [label, sum] : sums)
        out[label] = sum.first / sum.second;
    return out;
}

}  // namespace

TEST_CASE("a star's residual is what its catalogue magnitude is wrong by, in every night and frame",
          "[residuals]") {
    constexpr double wrong_mag = 0.15;
    const Case c(wrong_mag);
    for (const night::NightMeasurement& night : c.solution.nights) {
        const auto residuals = night::night_residuals(c.frames, c.solution, c.sequence, night);
        REQUIRE(residuals.size() == 9);
        const auto expected = by_hand(c, night.night);
        double others = 0.0;
        for (const night::StarResidual& r : residuals) {
            INFO(night.night << " star " << r.label);
            CHECK(r.frames == 12);
            CHECK(r.measured_mag == Approx(expected.at(r.label)).margin(2e-4));
            CHECK(r.residual_mag == Approx(r.measured_mag - r.catalogue_mag.value).margin(1e-12));
            if (r.label != c.stars[3].label) others += r.residual_mag / 8.0;
        }
        // Measured − catalogue: the star is fainter than the catalogue says. What it drags the zero point by
        // is in all residuals alike.
        CHECK(residuals[3].residual_mag - others == Approx(wrong_mag).margin(4.0 * residuals[3].err_mag));
    }
}

TEST_CASE("a frame's residuals scatter by their errors, and average to the night's", "[residuals]") {
    const Case c(0.0, 0.05);
    double chi2 = 0.0;
    std::size_t n = 0;
    std::map<std::string, std::pair<std::vector<double>, std::vector<double>>> nights;
    const auto residuals = night::night_residuals(c.frames, c.solution, c.sequence, c.solution.nights[0]);
    for (const night::FrameMeasurement& m : c.solution.frames) {
        if (m.night != c.solution.nights[0].night) continue;
        for (const photometry::FrameFluxes& f : c.frames) {
            if (f.fingerprint != m.fingerprint) continue;
            const auto of_frame = night::frame_residuals(f, m, c.sequence);
            REQUIRE(of_frame.size() == 9);
            for (std::size_t i = 0; i < of_frame.size(); ++i) {
                CHECK(of_frame[i].label == residuals[i].label);
                nights[of_frame[i].label].first.push_back(of_frame[i].residual_mag);
                nights[of_frame[i].label].second.push_back(of_frame[i].err_mag);
                const double away =
                    (of_frame[i].residual_mag - residuals[i].residual_mag) / of_frame[i].err_mag;
                chi2 += away * away;
                ++n;
            }
        }
    }
    for (const night::StarResidual& r : residuals) {
        const auto mean = night::mean_residual(nights[r.label].first, nights[r.label].second);
        CHECK(mean.residual_mag == Approx(r.residual_mag).margin(1e-12));
        CHECK(mean.err_mag == Approx(r.err_mag).margin(1e-12));
        CHECK(mean.frames == r.frames);
        // The catalogue is right, and colours are reckoned with: 0.05 mag per mag would show.
        CHECK(std::abs(r.residual_mag) < 0.01);
    }
    // 9 stars less their means less the frames' zero points of 12 frames: 88 degrees of freedom of 108;
    // chance keeps chi²/n of them within 0.5 and 1.15 in 999 of 1000 cases.
    REQUIRE(n == 108);
    CHECK(chi2 / static_cast<double>(n) > 0.5);
    CHECK(chi2 / static_cast<double>(n) < 1.15);
}

TEST_CASE("a frame that has no zero point has no residuals, and lost light is left out", "[residuals]") {
    Case c(0.0);
    night::FrameMeasurement refused = c.solution.frames[0];
    refused.aperture_px = 0.0;
    const auto frame = [&]() -> photometry::FrameFluxes& {
        for (photometry::FrameFluxes& f : c.frames) {
            if (f.fingerprint == refused.fingerprint) return f;
        }
        FAIL("the frame is there");
        return c.frames[0];
    };
    CHECK(night::frame_residuals(frame(), refused, c.sequence).empty());
    for (Caveats& caveats : frame().stars[2].caveats)
        caveats.add(Caveat::saturated);
    const std::string lost = frame().stars[2].label;
    const auto rest = night::frame_residuals(frame(), c.solution.frames[0], c.sequence);
    CHECK(rest.size() == 8);
    for (const night::FrameResidual& r : rest)
        CHECK(r.label != lost);
}
