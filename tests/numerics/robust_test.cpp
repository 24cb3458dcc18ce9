// SPDX-License-Identifier: MIT
#include "numerics/robust.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

#include "numerics/random.hpp"

using namespace emberline;
using numerics::clipped_mean;

namespace {

struct Offsets {
    double mean = 0.0, mean_err = 0.0;  // of the centre, in sigma of one value
    double sigma_ratio = 0.0;           // scatter over truth
};

struct Rounded {
    double mean = 0.0, sigma = 0.0;
};

// Of a Gaussian rounded to integers.
Rounded rounded(double level, double sigma) {
    const auto below = [&](double x) { return 0.5 * std::erfc((level - x) / sigma / std::sqrt(2.0)); };
    Rounded r;
    double squares = 0.0;
    for (double k = std::floor(level) - 20.0; k < level + 20.0; k += 1.0) {
        const double share = below(k + 0.5) - below(k - 0.5);
        r.mean += share * k;
        squares += share * (k - level) * (k - level);
    }
    r.sigma = std::sqrt(squares - (r.mean - level) * (r.mean - level));
    return r;
}

// The clipped mean of `count` draws, repeated, against what is true of a single draw.
template <class Draw>
Offsets repeated(Draw draw, double true_mean, double true_sigma, std::size_t count, int times) {
    double mean = 0.0, squares = 0.0, sigma = 0.0;
    std::vector<double> values(count);
    for (int k = 0; k < times; ++k) {
        for (double& v : values)
            v = draw();
        const auto found = clipped_mean(values);
        const double off = (found.mean - true_mean) / true_sigma;
        mean += off / times;
        squares += off * off / times;
        sigma += found.sigma / true_sigma / times;
    }
    return {mean, std::sqrt(squares / times), sigma};
}

}  // namespace

TEST_CASE("medians, their deviations and weighted means agree with 50 digits", "[robust]") {
    // Computed with mpmath: tests/data/numerics/stats_checks.csv.
    const std::vector<double> values = {10.02, 10.05, 9.98, 10.01, 10.40, 9.99, 10.03, 9.97, 10.00};
    CHECK(numerics::median(values) == 10.01);
    const double mad = numerics::median_absolute_deviation(values, 10.01);
    CHECK(mad == Approx(0.02).epsilon(1e-12));
    CHECK(numerics::mad_to_sigma * mad == Approx(0.029652044370112).epsilon(1e-12));

    const double mags[] = {12.431, 12.447, 12.425, 12.462, 12.440};
    const double errs[] = {0.010, 0.012, 0.009, 0.020, 0.011};
    const auto mean = numerics::weighted_mean(mags, errs);
    CHECK(mean.mean == Approx(12.4357164936636).epsilon(1e-14));
    CHECK(mean.err == Approx(0.00499659184615427).epsilon(1e-13));
    CHECK(mean.chi2 == Approx(4.40311692210264).epsilon(1e-10));
    CHECK(mean.n == 5);
}

TEST_CASE("quantiles are linear between the ordered values", "[robust]") {
    // Hyndman & Fan 1996, The American Statistician 50, 361, their type 7: worked by hand.
    const std::vector<double> values = {4.0, 1.0, 3.0, 2.0};
    CHECK(numerics::quantile(values, 0.0) == 1.0);
    CHECK(numerics::quantile(values, 1.0) == 4.0);
    CHECK(numerics::quantile(values, 0.5) == 2.5);
    CHECK(numerics::quantile(values, 0.25) == 1.75);
    CHECK(numerics::median(values) == 2.5);
    CHECK(numerics::median({7.0, 1.0, 5.0}) == 5.0);
}

TEST_CASE("values that are not numbers are left out, and nothing gives nothing", "[robust]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    CHECK(std::isnan(numerics::median({})));
    CHECK(std::isnan(numerics::quantile({nan, nan}, 0.5)));
    CHECK(std::isnan(numerics::robust_spread({})));
    CHECK(numerics::median({nan, 1.0, nan, 3.0, 2.0, nan}) == 2.0);
    CHECK(numerics::quantile({1.0, infinity, 2.0}, 0.5) == 2.0);
    CHECK(clipped_mean({}).used == 0);
    const std::vector<double> bad = {nan, infinity, -infinity};
    CHECK(clipped_mean(bad).used == 0);
    std::vector<double> mixed;
    for (int i = 0; i < 300; ++i)
        mixed.push_back(i % 3 == 0 ? nan : i % 100 == 1 ? infinity : 5.0 + 0.1 * (i % 2));
    const auto found = clipped_mean(mixed);
    CHECK(found.mean == Approx(5.05).margin(0.005));
    CHECK(found.offered == 300);
    CHECK(found.used == 198);
    const std::vector<double> equal(50, 3.25);
    CHECK(clipped_mean(equal).mean == 3.25);
    CHECK(clipped_mean(equal).sigma == 0.0);
    CHECK(clipped_mean(equal).used == 50);
    CHECK(clipped_mean(std::vector<double>{2.0}).mean == 2.0);
    CHECK(clipped_mean(std::vector<double>{1.0, 3.0}, infinity, infinity).mean == 2.0);
    CHECK(clipped_mean(std::vector<double>{1.0, 3.0}, infinity, infinity).sigma == Approx(std::sqrt(2.0)));
}

TEST_CASE("clipping a Gaussian leaves neither its mean nor its scatter biased", "[robust]") {
    // The scatter of values cut at 2, 2.5 and 3 sigma is 0.8796, 0.9546 and 0.9866 of the whole (mpmath):
    // without its correction the first case would miss by 12 per cent. 400 000 values: sigma to 0.2 per cent.
    numerics::Random random(31);
    std::vector<double> values(400000);
    for (double& v : values)
        v = random.gaussian(100.0, 7.0);
    for (const double cut : {2.0, 2.5, 3.0, 5.0}) {
        const auto found = clipped_mean(values, cut, cut);
        CHECK(found.sigma == Approx(7.0).epsilon(0.008));
        CHECK(found.mean == Approx(100.0).epsilon(0).margin(4.0 * 7.0 / std::sqrt(4e5)));
    }
    // Cut closer above than below: the mean of what is left is low, and put right.
    const auto skewed = clipped_mean(values, 3.0, 2.0);
    CHECK(skewed.sigma == Approx(7.0).epsilon(0.02));
    CHECK(skewed.mean == Approx(100.0).epsilon(0).margin(0.15));
}

TEST_CASE("integer pixels bias neither the sky nor its scatter", "[robust]") {
    // Truth: a Poisson count of mean 20 has scatter √20. Its skewness, 0.22, costs the upper side more
    // values: the clipped mean lies below by less than 2 per cent of sigma. 500 skies of 1000 pixels.
    numerics::Random random(57);
    const auto poisson =
        repeated([&] { return static_cast<double>(random.poisson(20.0)); }, 20.0, std::sqrt(20.0), 1000, 500);
    INFO(poisson.mean << " ± " << poisson.mean_err << ", " << poisson.sigma_ratio);
    CHECK(std::abs(poisson.mean) < 0.02);
    CHECK(poisson.sigma_ratio == Approx(1.0).margin(0.01));

    // Truth: the scatter of a Gaussian of 0.4 ADU after rounding, summed over its integers; the sky at
    // several phases within an ADU. The median absolute deviation would say 0 or 1.48 here. A cut at three
    // sigma takes whole integers or none, where the correction expects 1.4 per cent of the scatter to go.
    for (const double level : {100.0, 100.25, 100.5, 100.7}) {
        const Rounded truth = rounded(level, 0.4);
        const auto quantised = repeated([&] { return std::round(random.gaussian(level, 0.4)); }, truth.mean,
                                        truth.sigma, 1000, 200);
        INFO(level << ": " << quantised.mean << " ± " << quantised.mean_err << ", " << quantised.sigma_ratio);
        CHECK(std::abs(quantised.mean) < 0.02);
        CHECK(quantised.sigma_ratio == Approx(1.0).margin(0.02));
        CHECK(std::abs(truth.mean - level) < 0.04);
    }
}

TEST_CASE("stars and hot pixels in an annulus hardly move its sky", "[robust]") {
    // Three in a hundred pixels bright by 10 to 10 000 sigma, all on one side; 300 skies of 800 pixels. A
    // plain mean would be off by more than a hundred sigma.
    numerics::Random random(58);
    const auto dirty = [&] {
        const double clean = std::round(random.gaussian(500.0, 8.0));
        return random.uniform() < 0.03 ? clean + 80.0 * std::pow(1000.0, random.uniform()) : clean;
    };
    const auto found = repeated(dirty, 500.0, 8.0, 800, 300);
    INFO(found.mean << " ± " << found.mean_err << ", " << found.sigma_ratio);
    CHECK(std::abs(found.mean) < 0.01);
    CHECK(found.sigma_ratio == Approx(1.0).margin(0.02));

    // More than two thirds of the pixels have one value: the quantiles see no width at all.
    const auto quiet = [&] {
        const double clean = std::round(random.gaussian(500.0, 0.3));
        return random.uniform() < 0.01 ? 65535.0 : clean;
    };
    const auto narrow = repeated(quiet, 500.0, std::sqrt(0.09 + 1.0 / 12.0), 800, 300);
    INFO(narrow.mean << " ± " << narrow.mean_err << ", " << narrow.sigma_ratio);
    CHECK(std::abs(narrow.mean) < 0.02);
    CHECK(narrow.sigma_ratio < 1.1);
}

TEST_CASE("the robust spread of a Gaussian is its sigma", "[robust]") {
    numerics::Random random(59);
    std::vector<double> values(100000);
    for (double& v : values)
        v = random.gaussian(-3.0, 2.0);
    values[0] = 1e9;
    CHECK(numerics::robust_spread(values) == Approx(2.0).epsilon(0.015));
}
