// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

#include "expected_table.hpp"
#include "numerics/clip_columns.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "quantities/text.hpp"

using namespace emberline::numerics;

namespace {

ClippedColumn clipped(std::vector<double> values, double typical = 0.0, double kappa = 4.0) {
    return clip_column(values, typical, kappa);
}

}  // namespace

TEST_CASE("without an outlier the clipped mean is the mean, and the variance the sample's", "[clip]") {
    // 1 … 5: mean 3, variance 10/4; a cut at ±4σ takes 0.107 % of a Gaussian's variance, which is given back:
    // 1 − 2 κ φ(κ)/erf(κ/√2) = 0.998929 at κ = 4.
    const ClippedColumn c = clipped({1, 2, 3, 4, 5});
    CHECK(c.mean == Approx(3.0).margin(1e-12));
    CHECK(c.variance == Approx(2.5 / 0.998929).epsilon(1e-5));
    CHECK(c.used == 5);
}

TEST_CASE("one hit is left out of three frames and more, wherever it stands", "[clip]") {
    for (std::size_t n = 3; n <= 12; ++n) {
        for (std::size_t hit = 0; hit < n; ++hit) {
            std::vector<double> values;
            double sum = 0.0;
            for (std::size_t i = 0; i < n; ++i) {
                values.push_back(100.0 + static_cast<double>((7 * i) % n));
                if (i != hit) sum += values.back();
            }
            values[hit] = 5000.0;
            const ClippedColumn c = clipped(values, 2.0);
            INFO(n << " values, the hit is number " << hit);
            CHECK(c.used == n - 1);
            CHECK(c.mean == Approx(sum / static_cast<double>(n - 1)).margin(1e-9));
        }
    }
}

TEST_CASE("of two values far apart the lower is kept, of two near ones both", "[clip]") {
    CHECK(clipped({100.0, 160.0}, 5.0).mean == 100.0);
    CHECK(clipped({160.0, 100.0}, 5.0).used == 1);
    CHECK(clipped({100.0, 120.0}, 5.0).mean == 110.0);
    CHECK(clipped({100.0, 900.0}).mean == 500.0);  // nothing is known of their scatter
}

TEST_CASE("values that are not finite are left out, and nothing finite is NaN", "[clip]") {
    const double nan = std::numeric_limits<double>::quiet_NaN(),
                 inf = std::numeric_limits<double>::infinity();
    CHECK(clipped({nan, 3.0, inf, 5.0, -inf}, 1.0).mean == 4.0);
    CHECK(clipped({nan, 3.0}).used == 1);
    CHECK(std::isnan(clipped({nan, nan, inf}).mean));
    CHECK(clipped({}).used == 0);
}

TEST_CASE("columns together give what each gives alone", "[clip]") {
    constexpr unsigned seed = 20261;
    CAPTURE(seed);
    Random random(seed);
    for (const std::size_t n : {1U, 2U, 3U, 4U, 5U, 8U, 20U, 100U}) {
        constexpr std::size_t width = 700;
        std::vector<std::vector<float>> frames(n, std::vector<float>(width));
        for (auto& frame : frames) {
            for (std::size_t x = 0; x < width; ++x) {
                // Whole numbers, as cameras give them, noisier in odd columns; now and then a hit.
                frame[x] = static_cast<float>(std::round(random.gaussian(500.0, (x & 1U) != 0 ? 6.0 : 3.0)));
                if (random.uniform() < 0.005) frame[x] += 400.0F;
                if (random.uniform() < 0.005) frame[x] = std::numeric_limits<float>::quiet_NaN();
            }
        }
        std::vector<const float*> rows;
        for (const auto& frame : frames)
            rows.push_back(frame.data());
        const ColumnClip clip{4.0, {3.0, 6.0}};
        ClippedRow together;
        clip_columns(rows, width, clip, together);
        for (std::size_t x = 0; x < width; ++x) {
            std::vector<double> column;
            for (const auto& frame : frames)
                column.push_back(static_cast<double>(frame[x]));
            const ClippedColumn alone = clip_column(column, clip.typical[x & 1U], clip.kappa);
            INFO(n << " frames, column " << x);
            REQUIRE(together.used[x] == alone.used);
            if (alone.used == 0) continue;
            // Sums of float: one part in 10⁷ of values within 100 of each other.
            REQUIRE(static_cast<double>(together.mean[x]) == Approx(alone.mean).margin(1e-4));
            REQUIRE(static_cast<double>(together.variance[x]) ==
                    Approx(alone.variance).epsilon(1e-4).margin(1e-4));
        }
    }
}

TEST_CASE("the small-sample factors make the MAD of few Gaussian values right on average", "[clip]") {
    constexpr unsigned seed = 20262;
    CAPTURE(seed);
    Random random(seed);
    for (std::size_t n = 2; n <= 12; ++n) {
        constexpr int trials = 20000;
        double sum = 0.0;
        for (int t = 0; t < trials; ++t) {
            std::vector<double> values(n);
            for (double& v : values)
                v = random.gaussian();
            sum += mad_to_sigma * median_absolute_deviation(values, median(values));
        }
        INFO(n);
        // The mean of 20000 trials is good to 0.5 %; the published factors have three decimals.
        CHECK(small_sample_factor(n) * sum / trials == Approx(1.0).margin(0.015));
    }
}

TEST_CASE("few Gaussian values lose as few as many do", "[clip]") {
    // A Gaussian lies beyond 4σ once in 16000; the median of few wanders by itself, so that three values
    // lose one in some 5000.
    constexpr unsigned seed = 20263;
    CAPTURE(seed);
    Random random(seed);
    for (const std::size_t n : {3U, 4U, 5U, 10U, 30U}) {
        constexpr std::size_t trials = 20000;
        std::size_t cut = 0;
        double variance = 0.0;
        for (std::size_t t = 0; t < trials; ++t) {
            std::vector<double> values(n);
            for (double& v : values)
                v = random.gaussian();
            const ClippedColumn c = clip_column(values, 1.0, 4.0);
            cut += n - c.used;
            variance += c.variance / trials;
        }
        INFO(n << " values: " << cut << " cut");
        CHECK(static_cast<double>(cut) < 3e-4 * static_cast<double>(n * trials));
        CHECK(variance == Approx(1.0).margin(0.03));  // of 20000 trials of n ≥ 3: 0.7 % each
    }
}

TEST_CASE("the clipped mean is that of another library with the same rule", "[clip]") {
    // Source and versions: the table's own head.
    const auto table = emberline::test::expected_table("numerics/clipped_columns.csv");
    for (const auto& row : table.rows) {
        const std::string text = emberline::test::text(table, row, "values");
        std::vector<double> values;
        for (const std::string_view word : emberline::split(text, ' '))
            values.push_back(*emberline::parse_number(word));
        const ClippedColumn c = clip_column(values, 0.0, 4.0);
        INFO(text);
        CHECK(c.used == static_cast<std::size_t>(emberline::test::number(table, row, "used")));
        CHECK(c.mean == Approx(emberline::test::number(table, row, "mean")).epsilon(1e-9));
        // Ours gives back what the cut takes from a Gaussian: 0.998929 is left at 4 sigma.
        CHECK(c.variance * 0.998929 == Approx(emberline::test::number(table, row, "variance")).epsilon(1e-5));
    }
}
