// SPDX-License-Identifier: MIT
#include "night/combine_frames.hpp"

#include <catch2/catch.hpp>
#include <numeric>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;
using night::combine_frames;
using night::CombinedFlux;
using night::StarInFrame;

namespace {

constexpr std::uint64_t seed = 20240203;

StarInFrame plain(double flux_e, double background_e2) {
    return {flux_e, {background_e2, 0.0}, 25.0, 0.0, 0.0};
}

// The fluxes of `frames` exposures of a star of `flux_e` over a background of `background_e` electrons known
// exactly: counted photons, and hence of variance flux + background.
std::vector<StarInFrame> exposed(numerics::Random& random, double flux_e, double background_e, int frames) {
    std::vector<StarInFrame> out;
    for (int i = 0; i < frames; ++i) {
        const double counted = static_cast<double>(random.poisson(flux_e + background_e));
        out.push_back(plain(counted - background_e, background_e));
    }
    return out;
}

}  // namespace

TEST_CASE("one frame alone is its own mean", "[combine]") {
    const StarInFrame frame{900.0, {700.0, 0.0}, 24.0, 0.0, 0.0};
    const CombinedFlux one = combine_frames({&frame, 1});
    CHECK(one.flux_e.value == Approx(900.0));
    CHECK(one.flux_e.err == Approx(40.0));  // sqrt(900 + 700)
    CHECK(one.dark_err_e == Approx(std::sqrt(700.0)));
    CHECK(one.zero_point_mag == 24.0);
    CHECK(one.share == std::vector{1.0});
    CHECK(one.dof == 0);
    CHECK_FALSE(one.scattered);
}

TEST_CASE("without light, frames count by their backgrounds", "[combine]") {
    const std::vector<StarInFrame> frames{plain(0.0, 100.0), plain(0.0, 300.0)};
    const CombinedFlux dark = combine_frames(frames);
    // Weights 1/100 and 1/300: shares 3/4 and 1/4, variance 1/(1/100 + 1/300) = 75.
    CHECK(dark.flux_e.value == Approx(0.0).margin(1e-12));
    CHECK(dark.flux_e.err == Approx(std::sqrt(75.0)));
    CHECK(dark.dark_err_e == Approx(std::sqrt(75.0)));
    CHECK(dark.share[0] == Approx(0.75));
    CHECK(dark.share[1] == Approx(0.25));
    CHECK(dark.frame_err_e[1] == Approx(std::sqrt(300.0)));
}

TEST_CASE("frames through cloud give the same magnitude with a smaller share", "[combine]") {
    // 17.5 mag in both: 1000 e- at zero point 25, a tenth of that at 22.5. The background does not dim.
    const std::vector<StarInFrame> frames{{1000.0, {500.0, 0.0}, 25.0, 0.0, 0.0},
                                          {100.0, {500.0, 0.0}, 22.5, 0.0, 0.0}};
    const CombinedFlux both = combine_frames(frames);
    CHECK(both.zero_point_mag == Approx(23.75));
    CHECK(both.zero_point_mag - 2.5 * std::log10(both.flux_e.value) == Approx(17.5).epsilon(1e-12));
    // Relative variances (1000 + 500)/1000² and (100 + 500)/100²: 1.5e-3 against 60e-3, shares as 40 to 1.
    CHECK(both.share[0] / both.share[1] == Approx(40.0));
    CHECK(both.chi2 == Approx(0.0).margin(1e-12));
}

TEST_CASE("the errors of zero points and the scatter floor enter a bright star's mean", "[combine]") {
    // 4e-4 photon variance relative, 0.01 mag and 0.02 mag of zero point and floor: arithmetic.
    const StarInFrame bright{2500.0, {0.0, 0.0}, 25.0, 0.01, 0.02};
    const double relative = std::sqrt(1.0 / 2500.0 + (1e-4 + 4e-4) / (1.0857362 * 1.0857362));
    const std::vector<StarInFrame> frames(9, bright);
    // Each of the nine is an outlier with a probability of one in a thousand, for all we know.
    CHECK(combine_frames(frames).flux_e.err == Approx(2500.0 * relative / 3.0).epsilon(1e-3));
}

TEST_CASE("the mean flux of faint frames is unbiased, and its pulls have unit spread", "[combine]") {
    // Signal-to-noise of one frame: 0, 0.25, 1.5, 5 and 16. 3000 trials: the mean pull is known to
    // 1/sqrt(3000) = 0.018, so that 0.06 is 3.3 of it; the design asks for less than 0.1.
    constexpr int trials = 3000;
    for (const double truth_e : {0.0, 5.0, 30.0, 115.0, 600.0}) {
        numerics::Random random = numerics::Random(seed).stream(static_cast<std::uint64_t>(truth_e));
        std::vector<double> pulls;
        for (int t = 0; t < trials; ++t) {
            const CombinedFlux mean = combine_frames(exposed(random, truth_e, 400.0, 12));
            pulls.push_back((mean.flux_e.value - truth_e) / mean.flux_e.err);
        }
        INFO("seed " << seed << ", " << truth_e << " e-");
        CHECK(std::abs(std::accumulate(pulls.begin(), pulls.end(), 0.0) / trials) < 0.06);
        CHECK(numerics::robust_spread(pulls) == Approx(1.0).epsilon(0.0).margin(0.1));
    }
}

TEST_CASE("pulls have unit spread whatever the frames' zero points and extra scatter", "[combine]") {
    constexpr int trials = 3000;
    const int count = GENERATE(1, 2, 4, 8, 25);
    constexpr double magnitude_mag = 17.0;
    numerics::Random random(seed);
    std::vector<double> pulls;
    double chi2 = 0.0, dof = 0.0;
    int scattered = 0;
    for (int t = 0; t < trials; ++t) {
        std::vector<StarInFrame> frames;
        for (int i = 0; i < count; ++i) {
            StarInFrame frame{
                0.0, {random.uniform(200.0, 2000.0), 0.004}, random.uniform(24.0, 25.5), 0.008, 0.012};
            const double expected = flux_ratio(magnitude_mag - frame.zero_point_mag);
            const double missed_mag = random.gaussian(0.0, std::hypot(0.008, 0.012));
            frame.flux_e = random.gaussian(expected, std::sqrt(frame.noise.variance_e2(expected))) +
                           expected * missed_mag / mag_per_relative_flux;
            frames.push_back(frame);
        }
        const CombinedFlux mean = combine_frames(frames);
        const double truth_e = flux_ratio(magnitude_mag - mean.zero_point_mag);
        pulls.push_back((mean.flux_e.value - truth_e) / mean.flux_e.err);
        chi2 += mean.chi2;
        dof += static_cast<double>(mean.dof);
        scattered += mean.scattered ? 1 : 0;
        CHECK(std::accumulate(mean.share.begin(), mean.share.end(), 0.0) == Approx(1.0));
    }
    INFO("seed " << seed << ", " << count << " frames");
    CHECK(std::abs(numerics::median(pulls)) < 0.08);  // 3.5 of 1.25/sqrt(3000)
    CHECK(numerics::robust_spread(pulls) == Approx(1.0).epsilon(0.0).margin(0.1));
    if (count > 1) CHECK(chi2 / dof == Approx(1.0).epsilon(0.0).margin(0.1));
    // Clean frames are called scattered once in 400 by chance: 7.5 expected in 3000, 20 are 4.5 sigma more.
    CHECK(scattered <= 20);
}

TEST_CASE("one frame struck by a cosmic ray hardly moves the mean", "[combine]") {
    numerics::Random random(seed);
    auto frames = exposed(random, 1000.0, 400.0, 10);
    const CombinedFlux clean = combine_frames({frames.data(), 9});
    frames[9].flux_e = 1000.0 + 40.0 * std::sqrt(1400.0);
    const CombinedFlux struck = combine_frames(frames);
    INFO("seed " << seed);
    CHECK(struck.share[9] < 0.002);  // its weight falls to a hundredth: (10 sigma wide)^-2, of one in ten
    // 40 sigma with that share move the mean by 0.04 · sqrt(9) = 0.13 of its error.
    CHECK(std::abs(struck.flux_e.value - clean.flux_e.value) < 0.2 * clean.flux_e.err);
}

TEST_CASE("where too few frames tell which is wrong, the mean says that they disagree", "[combine]") {
    const std::vector<StarInFrame> frames{plain(1000.0, 400.0), plain(1010.0, 400.0), plain(1500.0, 400.0)};
    const CombinedFlux mean = combine_frames(frames);
    CHECK(mean.scattered);
    // Unweighted mean 1170, chi² = (170² + 160² + 330²)/(1170 + 400) = 104.1 on 2: the error grows by 7.2.
    CHECK(mean.flux_e.value == Approx(1170.0));
    CHECK(mean.chi2 == Approx(163400.0 / 1570.0));
    CHECK(mean.flux_e.err == Approx(std::sqrt(1570.0 / 3.0) * std::sqrt(mean.chi2 / 2.0)));
    CHECK(mean.share[0] == Approx(1.0 / 3.0));
}

TEST_CASE("frames that scatter twice as much as they should are named, and the error bar widens",
          "[combine]") {
    constexpr int trials = 1000;
    numerics::Random random(seed);
    int named = 0;
    std::vector<double> pulls;
    for (int t = 0; t < trials; ++t) {
        std::vector<StarInFrame> frames;
        for (int i = 0; i < 16; ++i)
            frames.push_back(plain(random.gaussian(1000.0, 2.0 * std::sqrt(1400.0)), 400.0));
        const CombinedFlux mean = combine_frames(frames);
        named += mean.scattered ? 1 : 0;
        pulls.push_back((mean.flux_e.value - 1000.0) / mean.flux_e.err);
    }
    INFO("seed " << seed << ", named " << named << ", spread " << numerics::robust_spread(pulls));
    // chi² of 15 degrees reaches a quarter of its limit of 34.9 in 89 of 100 cases: no method names more.
    CHECK(named > trials * 8 / 10);
    // Without widening the pulls would spread by 2; the cases not named keep a little of that.
    CHECK(numerics::robust_spread(pulls) < 1.15);
}

TEST_CASE("beyond chance means once in 400", "[combine]") {
    // For an even number of degrees k the survival of chi² has a closed form, e^(−x/2) Σ_{j<k/2} (x/2)^j/j!.
    // Wilson & Hilferty's cube root is off by 1.4 per cent of chi² at two degrees, less beyond.
    for (const int dof : {2, 4, 10, 40}) {
        const auto survival = [dof](double x) {
            double term = 1.0, sum = 0.0;
            for (int j = 0; j < dof / 2; ++j) {
                sum += term;
                term *= 0.5 * x / (j + 1);
            }
            return std::exp(-0.5 * x) * sum;
        };
        double low = 0.0, high = 500.0;
        for (int i = 0; i < 100; ++i) {
            const double middle = 0.5 * (low + high);
            (survival(middle) > 1.0 / 400.0 ? low : high) = middle;
        }
        INFO(dof << " degrees, chi² " << low);
        const auto k = static_cast<std::size_t>(dof);
        CHECK_FALSE(night::beyond_chance(0.98 * low, k));
        CHECK(night::beyond_chance(1.02 * low, k));
    }
    CHECK_FALSE(night::beyond_chance(1e9, 0));
}
