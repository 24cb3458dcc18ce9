// SPDX-License-Identifier: MIT
#include "photometry/psf.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

#include "expected_table.hpp"
#include "numerics/random.hpp"
#include "photometry/aperture_sum.hpp"
#include "photometry/psf_grid.hpp"
#include "simulated_plate.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double gaussian_beta = 1e6;  // (1 + q)^−β is e^(−β q) to a millionth there
const double not_a_number = std::numeric_limits<double>::quiet_NaN();

frame::PixelBox square(int half) {
    return {-half, -half, 2 * half + 1, 2 * half + 1};
}

double sum(const std::vector<double>& values) {
    double total = 0.0;
    for (const double v : values)
        total += v;
    return total;
}

// A bump of light off the centre, in place of a table learned from stars.
PsfTable bump(double height) {
    PsfTable table;
    table.half = 8;
    table.step_px = 0.5;
    for (int j = -8; j <= 8; ++j) {
        for (int i = -8; i <= 8; ++i)
            table.constant.push_back(height * std::exp(-0.3 * (std::pow(i - 2, 2) + j * j)));
    }
    return table;
}

PsfTable leaning(double height) {
    PsfTable table = bump(height);
    for (int j = -8; j <= 8; ++j) {
        for (int i = -8; i <= 8; ++i) {
            const double round = std::exp(-0.1 * (i * i + j * j));
            table.along_x.push_back(0.01 * i * round);
            table.along_y.push_back(0.01 * round);
        }
    }
    table.middle = {500.0, 400.0};
    table.span_px = 500.0;
    return table;
}

}  // namespace

TEST_CASE("closed forms agree with the tabulated encircled energies", "[psf]") {
    // Moffat 1969, A&A 3, 455, and a Gaussian; digits computed with mpmath: twelve are given.
    const DelimitedTable table = test::expected_table("photometry/encircled_energy.csv");
    for (const TableRow& row : table.rows) {
        const double r = 2.7 * test::number(table, row, "radius_over_fwhm");
        CHECK(gaussian_encircled(2.7, r) == Approx(test::number(table, row, "gaussian")).epsilon(1e-11));
        for (const double beta : {2.5, 3.0, 3.5, 4.765}) {
            CHECK(moffat_encircled(2.7, beta, r) ==
                  Approx(test::number(table, row, fmt::format("moffat_beta{:g}", beta))).epsilon(1e-11));
        }
    }
    // A Gaussian's variance is FWHM²/(8 ln 2), and a Moffat profile tends to it as β grows.
    CHECK(moffat_variance_px2(3.0, gaussian_beta) == Approx(9.0 / (8.0 * std::numbers::ln2)).epsilon(1e-5));
    // α²/(2(β − 2)), α = FWHM/2 where 2^(1/β) = 2 … for β = 4 and FWHM 2: 1/(2^¼ − 1)/4 = 1.32128.
    CHECK(moffat_variance_px2(2.0, 4.0) == Approx(1.0 / (std::pow(2.0, 0.25) - 1.0) / 4.0).epsilon(1e-12));
}

TEST_CASE("a pixel's share is the core's integral over it", "[psf]") {
    // Against slow quadrature: twelve Gauss points an axis and pixel.
    for (const double fwhm : {1.2, 1.5, 2.5, 4.0, 8.0}) {
        for (const double beta : {2.5, 3.5, 6.0}) {
            for (const double elongation : {1.0, 2.0}) {
                const auto psf = Psf::make({fwhm, beta, elongation, 0.6});
                REQUIRE(psf);
                const frame::PixelPosition star{0.31, -0.17};
                test::SimulatedPlate plate(6, 0.0);
                plate.add({star.x, star.y, 1.0, fwhm, beta, elongation, 0.6 * 180.0 / std::numbers::pi});
                // The reach cuts wings off and the rest is scaled up to hold all the light.
                const double inside = elongation == 1.0 ? moffat_encircled(fwhm, beta, psf->reach_px()) : 1.0;
                const double cut = elongation == 1.0 ? 1e-4 : 5e-3;
                const double peak = plate.electrons(0, 0);
                INFO("FWHM " << fwhm << ", beta " << beta << ", elongation " << elongation);
                for (int y = -6; y <= 6; ++y) {
                    for (int x = -6; x <= 6; ++x) {
                        if (std::hypot(x - star.x, y - star.y) > psf->reach_px()) continue;
                        const double expected = plate.electrons(x, y) / inside;
                        CHECK(std::abs(psf->share(star, x, y) - expected) <
                              psf_grid_accuracy * peak + cut * expected);
                    }
                }
            }
        }
    }
}

TEST_CASE("shares sum to one wherever in its pixel the star sits", "[psf]") {
    for (const double fwhm : {1.5, 3.0, 7.0}) {
        for (const auto& table : {PsfTable{}, bump(0.01)}) {
            const auto psf = Psf::make({fwhm, 3.5, 1.4, 1.0}, table);
            REQUIRE(psf);
            const int half = static_cast<int>(psf->reach_px()) + 2;
            double mean = 0.0;
            constexpr int steps = 8;
            for (int j = 0; j < steps; ++j) {
                for (int i = 0; i < steps; ++i) {
                    const frame::PixelPosition star{i / double(steps), j / double(steps)};
                    const double total = sum(psf->stamp(star, square(half)));
                    // One place alone: pixels at the rim fall in or out, 1e-4 of the light at most.
                    CHECK(total == Approx(1.0).margin(5e-4));
                    mean += total / (steps * steps);
                }
            }
            CHECK(mean == Approx(1.0).margin(2e-5));
        }
    }
}

TEST_CASE("second moments are the profile's own plus the pixel's twelfth", "[psf]") {
    // Sheppard 1898: light gathered in unit pixels gains 1/12 px² on each axis.
    const auto psf = Psf::make({4.0, gaussian_beta, 1.0, 0.0});
    REQUIRE(psf);
    const frame::PixelPosition star{0.2, 0.4};
    double m = 0.0, cx = 0.0, xx = 0.0, yy = 0.0;
    for (int y = -22; y <= 22; ++y) {
        for (int x = -22; x <= 22; ++x) {
            const double s = psf->share(star, x, y);
            m += s;
            cx += s * (x - star.x);
            xx += s * std::pow(x - star.x, 2);
            yy += s * std::pow(y - star.y, 2);
        }
    }
    const double expected = moffat_variance_px2(4.0, gaussian_beta) + 1.0 / 12.0;
    CHECK(cx / m == Approx(0.0).margin(1e-4));
    CHECK(xx / m == Approx(expected).epsilon(5e-4));
    CHECK(yy / m == Approx(expected).epsilon(5e-4));
    // 1/Σ share² of a Gaussian is 4πσ² (King 1983, PASP 95, 163), Σ share³/(Σ share²)² is 4/3 (∫g³ =
    // 1/(12π²σ⁴)).
    CHECK(psf->noise_area_px(star) == Approx(4.0 * std::numbers::pi * expected).epsilon(2e-3));
    CHECK(psf->photon_factor(star) == Approx(4.0 / 3.0).epsilon(2e-3));
}

TEST_CASE("an elongated core is long along its direction", "[psf]") {
    const auto psf = Psf::make({4.0, gaussian_beta, 2.0, std::numbers::pi / 6.0});
    REQUIRE(psf);
    double along = 0.0, across = 0.0;
    const double c = std::cos(std::numbers::pi / 6.0), s = std::sin(std::numbers::pi / 6.0);
    for (int y = -30; y <= 30; ++y) {
        for (int x = -30; x <= 30; ++x) {
            const double share = psf->share({0.0, 0.0}, x, y);
            along += share * std::pow(c * x + s * y, 2);
            across += share * std::pow(c * y - s * x, 2);
        }
    }
    // σ² = FWHM²/(8 ln 2) times and over the elongation, 1/12 px² from the pixels.
    const double round = 16.0 / (8.0 * std::numbers::ln2);
    CHECK(along == Approx(2.0 * round + 1.0 / 12.0).epsilon(1e-3));
    CHECK(across == Approx(0.5 * round + 1.0 / 12.0).epsilon(1e-3));
}

TEST_CASE("the encircled share is what exact apertures sum on the stamp", "[psf]") {
    for (const auto& table : {PsfTable{}, bump(0.01), leaning(0.01)}) {
        const auto psf = Psf::make({2.6, 3.0, 1.2, 0.4}, table);
        REQUIRE(psf);
        const frame::PixelPosition star{0.37, -0.21};
        frame::Cutout cutout{square(40), {}};
        for (const double share : psf->stamp(star, cutout.box))
            cutout.adu.push_back(static_cast<float>(share));
        const std::vector<double> radii{1.0, 2.6, 5.0, 9.0};
        const auto sums = sum_apertures(cutout, star, radii, SkyEstimate{}, {});
        REQUIRE(sums);
        for (std::size_t k = 0; k < radii.size(); ++k)
            CHECK(psf->encircled(star, radii[k]) == Approx(sums->flux_adu[k]).margin(1e-6));  // float pixels
        CHECK(psf->encircled(star, 1e9) == Approx(1.0).margin(5e-4));
        CHECK(psf->encircled(star, 0.0) == 0.0);
    }
}

TEST_CASE("a stamp holds each pixel's share", "[psf]") {
    const auto psf = Psf::make({2.2, 3.5, 1.3, 2.0}, leaning(0.01));
    REQUIRE(psf);
    const frame::PixelPosition star{812.27, 133.61};
    const frame::PixelBox box{795, 120, 33, 27};
    const auto stamp = psf->stamp(star, box);
    REQUIRE(stamp.size() == 33U * 27U);
    std::size_t k = 0;
    for (int y = 120; y < 147; ++y) {
        for (int x = 795; x < 828; ++x)
            CHECK(stamp[k++] == Approx(psf->share(star, x, y)).margin(1e-14));
    }
    CHECK(sum(psf->stamp(star, {0, 0, 20, 20})) == 0.0);
    CHECK(psf->stamp(star, {0, 0, 0, 5}).empty());
}

TEST_CASE("a table adds its light, and varies over the frame about its middle", "[psf]") {
    const auto plain = Psf::make({3.0, 3.5, 1.0, 0.0});
    const auto more = Psf::make({3.0, 3.5, 1.0, 0.0}, bump(0.02));
    const auto varied = Psf::make({3.0, 3.5, 1.0, 0.0}, leaning(0.02));
    REQUIRE((plain && more && varied));
    // The bump's node (2, 0) lies 1 px right of the centre; its light in all, times step², goes into the
    // norm.
    double added = 0.0;
    for (const double v : bump(0.02).constant)
        added += v * 0.25;
    CHECK(more->share({0.0, 0.0}, 1, 0) ==
          Approx((plain->share({0.0, 0.0}, 1, 0) + 0.02) / (1.0 + added)).epsilon(1e-3));
    for (int x = -3; x <= 3; ++x)
        CHECK(varied->share({500.0, 400.0}, 500 + x, 400) ==
              Approx(more->share({500.0, 400.0}, 500 + x, 400)).margin(1e-12));
    // A lean to the right at the frame's right is one to the left at its left.
    const auto lean = [&](double at) {
        const int x = static_cast<int>(at);
        return varied->share({at, 400.0}, x + 1, 400) - varied->share({at, 400.0}, x - 1, 400) -
               more->share({0.0, 0.0}, 1, 0) + more->share({0.0, 0.0}, -1, 0);
    };
    CHECK(lean(1000.0) > 0.01);
    CHECK(lean(0.0) == Approx(-lean(1000.0)).epsilon(1e-9));
    for (const double at : {0.0, 500.0, 1000.0, 1e6}) {
        const auto x = static_cast<int>(at);
        CHECK(sum(varied->stamp({at, at}, {x - 20, x - 20, 41, 41})) == Approx(1.0).margin(1e-3));
    }
}

TEST_CASE("a PSF survives its list of numbers to the last bit", "[psf]") {
    for (const auto& table : {PsfTable{}, bump(0.01), leaning(0.01)}) {
        const auto psf = Psf::make({2.345678901234567, 3.1, 1.23, 0.77}, table);
        REQUIRE(psf);
        const auto again = Psf::from_numbers(psf->numbers());
        REQUIRE(again);
        CHECK(again->core() == psf->core());
        CHECK(again->table() == psf->table());
        CHECK(again->stamp({3.3, 4.4}, square(20)) == psf->stamp({3.3, 4.4}, square(20)));
    }
}

TEST_CASE("damaged lists of numbers are refused, never read beyond", "[psf][hostile]") {
    const auto numbers = Psf::make({2.5, 3.5, 1.1, 0.2}, leaning(0.01))->numbers();
    CHECK_FALSE(Psf::from_numbers({}));
    for (const std::size_t length : {1UL, 10UL, 11UL, 12UL, numbers.size() - 1}) {
        INFO("length " << length);
        CHECK_FALSE(Psf::from_numbers(std::span(numbers).first(length)));
    }
    for (std::size_t k = 0; k < 11; ++k) {
        for (const double bad : {not_a_number, -1e30, 1e30, std::numeric_limits<double>::infinity()}) {
            auto damaged = numbers;
            damaged[k] = bad;
            INFO("number " << k << " is " << bad);
            const auto read = Psf::from_numbers(damaged);
            // A direction or a middle may be any finite number.
            const bool harmless = (k == 4 || k == 7 || k == 8 || k == 9) && std::isfinite(bad);
            const bool read_as_gaussian = k == 2 && bad == 1e30;
            if (!harmless && !read_as_gaussian) CHECK_FALSE(read);
        }
    }
    auto longer = numbers;
    longer.push_back(0.0);
    CHECK_FALSE(Psf::from_numbers(longer));
}

TEST_CASE("cores and tables that make no sense are refused with the reason", "[psf][hostile]") {
    const MoffatCore good{2.5, 3.5, 1.0, 0.0};
    REQUIRE(Psf::make(good));
    for (const double width : {0.0, -1.0, not_a_number, 1e30}) {
        auto core = good;
        core.fwhm_px = width;
        const auto psf = Psf::make(core);
        REQUIRE_FALSE(psf);
        CHECK_THAT(psf.error().what, Catch::Contains("width"));
    }
    for (const double beta : {1.0, 0.0, -2.0, not_a_number}) {
        auto core = good;
        core.moffat_beta = beta;
        const auto psf = Psf::make(core);
        REQUIRE_FALSE(psf);
        CHECK_THAT(psf.error().what, Catch::Contains("exponent"));
    }
    for (const double elongation : {0.5, 0.0, 1e30, not_a_number}) {
        auto core = good;
        core.elongation = elongation;
        CHECK_FALSE(Psf::make(core));
    }
    auto core = good;
    core.direction_rad = not_a_number;
    CHECK_FALSE(Psf::make(core));
    PsfTable table = bump(0.01);
    table.constant.pop_back();
    CHECK_FALSE(Psf::make(good, table));
    table = bump(0.01);
    table.constant[7] = not_a_number;
    CHECK_FALSE(Psf::make(good, table));
    table = bump(0.01);
    table.half = 100000;
    CHECK_FALSE(Psf::make(good, table));
    table = bump(0.01);
    table.step_px = 0.0;
    CHECK_FALSE(Psf::make(good, table));
    table = leaning(0.01);
    table.along_y.clear();
    CHECK_FALSE(Psf::make(good, table));
    table = leaning(0.01);
    table.span_px = 0.0;
    CHECK_FALSE(Psf::make(good, table));
    // A list of numbers within all other bounds asked for a grid of 59 000 nodes a side, 28 GB.
    table = {};
    table.half = 200;
    table.step_px = 1.5;
    table.constant.assign(401 * 401, 0.0);
    const auto vast = Psf::make({0.3, 3.5, 6.0, 0.0}, table);
    REQUIRE_FALSE(vast);
    CHECK_THAT(vast.error().what, Catch::Contains("too far"));
    // The widest core of all is still one.
    CHECK(Psf::make({60.0, 3.5, 6.0, 0.0}));
    CHECK_FALSE(Psf::make(good, bump(-10.0)));  // more darkness than the core has light
}

TEST_CASE("places that are none put no light into any pixel", "[psf][hostile]") {
    const auto psf = Psf::make({2.5, 3.5, 1.0, 0.0}, leaning(0.01));
    REQUIRE(psf);
    for (const double bad : {not_a_number, 1e30, -1e30, std::numeric_limits<double>::infinity()}) {
        CHECK(psf->share({bad, 0.0}, 0, 0) == 0.0);
        CHECK(psf->share({0.0, bad}, 0, 0) == 0.0);
        CHECK(sum(psf->stamp({bad, 3.0}, square(5))) == 0.0);
        CHECK(sum(psf->stamp({3.0, bad}, square(5))) == 0.0);
    }
    CHECK(psf->encircled({not_a_number, 0.0}, 3.0) == 0.0);
    CHECK(psf->encircled({0.0, 0.0}, not_a_number) == 0.0);
    CHECK(psf->encircled({0.0, 0.0}, -1.0) == 0.0);
}
