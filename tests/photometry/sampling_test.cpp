// SPDX-License-Identifier: MIT
#include "photometry/sampling.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/random.hpp"
#include "photometry/circle_pixel.hpp"
#include "simulated_plate.hpp"
#include "stars/profile.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr double half_square = 0.5, root_half = 1.0 / std::numbers::sqrt2;

// A star's light as a pixel's square gathers it, on a grid of 24 × 24 points: slow, and no part of the code
// under test. `moved`: the image is the mean of images at these places (a trail, a disk of defocus).
struct FineImage {
    SampledImage shape;
    std::vector<frame::PixelPosition> moved{{0.0, 0.0}};

    [[nodiscard]] double density(double x, double y) const {
        const double core = 0.5 * shape.fwhm_px / std::sqrt(std::exp2(1.0 / shape.moffat_beta) - 1.0);
        const double c = std::cos(shape.direction.radians()), s = std::sin(shape.direction.radians());
        const double stretch = std::sqrt(shape.elongation);
        double sum = 0.0;
        for (const frame::PixelPosition& m : moved) {
            const double along = (c * (x - m.x) + s * (y - m.y)) / (core * stretch);
            const double across = (-s * (x - m.x) + c * (y - m.y)) * stretch / core;
            sum += std::pow(1.0 + along * along + across * across, -shape.moffat_beta);
        }
        return sum / static_cast<double>(moved.size()) * (shape.moffat_beta - 1.0) /
               (std::numbers::pi * core * core);
    }
    [[nodiscard]] double gathered(double dx, double dy, int points = 24) const {
        const double turn = shape.square.turned ? root_half : 1.0,
                     cross = shape.square.turned ? root_half : 0.0;
        double sum = 0.0;
        for (int i = 0; i < points; ++i) {
            for (int j = 0; j < points; ++j) {
                const double a = shape.square.side_px * ((i + 0.5) / points - 0.5);
                const double b = shape.square.side_px * ((j + 0.5) / points - 0.5);
                sum += density(dx + turn * a - cross * b, dy + cross * a + turn * b);
            }
        }
        return sum / (points * points);
    }
};

std::vector<double> sums(const FineImage& image, const frame::PixelPosition& star,
                         const std::vector<double>& radii, int points = 24) {
    std::vector<double> out(radii.size(), 0.0);
    const int last = static_cast<int>(radii.back() + 2.0);
    for (int y = -last; y <= last + 1; ++y) {
        for (int x = -last; x <= last + 1; ++x) {
            const double dx = x - star.x, dy = y - star.y;
            if (std::hypot(dx, dy) > radii.back() + 0.71) continue;
            const double light = image.gathered(dx, dy, points);
            for (std::size_t k = 0; k < radii.size(); ++k)
                out[k] += light * circle_pixel_overlap(dx, dy, radii[k]);
        }
    }
    return out;
}

double mean(const std::vector<double>& v) {
    double m = 0.0;
    for (const double x : v)
        m += x / static_cast<double>(v.size());
    return m;
}

double relative_spread(const std::vector<double>& v) {
    const double m = mean(v);
    double s = 0.0;
    for (const double x : v)
        s += (x / m - 1.0) * (x / m - 1.0) / static_cast<double>(v.size());
    return std::sqrt(s);
}

struct Picture {
    const char* name;
    double side;
    bool turned;
};
const Picture pictures[] = {{"every pixel", 1.0, false},
                            {"red of a mosaic", half_square, false},
                            {"green of a mosaic", root_half, true}};

}  // namespace

TEST_CASE("the ripple over a whole plane of pixels is that of the image's spatial frequencies",
          "[sampling]") {
    // Poisson's formula: Σ samples = Σ_k MTF(k) e^{2πi k·c}. Moffat's MTF is (2πkα)^(β−1) K_{β−1}(2πkα)
    // 2^(2−β) / Γ(β−1) (Trujillo et al. 2001, MNRAS 328, 977, from memory), a square's is sinc.
    const auto mtf = [](double k, double fwhm, double beta) {
        const double core = 0.5 * fwhm / std::sqrt(std::exp2(1.0 / beta) - 1.0);
        const double t = 2.0 * std::numbers::pi * k * core;
        return std::pow(t, beta - 1.0) * std::cyl_bessel_k(beta - 1.0, t) * std::exp2(2.0 - beta) /
               std::tgamma(beta - 1.0);
    };
    const auto sinc = [](double x) {
        return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
    };
    for (const double fwhm : {0.9, 1.2, 1.6}) {
        const SampledImage image{fwhm, 1.0, {}, 4.0, {half_square, false}};
        const double radius = 18.0 * fwhm;
        const SamplingTable table(image, std::vector<double>{radius});
        double expected = 0.0;
        for (int h = -3; h <= 3; ++h) {
            for (int l = -3; l <= 3; ++l) {
                if (h == 0 && l == 0) continue;
                const double gather = sinc(half_square * h) * sinc(half_square * l);
                expected += std::pow(mtf(std::hypot(h, l), fwhm, 4.0) * gather, 2);
            }
        }
        INFO("FWHM " << fwhm);
        // The circle's edge, far out in the wings, and quadrature of 1e-4 are what they may differ by.
        CHECK(table.ripple().front() == Approx(std::sqrt(expected)).epsilon(0.01).margin(5e-5));
        CHECK(table.enclosed().front() == Approx(1.0).margin(1e-3));
    }
}

TEST_CASE("with the image known, where a star falls between pixels no longer counts", "[sampling]") {
    numerics::Random random(41);
    for (const Picture& picture : pictures) {
        for (const double fwhm : {0.8, 1.13, 1.6, 2.1}) {
            if (fwhm < 1.6 * picture.side) continue;
            const SampledImage shape{fwhm, 1.2, Angle::degrees(35.0), 3.2, {picture.side, picture.turned}};
            const std::vector<double> radii{0.6 * fwhm, 1.0 * fwhm, 1.5 * fwhm, 2.1 * fwhm};
            const SamplingTable table(shape, radii);
            std::vector<std::vector<double>> plain(radii.size()), corrected(radii.size());
            for (int i = 0; i < 40; ++i) {
                const frame::PixelPosition star{random.uniform(), random.uniform()};
                const auto seen = sums({shape}, star, radii, 12);
                const SamplingEffect effect = table.at(star);
                for (std::size_t k = 0; k < radii.size(); ++k) {
                    plain[k].push_back(seen[k]);
                    corrected[k].push_back(seen[k] * effect.correction[k]);
                }
            }
            for (std::size_t k = 0; k < radii.size(); ++k) {
                INFO(picture.name << ", FWHM " << fwhm << " px, radius " << radii[k] << " px");
                // The series is cut at three waves a pixel.
                CHECK(relative_spread(corrected[k]) < 0.0013 + 0.015 * table.ripple()[k]);
                CHECK(relative_spread(plain[k]) == Approx(table.ripple()[k]).epsilon(0.35).margin(3e-4));
                CHECK(mean(corrected[k]) == Approx(table.enclosed()[k]).epsilon(0.002));
            }
        }
    }
}

TEST_CASE("places that differ by whole pixels are one to the table", "[sampling]") {
    const SampledImage image{1.3, 1.1, Angle::degrees(70.0), 2.8, {root_half, true}};
    const std::vector<double> radii{0.9, 1.4, 2.6};
    const SamplingTable both(image, radii);
    const auto one = both.at({12.3, -4.8}), table = both.at({0.3, 0.2});
    for (std::size_t k = 0; k < radii.size(); ++k) {
        CHECK(one.correction[k] == Approx(table.correction[k]).epsilon(1e-9));
        CHECK(one.err[k] == Approx(table.err[k]).epsilon(1e-9));
    }
}

TEST_CASE("a place not known well makes the correction as uncertain", "[sampling]") {
    const SampledImage image{1.0, 1.0, {}, 3.5, {half_square, false}};
    const SamplingTable table(image, std::vector<double>{1.0});
    const frame::PixelPosition star{0.2, 0.1};
    const double err_px = 0.02;
    const double more = table.at(star, err_px).err[0], less = table.at(star).err[0];
    const double ahead = table.at({star.x + err_px, star.y}).correction[0];
    const double aside = table.at({star.x, star.y + err_px}).correction[0];
    const double here = table.at(star).correction[0];
    const double moved = std::hypot(ahead / here - 1.0, aside / here - 1.0);
    CHECK(std::sqrt(more * more - less * less) == Approx(moved).epsilon(0.15));
}

TEST_CASE("what the profile does not know is in the error", "[sampling]") {
    // A Gaussian-like image, and one trailed by 0.6 of its width: the profile fitted to six of their stars is
    // all that the correction has.
    numerics::Random random(97);
    for (const Picture& picture : pictures) {
        for (const double fwhm_in_sides : {2.0, 3.0}) {
            for (const bool trailed : {false, true}) {
                const double fwhm = fwhm_in_sides * picture.side;
                FineImage image{{fwhm, 1.1, Angle::degrees(60.0), 8.0, {picture.side, picture.turned}}};
                if (trailed) {
                    image.shape.moffat_beta = 3.5;
                    image.shape.fwhm_px *= 0.85;
                    image.moved.clear();
                    for (int i = -3; i <= 3; ++i)
                        image.moved.push_back({0.09 * i * fwhm, 0.04 * i * fwhm});
                }
                std::vector<stars::StarProfile> profiles;
                for (int i = 0; i < 6; ++i) {
                    const frame::PixelPosition star{random.uniform(-0.5, 0.5), random.uniform(-0.5, 0.5)};
                    frame::Cutout cutout{{-8, -8, 17, 17}, {}};
                    for (int y = -8; y <= 8; ++y) {
                        for (int x = -8; x <= 8; ++x) {
                            const double light = image.gathered(x - star.x, y - star.y, 6);
                            cutout.adu.push_back(static_cast<float>(100.0 + 2e5 * light));
                        }
                    }
                    const auto fitted = stars::fit_profile(cutout, star, std::max(fwhm, 1.3), 1.0, 5.0,
                                                           {picture.side, picture.turned});
                    if (fitted) profiles.push_back(*fitted);
                }
                REQUIRE(profiles.size() >= 3);
                const stars::FrameProfile fitted = stars::combine(profiles);
                const SampledImage known{fitted.fwhm_px,
                                         fitted.elongation,
                                         fitted.direction,
                                         fitted.moffat_beta,
                                         {picture.side, picture.turned}};
                const std::vector<double> radii{0.8 * fwhm, 1.2 * fwhm, 1.8 * fwhm};
                const SamplingTable table(known, radii);
                std::vector<std::vector<double>> corrected(radii.size());
                for (int i = 0; i < 40; ++i) {
                    const frame::PixelPosition star{random.uniform(), random.uniform()};
                    const auto seen = sums(image, star, radii, 6);
                    const SamplingEffect effect = table.at(star);
                    for (std::size_t k = 0; k < radii.size(); ++k)
                        corrected[k].push_back(seen[k] * effect.correction[k]);
                }
                for (std::size_t k = 0; k < radii.size(); ++k) {
                    INFO(picture.name << ", FWHM " << fwhm << " px, trailed " << trailed << ", radius "
                                      << radii[k] << " px, ripple " << table.ripple()[k] << ", left "
                                      << relative_spread(corrected[k]) << ", error " << table.unknown()[k]);
                    CHECK(relative_spread(corrected[k]) < 2.5 * table.unknown()[k] + 3e-4);
                    CHECK(table.unknown()[k] < 0.5 * table.ripple()[k] + 0.004);
                }
            }
        }
    }
}

TEST_CASE("width and shape are the image's, whatever square gathers it", "[sampling][profile]") {
    numerics::Random random(7);
    for (const Picture& picture : pictures) {
        for (const double fwhm_in_sides : {1.8, 2.5, 4.0}) {
            const double fwhm = fwhm_in_sides * picture.side;
            const FineImage image{{fwhm, 1.25, Angle::degrees(20.0), 3.0, {picture.side, picture.turned}}};
            const frame::PixelPosition star{random.uniform(-0.5, 0.5), random.uniform(-0.5, 0.5)};
            frame::Cutout cutout{{-12, -12, 25, 25}, {}};
            for (int y = -12; y <= 12; ++y) {
                for (int x = -12; x <= 12; ++x)
                    cutout.adu.push_back(
                        static_cast<float>(50.0 + 1e6 * image.gathered(x - star.x, y - star.y, 10)));
            }
            const auto fitted = stars::fit_profile(cutout, star, std::max(fwhm, 1.3), 1.0, 5.0,
                                                   {picture.side, picture.turned});
            INFO(picture.name << ", FWHM " << fwhm << " px");
            REQUIRE(fitted);
            // A star of few pixels tells its β less well than its width.
            CHECK(fitted->fwhm_px == Approx(fwhm).epsilon(0.03));
            CHECK(fitted->moffat_beta == Approx(3.0).epsilon(0.1));
            CHECK(fitted->elongation == Approx(1.25).epsilon(0.05));
            CHECK(std::hypot(fitted->centre.x - star.x, fitted->centre.y - star.y) < 0.01);
        }
    }
}

TEST_CASE("the light spreads over as many pixels as a plate says", "[sampling]") {
    test::SimulatedPlate plate(20, 0.0);
    plate.add({.x = 0.0, .y = 0.0, .flux_e = 1.0, .fwhm_px = 3.5, .beta = 3.0});
    double light = 0.0, square = 0.0;
    for (int y = -20; y <= 20; ++y) {
        for (int x = -20; x <= 20; ++x) {
            const double part = plate.electrons(x, y) * circle_pixel_overlap(x, y, 4.0);
            light += part;
            square += part * part;
        }
    }
    const SamplingTable table({.fwhm_px = 3.5, .moffat_beta = 3.0}, std::vector<double>{4.0});
    CHECK(table.enclosed()[0] == Approx(light).epsilon(0.003));
    CHECK(table.pixels()[0] == Approx(light * light / square).epsilon(0.03));
}
