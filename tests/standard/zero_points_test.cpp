// SPDX-License-Identifier: MIT
#include "standard/zero_points.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;

namespace {

constexpr std::size_t n_frames = 12;
constexpr std::size_t n_stars = 8;

struct Simulated {
    standard::SolveInput input;
    std::vector<double> zero_points, true_mags;
};

// Stars of 11 to 14.5 mag, catalogue errors of 0.03 mag, zero points that wander with cloud, a sky that adds
// the noise of 4e4 electrons.
Simulated simulate(std::uint64_t seed) {
    numerics::Random random(seed);
    Simulated s;
    s.input.frames = n_frames;
    for (std::size_t i = 0; i < n_stars; ++i) {
        const double truth = 11.0 + 0.5 * static_cast<double>(i);
        s.true_mags.push_back(truth);
        s.input.stars.push_back({std::to_string(i), truth + random.gaussian(0.0, 0.03), 0.03, {}});
    }
    for (std::size_t f = 0; f < n_frames; ++f) {
        s.zero_points.push_back(24.0 - 0.8 * random.uniform());
        for (std::size_t i = 0; i < n_stars; ++i) {
            if (random.uniform() < 0.1) continue;  // a star that was not measured
            const photometry::NoiseTerms noise{4e4, 0.002};
            const double flux = std::pow(10.0, -0.4 * (s.true_mags[i] - s.zero_points[f]));
            const double measured = random.gaussian(flux, std::sqrt(noise.variance_e2(flux)));
            s.input.observations.push_back({f, i, measured, noise, 0.0});
        }
    }
    return s;
}

}  // namespace

TEST_CASE("five comparison stars give the textbook's weighted zero point", "[zero-points]") {
    // Weighted mean of catalogue − instrumental, weights from both errors: 20.937679911 ± 0.018647923, worked
    // with an array library from a published sequence's magnitudes. The robust catalogue prior may move it by
    // a small part of its error.
    const double catalogue[] = {11.735, 11.948, 12.751, 13.094, 13.291};
    const double catalogue_err[] = {0.040, 0.047, 0.031, 0.044, 0.057};
    const double instrumental[] = {-9.204, -8.979, -8.192, -7.836, -7.655};
    const double instrumental_err[] = {0.003, 0.003, 0.006, 0.008, 0.009};
    standard::SolveInput input;
    input.frames = 1;
    for (std::size_t i = 0; i < 5; ++i) {
        const double flux = std::pow(10.0, -0.4 * instrumental[i]);
        const double relative = instrumental_err[i] / 1.0857362;
        input.stars.push_back({std::to_string(i), catalogue[i], catalogue_err[i], {}});
        // A background that makes up the whole variance, photons included.
        input.observations.push_back({0, i, flux, {std::pow(relative * flux, 2) - flux, 0.0}, 0.0});
    }
    const auto solved = standard::solve_zero_points(input);
    REQUIRE(solved);
    CHECK(solved->frames[0].zero_point_mag == Approx(20.937679911).epsilon(0).margin(0.002));
    const auto lower = numerics::cholesky_lower(solved->global_covariance);
    double common = 0.0;
    for (const double v : standard::common_components(lower, solved->frames[0].gradient))
        common += v * v;
    const double total = std::sqrt(common + std::pow(solved->frames[0].random_err_mag, 2));
    CHECK(total == Approx(0.018647923).epsilon(0.05));
}

TEST_CASE("one sigma of a zero point means one sigma, random and common together", "[zero-points]") {
    std::vector<double> pulls, difference_pulls;
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        const Simulated s = simulate(seed);
        const auto solved = standard::solve_zero_points(s.input);
        REQUIRE(solved);
        const auto lower = numerics::cholesky_lower(solved->global_covariance);
        const auto& a = solved->frames[0];
        const auto& b = solved->frames[1];
        const auto va = standard::common_components(lower, a.gradient);
        const auto vb = standard::common_components(lower, b.gradient);
        double common = 0.0, different = 0.0;
        for (std::size_t k = 0; k < va.size(); ++k) {
            common += va[k] * va[k];
            different += (va[k] - vb[k]) * (va[k] - vb[k]);
        }
        const double error_a = a.zero_point_mag - s.zero_points[0];
        const double error_b = b.zero_point_mag - s.zero_points[1];
        pulls.push_back(error_a / std::sqrt(common + a.random_err_mag * a.random_err_mag));
        difference_pulls.push_back(
            (error_a - error_b) /
            std::sqrt(different + a.random_err_mag * a.random_err_mag + b.random_err_mag * b.random_err_mag));
    }
    // 300 draws: the spread itself is uncertain by about 5 per cent, the mean by 0.06.
    CHECK(numerics::robust_spread(pulls) == Approx(1.0).margin(0.15));
    CHECK(numerics::robust_spread(difference_pulls) == Approx(1.0).margin(0.15));
    CHECK(std::abs(numerics::median(pulls)) < 0.2);
}

TEST_CASE("a star half a magnitude off is named and not obeyed", "[zero-points]") {
    Simulated s = simulate(7);
    s.input.stars[2].catalogue_mag += 0.5;
    const auto solved = standard::solve_zero_points(s.input);
    REQUIRE(solved);
    CHECK(solved->stars[2].suspect);
    CHECK_FALSE(solved->stars[3].suspect);
    // 0.03 mag over the root of seven good stars is 0.011 mag; four of it.
    CHECK(std::abs(solved->frames[0].zero_point_mag - s.zero_points[0]) < 0.045);
}

TEST_CASE("no comparison star is a problem that says where to look", "[zero-points]") {
    const auto solved = standard::solve_zero_points({});
    REQUIRE_FALSE(solved);
    CHECK(solved.error().mend.find("comparison.csv") != std::string::npos);
}
