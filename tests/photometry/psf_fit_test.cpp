// SPDX-License-Identifier: MIT
#include "photometry/psf_fit.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>

#include "numerics/random.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double gaussian_beta = 1e6;  // (1 + q)^−β is e^(−β q) to a millionth there
constexpr std::uint64_t seed = 20260311;
const double not_a_number = std::numeric_limits<double>::quiet_NaN();

Psf psf_of(double fwhm, double beta = gaussian_beta) {
    return Psf::make({fwhm, beta, 1.0, 0.0}).value();
}

struct Truth {
    frame::PixelPosition position;
    double flux = 0.0;
};

// Light of the PSF itself on a level sky, without noise.
frame::Cutout plate(const Psf& psf, const std::vector<Truth>& stars, double sky, int half = 20) {
    frame::Cutout out{{-half, -half, 2 * half + 1, 2 * half + 1}, {}};
    std::vector<double> light(static_cast<std::size_t>(out.box.width * out.box.height), sky);
    for (const Truth& star : stars) {
        const auto stamp = psf.stamp(star.position, out.box);
        for (std::size_t k = 0; k < light.size(); ++k)
            light[k] += star.flux * stamp[k];
    }
    out.adu.assign(light.begin(), light.end());
    return out;
}

frame::Cutout noisy(const frame::Cutout& clean, double sky, const PixelNoise& noise,
                    numerics::Random& random) {
    frame::Cutout out = clean;
    for (float& adu : out.adu) {
        const auto expected = static_cast<double>(adu);
        adu = static_cast<float>(expected +
                                 random.gaussian(0.0, std::sqrt(noise.variance_adu2(expected - sky))));
    }
    return out;
}

struct Scatter {
    std::size_t n = 0;
    double sum = 0.0, squares = 0.0;
    void add(double v) {
        ++n;
        sum += v;
        squares += v * v;
    }
    [[nodiscard]] double mean() const { return sum / static_cast<double>(n); }
    [[nodiscard]] double variance() const {
        return (squares - sum * sum / static_cast<double>(n)) / static_cast<double>(n - 1);
    }
};

}  // namespace

TEST_CASE("a clean star's light is returned exactly, whichever weights", "[psf_fit]") {
    for (const double beta : {2.5, 3.5, gaussian_beta}) {
        const Psf psf = psf_of(2.6, beta);
        const Truth star{{0.31, -0.44}, 25000.0};
        const auto image = plate(psf, {star}, 120.0);
        for (const PsfWeights weights : {PsfWeights::equal, PsfWeights::optimal}) {
            for (const bool free : {false, true}) {
                PsfFitOptions options;
                options.weights = weights;
                const frame::PixelPosition start = free ? frame::PixelPosition{0.0, 0.0} : star.position;
                const auto fit = fit_psf(image, psf, {{start, free}}, {1.5, 8.0}, options);
                REQUIRE(fit);
                CHECK(fit->sources[0].flux_adu == Approx(25000.0).epsilon(1e-5));
                CHECK(fit->sky_adu == Approx(120.0).margin(1e-2));
                CHECK(fit->sources[0].position.x == Approx(0.31).margin(1e-4));
                CHECK(fit->sources[0].position.y == Approx(-0.44).margin(1e-4));
                CHECK((fit->sources[0].x_err_px > 0.0) == free);
                CHECK(fit->masked == 0);
                CHECK(fit->covariance.rows() == (free ? 4U : 2U));
            }
        }
    }
}

TEST_CASE("flux and position reach the Cramér–Rao bound in flat noise", "[psf_fit]") {
    // King 1983, PASP 95, 163: 1/Σ P² = 4πσ² px for a Gaussian, hence Var F = 4πσ² s². For the position
    // Σ (F ∂P/∂x)² = F² ∫ (x/σ²)² P² = F² · (1/(4πσ²)) · (1/σ⁴) · σ²/2 = F²/(8πσ⁴), hence Var x = 8πσ⁴ s²/F².
    // Pixels add 1/12 px² to σ² (and leave the shape Gaussian to a thousandth at FWHM 4).
    constexpr double fwhm = 4.0, s = 5.0, flux = 4000.0;
    const double variance = fwhm * fwhm / (8.0 * std::numbers::ln2) + 1.0 / 12.0;
    const double flux_bound = 4.0 * std::numbers::pi * variance * s * s;
    const double place_bound = 8.0 * std::numbers::pi * variance * variance * s * s / (flux * flux);
    const Psf psf = psf_of(fwhm);
    const PixelNoise noise{1e12, s};  // no photon noise
    const Truth star{{0.2, -0.3}, flux};
    const auto clean = plate(psf, {star}, 0.0);
    numerics::Random random(seed);
    INFO("seed " << seed);
    PsfFitOptions options;
    options.sky_adu = 0.0;
    options.radius_px = 12.0;
    Scatter fluxes, places;
    double told = 0.0, told_place = 0.0;
    constexpr int trials = 3000;
    for (int k = 0; k < trials; ++k) {
        const auto fit =
            fit_psf(noisy(clean, 0.0, noise, random), psf, {{star.position, true}}, noise, options);
        REQUIRE(fit);
        fluxes.add(fit->sources[0].flux_adu);
        places.add(fit->sources[0].position.x);
        told += fit->sources[0].flux_err_adu / trials;
        told_place += fit->sources[0].x_err_px / trials;
    }
    // A variance from 3000 trials has a relative sigma of √(2/3000) = 2.6 %; three of them.
    CHECK(fluxes.variance() == Approx(flux_bound).epsilon(0.08));
    CHECK(places.variance() == Approx(place_bound).epsilon(0.08));
    CHECK(told * told == Approx(flux_bound).epsilon(0.01));
    CHECK(told_place * told_place == Approx(place_bound).epsilon(0.01));
    CHECK(std::abs(fluxes.mean() - flux) < 4.0 * std::sqrt(flux_bound / trials));
}

TEST_CASE("optimal weights give Naylor's least variance, equal ones more, both as they say", "[psf_fit]") {
    // Naylor 1998, MNRAS 296, 339: with weights P/V the flux has Var F = 1/Σ(P²/V).
    constexpr double flux = 60000.0, s = 10.0;
    const Psf psf = psf_of(2.5, 3.5);
    const PixelNoise noise{1.0, s};
    const Truth star{{0.1, 0.4}, flux};
    const auto clean = plate(psf, {star}, 0.0);
    double information = 0.0;
    constexpr double radius = 6.0;
    for (int y = -20; y <= 20; ++y) {
        for (int x = -20; x <= 20; ++x) {
            if (std::hypot(x - star.position.x, y - star.position.y) > radius) continue;
            const double share = psf.share(star.position, x, y);
            information += share * share / noise.variance_adu2(flux * share);
        }
    }
    numerics::Random random(seed + 1);
    INFO("seed " << seed + 1);
    double measured[2] = {}, told[2] = {};
    for (const PsfWeights weights : {PsfWeights::equal, PsfWeights::optimal}) {
        PsfFitOptions options;
        options.sky_adu = 0.0;
        options.radius_px = radius;
        options.weights = weights;
        Scatter fluxes;
        constexpr int trials = 3000;
        const auto which = static_cast<std::size_t>(weights == PsfWeights::optimal);
        for (int k = 0; k < trials; ++k) {
            const auto fit =
                fit_psf(noisy(clean, 0.0, noise, random), psf, {{star.position, false}}, noise, options);
            REQUIRE(fit);
            fluxes.add(fit->sources[0].flux_adu);
            told[which] += fit->sources[0].flux_err_adu / trials;
        }
        measured[which] = fluxes.variance();
        CHECK(std::abs(fluxes.mean() - flux) < 4.0 * std::sqrt(fluxes.variance() / trials));
        CHECK(std::pow(told[which], 2) == Approx(measured[which]).epsilon(0.08));
    }
    CHECK(measured[1] == Approx(1.0 / information).epsilon(0.08));
    CHECK(told[1] * told[1] == Approx(1.0 / information).epsilon(1e-3));
    CHECK(told[0] > 1.05 * told[1]);
}

TEST_CASE("with equal weights the flux is linear in the pixels", "[psf_fit]") {
    // The same noise pattern on a faint and on a bright star changes both fluxes by the same amount.
    const Psf psf = psf_of(2.5, 3.5);
    const PixelNoise noise{1.0, 8.0};
    PsfFitOptions options;
    options.weights = PsfWeights::equal;
    numerics::Random random(seed + 2);
    const auto empty = noisy(plate(psf, {}, 0.0), 0.0, noise, random);
    std::vector<double> left;
    for (const double flux : {0.0, 300.0, 30000.0}) {
        auto image = plate(psf, {{{0.2, 0.1}, flux}}, 0.0);
        for (std::size_t k = 0; k < image.adu.size(); ++k)
            image.adu[k] += empty.adu[k];
        const auto fit = fit_psf(image, psf, {{{0.2, 0.1}, false}}, noise, options);
        REQUIRE(fit);
        left.push_back(fit->sources[0].flux_adu - flux);
    }
    CHECK(left[1] == Approx(left[0]).margin(0.01));
    CHECK(left[2] == Approx(left[0]).margin(0.05));  // pixels are floats
}

TEST_CASE("blended stars part into both lights with the covariance that they scatter by", "[psf_fit]") {
    const Psf psf = psf_of(3.0, 3.2);
    const PixelNoise noise{2.0, 6.0};
    const std::vector<Truth> stars{{{-1.0, 0.3}, 20000.0}, {{1.7, -0.4}, 6000.0}};
    const auto clean = plate(psf, stars, 50.0);
    numerics::Random random(seed + 3);
    INFO("seed " << seed + 3);
    for (const bool free : {false, true}) {
        Scatter first, second, both;
        double told_first = 0.0, told_second = 0.0, told_both = 0.0;
        constexpr int trials = 1500;
        for (int k = 0; k < trials; ++k) {
            const auto fit = fit_psf(noisy(clean, 50.0, noise, random), psf,
                                     {{stars[0].position, free}, {stars[1].position, free}}, noise);
            REQUIRE(fit);
            first.add(fit->sources[0].flux_adu);
            second.add(fit->sources[1].flux_adu);
            both.add(fit->sources[0].flux_adu + fit->sources[1].flux_adu);
            const auto& c = fit->covariance;
            told_first += c(0, 0) / trials;
            told_second += c(1, 1) / trials;
            told_both += (c(0, 0) + 2.0 * c(0, 1) + c(1, 1)) / trials;
        }
        // Relative sigma of a variance √(2/1500) = 3.7 %; three of them.
        CHECK(first.variance() == Approx(told_first).epsilon(0.11));
        CHECK(second.variance() == Approx(told_second).epsilon(0.11));
        CHECK(both.variance() == Approx(told_both).epsilon(0.11));
        CHECK(std::abs(first.mean() - 20000.0) < 4.0 * std::sqrt(told_first / trials) + 2.0);
        CHECK(std::abs(second.mean() - 6000.0) < 4.0 * std::sqrt(told_second / trials) + 2.0);
    }
}

TEST_CASE("chi-squared of a right model is its degrees of freedom", "[psf_fit]") {
    const Psf psf = psf_of(2.5, 3.5);
    const PixelNoise noise{1.3, 6.0};
    numerics::Random random(seed + 4);
    const auto clean = plate(psf, {{{0.0, 0.0}, 9000.0}}, 10.0);
    Scatter ratio;
    for (int k = 0; k < 400; ++k) {
        const auto fit = fit_psf(noisy(clean, 10.0, noise, random), psf, {{{0.1, 0.0}, true}}, noise);
        REQUIRE(fit);
        ratio.add(fit->chi2 / static_cast<double>(fit->dof));
    }
    CHECK(ratio.mean() == Approx(1.0).margin(0.04));
}

TEST_CASE("more variance in a pixel takes its say away", "[psf_fit]") {
    const Psf psf = psf_of(2.5, 3.5);
    auto image = plate(psf, {{{0.0, 0.0}, 9000.0}}, 0.0);
    std::vector<double> variance(image.adu.size(), 0.0);
    PsfFitOptions options;
    options.sky_adu = 0.0;
    const auto before = fit_psf(image, psf, {{{0.0, 0.0}, false}}, {1.0, 5.0}, options, variance);
    const std::size_t centre = image.adu.size() / 2;
    image.adu[centre] += 400.0F;
    variance[centre] = 1e12;
    const auto fit = fit_psf(image, psf, {{{0.0, 0.0}, false}}, {1.0, 5.0}, options, variance);
    REQUIRE((before && fit));
    CHECK(fit->sources[0].flux_adu == Approx(9000.0).margin(0.1));
    CHECK(fit->sources[0].flux_err_adu > before->sources[0].flux_err_adu);
}

TEST_CASE("a cosmic ray beside the core is masked and the star keeps its light", "[psf_fit]") {
    const Psf psf = psf_of(2.8, 3.5);
    const PixelNoise noise{1.0, 6.0};
    numerics::Random random(seed + 5);
    for (const auto& [dx, dy] : {std::pair{2, 1}, {0, -3}, {-1, 0}, {0, 0}}) {
        auto image = noisy(plate(psf, {{{0.1, 0.2}, 3000.0}}, 0.0), 0.0, noise, random);
        image.at(dx, dy) += 2500.0F;
        const auto fit = fit_psf(image, psf, {{{0.1, 0.2}, false}}, noise);
        REQUIRE(fit);
        INFO("ray at " << dx << ", " << dy);
        CHECK(fit->masked >= 1);
        CHECK(std::abs(fit->sources[0].flux_adu - 3000.0) < 4.0 * fit->sources[0].flux_err_adu);
    }
}

TEST_CASE("no core is taken for a cosmic ray, though the PSF be a little wrong", "[psf_fit]") {
    // Bright stars sharper or blurrier by 5 %, undersampled and not.
    for (const double fwhm : {1.5, 2.5, 5.0}) {
        for (const double wrong : {0.95, 1.05}) {
            for (const double shift : {0.0, 0.5}) {
                const auto image = plate(psf_of(fwhm * wrong, 3.5), {{{shift, shift}, 1e6}}, 0.0);
                const auto fit = fit_psf(image, psf_of(fwhm, 3.5), {{{shift, shift}, true}}, {1.0, 5.0});
                REQUIRE(fit);
                INFO("FWHM " << fwhm << " by " << wrong << ", shift " << shift);
                CHECK(fit->masked == 0);
                CHECK(fit->sources[0].flux_adu == Approx(1e6).epsilon(0.1));
            }
        }
    }
}

TEST_CASE("undefined pixels take no part and are counted", "[psf_fit]") {
    const Psf psf = psf_of(2.8, 3.5);
    auto image = plate(psf, {{{0.1, 0.2}, 3000.0}}, 7.0);
    image.at(0, 0) = std::numeric_limits<float>::quiet_NaN();
    image.at(1, 1) = std::numeric_limits<float>::infinity();
    const auto fit = fit_psf(image, psf, {{{0.1, 0.2}, false}}, {1.0, 5.0});
    REQUIRE(fit);
    CHECK(fit->masked == 2);
    CHECK(fit->sources[0].flux_adu == Approx(3000.0).margin(0.5));
}

TEST_CASE("fits that cannot be made are refused with the reason", "[psf_fit][hostile]") {
    const Psf psf = psf_of(2.5, 3.5);
    const auto image = plate(psf, {{{0.0, 0.0}, 5000.0}}, 0.0);
    const PixelNoise noise{1.0, 5.0};
    const auto refused = [&](const frame::Cutout& cutout, const std::vector<PsfSource>& sources,
                             const std::string& word, const PsfFitOptions& options = {}) {
        const auto fit = fit_psf(cutout, psf, sources, noise, options);
        INFO("expected: " << word);
        REQUIRE_FALSE(fit);
        CHECK_THAT(fit.error().what, Catch::Contains(word));
        CHECK_FALSE(fit.error().mend.empty());
    };
    refused(image, {}, "no source");
    refused(image, {{{40.0, 0.0}, false}}, "off the cut-out");
    refused(image, {{{not_a_number, 0.0}, false}}, "off the cut-out");
    refused(image, {{{1e30, 0.0}, false}}, "off the cut-out");
    refused(image, {{{0.0, 0.0}, false}, {{0.01, 0.0}, false}}, "told apart");
    refused(frame::Cutout{}, {{{0.0, 0.0}, false}}, "does not hold");
    PsfFitOptions narrow;
    narrow.radius_px = 0.5;
    refused(image, {{{0.0, 0.0}, true}}, "unknowns", narrow);
    auto undefined = image;
    for (float& adu : undefined.adu)
        adu = std::numeric_limits<float>::quiet_NaN();
    refused(undefined, {{{0.0, 0.0}, false}}, "unknowns");
    auto wandering = plate(psf, {{{4.0, 0.0}, 50000.0}}, 0.0);
    refused(wandering, {{{1.5, 0.0}, true}}, "wanders");
    frame::Cutout torn = image;
    torn.adu.resize(5);
    refused(torn, {{{0.0, 0.0}, false}}, "does not hold");
    for (const PixelNoise& bad : {PixelNoise{0.0, 5.0}, PixelNoise{1.0, 0.0}, PixelNoise{not_a_number, 5.0},
                                  PixelNoise{1.0, not_a_number}, PixelNoise{1.0, 1e300 * 1e300}})
        CHECK_FALSE(fit_psf(image, psf, {{{0.0, 0.0}, false}}, bad));
    CHECK_FALSE(fit_psf(image, psf, {{{0.0, 0.0}, false}}, noise, {}, {1.0, 2.0}));
}

TEST_CASE("absurd pixels give a Problem or finite numbers", "[psf_fit][hostile]") {
    const Psf psf = psf_of(2.5, 3.5);
    for (const float value : {1e30F, -1e30F, 3e38F, 0.0F}) {
        for (const bool free : {false, true}) {
            auto image = plate(psf, {{{0.0, 0.0}, 5000.0}}, 0.0);
            image.at(1, 0) = value;
            image.at(0, 0) = value;
            for (const PsfWeights weights : {PsfWeights::equal, PsfWeights::optimal}) {
                PsfFitOptions options;
                options.weights = weights;
                const auto fit = fit_psf(image, psf, {{{0.0, 0.0}, free}}, {1.0, 5.0}, options);
                if (!fit) continue;
                CHECK(std::isfinite(fit->sources[0].flux_adu));
                CHECK(std::isfinite(fit->sources[0].flux_err_adu));
                CHECK(std::isfinite(fit->chi2));
            }
        }
    }
}
