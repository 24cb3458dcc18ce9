// SPDX-License-Identifier: MIT
#include "photometry/build_psf.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"
#include "photometry/circle_pixel.hpp"
#include "photometry/psf_fit.hpp"

using namespace emberline;
using namespace emberline::photometry;

namespace {

constexpr std::uint64_t seed = 20260317;
constexpr double sky_adu = 300.0;
constexpr double saturation_adu = 1e7;
const PixelNoise noise{1.5, 8.0};
const float undefined = std::numeric_limits<float>::quiet_NaN();

// Moffat images side by side, so that a sum of them may be trailed, double-humped or hollow.
struct Part {
    double dx = 0.0, dy = 0.0, weight = 1.0, fwhm = 2.5, beta = 3.5;
};
using Shape = std::vector<Part>;

// Light of a star of one unit in pixel (x, y): 6 × 6 points a pixel near it, 2 × 2 beyond.
double pixel_light(const Shape& shape, double dx, double dy) {
    double total = 0.0, sum = 0.0;
    for (const Part& part : shape) {
        total += part.weight;
        const double u = dx - part.dx, v = dy - part.dy;
        const double alpha_2 = part.fwhm * part.fwhm / (4.0 * (std::exp2(1.0 / part.beta) - 1.0));
        const int n = std::hypot(u, v) < 2.0 * part.fwhm ? 6 : 2;
        double light = 0.0;
        for (int j = 0; j < n; ++j) {
            for (int i = 0; i < n; ++i) {
                const double a = u + (i + 0.5) / n - 0.5, b = v + (j + 0.5) / n - 0.5;
                light += std::pow(1.0 + (a * a + b * b) / alpha_2, -part.beta);
            }
        }
        sum += part.weight * light / (n * n) * (part.beta - 1.0) / (std::numbers::pi * alpha_2);
    }
    return sum / total;
}

Shape round_star(double fwhm, double beta = 3.5) {
    return {{0.0, 0.0, 1.0, fwhm, beta}};
}
// Evenly trailed by `length` along 30 degrees.
Shape trailed(double fwhm, double length) {
    Shape shape;
    for (int k = -4; k <= 4; ++k)
        shape.push_back({0.108 * k * length, 0.0625 * k * length, 1.0, fwhm, 3.5});
    return shape;
}
Shape double_humped(double fwhm, double apart) {
    return {{-0.4 * apart, 0.0, 0.6, fwhm, 3.5}, {0.6 * apart, 0.0, 0.4, fwhm, 3.5}};
}
// Out of focus: a bright ring with a hollow.
Shape doughnut(double fwhm, double radius) {
    Shape shape;
    for (int k = 0; k < 16; ++k) {
        const double turn = 2.0 * std::numbers::pi * k / 16.0;
        shape.push_back({radius * std::cos(turn), radius * std::sin(turn), 1.0, fwhm, 3.5});
    }
    return shape;
}

struct Field {
    std::vector<PsfStar> stars;
    std::vector<double> fluxes;
    std::vector<frame::PixelPosition> places;
};

using ShapeAt = std::function<Shape(const frame::PixelPosition&)>;

PsfStar star_at(const std::string& label, const frame::PixelPosition& at, double flux, const Shape& shape,
                int half, numerics::Random& random) {
    PsfStar star;
    star.label = label;
    star.position = {at.x + random.uniform(-0.3, 0.3), at.y + random.uniform(-0.3, 0.3)};
    star.sky_adu = sky_adu;
    star.cutout.box = {static_cast<int>(std::lround(at.x)) - half, static_cast<int>(std::lround(at.y)) - half,
                       2 * half + 1, 2 * half + 1};
    for (int y = star.cutout.box.y0; y <= star.cutout.box.y0 + 2 * half; ++y) {
        for (int x = star.cutout.box.x0; x <= star.cutout.box.x0 + 2 * half; ++x) {
            const double light = flux * pixel_light(shape, x - at.x, y - at.y);
            star.cutout.adu.push_back(static_cast<float>(
                sky_adu + light + random.gaussian(0.0, std::sqrt(noise.variance_adu2(light)))));
        }
    }
    return star;
}

Field field_of(const ShapeAt& shape, std::size_t n, double fwhm, double faintest, double brightest,
               numerics::Random& random) {
    Field field;
    const int half = static_cast<int>(std::ceil(4.0 * fwhm)) + 2;
    for (std::size_t k = 0; k < n; ++k) {
        const frame::PixelPosition at{random.uniform(100.0, 1900.0), random.uniform(100.0, 1900.0)};
        const double flux = faintest * std::pow(brightest / faintest, random.uniform());
        field.stars.push_back(star_at(fmt::format("{}", k + 1), at, flux, shape(at), half, random));
        field.fluxes.push_back(flux);
        field.places.push_back(at);
    }
    return field;
}

// True light within a circle about the centre of light.
double true_encircled(const Shape& shape, double radius) {
    const int half = static_cast<int>(radius) + 2;
    double sum = 0.0;
    for (int y = -half; y <= half; ++y) {
        for (int x = -half; x <= half; ++x)
            sum += pixel_light(shape, x, y) * circle_pixel_overlap(x, y, radius);
    }
    return sum;
}

struct Judged {
    double encircled_off = 0.0;  // of the share within one width over that within 3.5, against the truth
    double flux_spread = 0.0;    // of (fit − truth)/truth between bright stars
    double pull = 0.0;           // robust spread of (fit − truth)/error after the common factor
    double common = 0.0;         // median of fit over truth
};

// Fits fresh stars of the same shape at random places, at bright light.
Judged judge(const Psf& psf, const ShapeAt& shape_at, double fwhm, double flux, numerics::Random& random) {
    std::vector<double> ratios, errs;
    const int half = static_cast<int>(std::ceil(4.0 * fwhm)) + 2;
    for (int k = 0; k < 40; ++k) {
        const frame::PixelPosition at{random.uniform(100.0, 1900.0), random.uniform(100.0, 1900.0)};
        const PsfStar star = star_at("", at, flux, shape_at(at), half, random);
        PsfFitOptions options;
        options.sky_adu = sky_adu;
        options.weights = PsfWeights::equal;
        const auto fit = fit_psf(star.cutout, psf, {{star.position, true}}, noise, options);
        REQUIRE(fit);
        ratios.push_back(fit->sources[0].flux_adu / flux);
        errs.push_back(fit->sources[0].flux_err_adu / flux);
    }
    Judged out;
    out.common = numerics::median(ratios);
    out.flux_spread = numerics::robust_spread(ratios);
    out.pull = out.flux_spread / numerics::median(errs);
    const frame::PixelPosition middle{1000.0, 1000.0};
    const Shape shape = shape_at(middle);
    out.encircled_off = psf.encircled(middle, fwhm) / psf.encircled(middle, 3.5 * fwhm) /
                            (true_encircled(shape, fwhm) / true_encircled(shape, 3.5 * fwhm)) -
                        1.0;
    return out;
}

}  // namespace

TEST_CASE("round stars give back the light within a width, and each other's light", "[build_psf]") {
    numerics::Random random(seed);
    INFO("seed " << seed);
    for (const double fwhm : {1.5, 2.5, 5.0, 8.0}) {
        for (const double beta : {2.5, 3.5}) {
            const ShapeAt shape = [&](const frame::PixelPosition&) { return round_star(fwhm, beta); };
            const Field field = field_of(shape, 8, fwhm, 2e4, 4e5, random);
            const auto built = build_psf(field.stars, 1.1 * fwhm, noise, saturation_adu);
            REQUIRE(built);
            INFO("FWHM " << fwhm << ", beta " << beta);
            CHECK(built->used.size() == 8);
            CHECK(built->psf.table().along_x.empty());
            CHECK(built->psf.fwhm_px() == Approx(fwhm).epsilon(0.01));
            CHECK(built->residual < 0.004);
            const Judged j = judge(built->psf, shape, fwhm, 4e5, random);
            CHECK(std::abs(j.encircled_off) < 0.003);
            // Within photon noise: a robust spread from 40 stars has a relative sigma of 14 %.
            CHECK(j.pull < 1.5);
            // What lies beyond the reach is no star's own: at β = 2.5 it is 1 − 0.9947 of all light.
            CHECK(j.common == Approx(moffat_encircled(fwhm, beta, built->psf.reach_px())).margin(0.002));
        }
    }
}

TEST_CASE("trailed, double-humped and hollow stars are drawn by the table", "[build_psf]") {
    numerics::Random random(seed + 1);
    INFO("seed " << seed + 1);
    struct Odd {
        const char* name;
        Shape shape;
        double fwhm;
    };
    for (const Odd& odd :
         {Odd{"trailed", trailed(2.5, 5.0), 3.5}, Odd{"double-humped", double_humped(2.2, 3.0), 3.3},
          Odd{"doughnut", doughnut(2.0, 2.2), 5.0}}) {
        const ShapeAt shape = [&](const frame::PixelPosition&) { return odd.shape; };
        const Field field = field_of(shape, 15, odd.fwhm, 2e4, 4e5, random);
        const auto built = build_psf(field.stars, odd.fwhm, noise, saturation_adu);
        REQUIRE(built);
        INFO(odd.name);
        CHECK(built->used.size() >= 14);
        CHECK_FALSE(built->psf.table().constant.empty());
        const Judged j = judge(built->psf, shape, odd.fwhm, 4e5, random);
        CHECK(std::abs(j.encircled_off) < 0.004);
        CHECK(j.flux_spread < 0.005);  // photons alone: 0.0015; the rest is where in its pixel a star sits
        CHECK(j.common == Approx(1.0).margin(0.01));
        // The core alone misses by far more.
        const auto bare = Psf::make(built->psf.core());
        REQUIRE(bare);
        const Judged without = judge(*bare, shape, odd.fwhm, 4e5, random);
        CHECK(std::abs(without.common - 1.0) > 1.5 * std::abs(j.common - 1.0));
    }
}

TEST_CASE("few and faint stars still give a core, and no noise for a table", "[build_psf]") {
    numerics::Random random(seed + 2);
    INFO("seed " << seed + 2);
    const ShapeAt shape = [](const frame::PixelPosition&) { return round_star(2.5); };
    for (const std::size_t n : {1U, 2U, 5U}) {
        const Field field = field_of(shape, n, 2.5, 1500.0, 2500.0, random);  // signal-to-noise about 30
        const auto built = build_psf(field.stars, 2.5, noise, saturation_adu);
        REQUIRE(built);
        INFO(n << " stars");
        CHECK(built->psf.fwhm_px() == Approx(2.5).epsilon(0.15));
        CHECK(built->psf.table().constant.empty() == (n < stars_for_table));
        const Judged j = judge(built->psf, shape, 2.5, 4e5, random);
        CHECK(std::abs(j.encircled_off) < 0.06);
        CHECK(j.flux_spread < 0.006);
    }
}

TEST_CASE("a width that grows across the frame is found, and only then", "[build_psf]") {
    numerics::Random random(seed + 3);
    INFO("seed " << seed + 3);
    const ShapeAt growing = [](const frame::PixelPosition& at) {
        return round_star(2.8 + 0.5 * (at.x - 1000.0) / 1000.0);
    };
    const ShapeAt same = [](const frame::PixelPosition&) { return round_star(2.8); };
    const Field varied = field_of(growing, 30, 2.8, 1e5, 8e5, random);
    const auto built = build_psf(varied.stars, 2.8, noise, saturation_adu);
    REQUIRE(built);
    REQUIRE_FALSE(built->psf.table().along_x.empty());
    // Sharper on the left: the share within one pixel differs as the truth does.
    for (const double x : {300.0, 1700.0}) {
        const frame::PixelPosition at{x, 1000.0};
        CHECK(built->psf.encircled(at, 1.5) ==
              Approx(true_encircled(growing(at), 1.5) / true_encircled(growing(at), 14.0)).epsilon(0.02));
    }
    const Field level = field_of(same, 30, 2.8, 1e5, 8e5, random);
    const auto plain = build_psf(level.stars, 2.8, noise, saturation_adu);
    REQUIRE(plain);
    CHECK(plain->psf.table().along_x.empty());
    const Field few = field_of(growing, stars_for_variation - 1, 2.8, 1e5, 8e5, random);
    const auto too_few = build_psf(few.stars, 2.8, noise, saturation_adu);
    REQUIRE(too_few);
    CHECK(too_few->psf.table().along_x.empty());
}

TEST_CASE("unfit stars are left out and named with the reason", "[build_psf]") {
    numerics::Random random(seed + 4);
    INFO("seed " << seed + 4);
    const ShapeAt shape = [](const frame::PixelPosition&) { return round_star(2.5); };
    Field field = field_of(shape, 10, 2.5, 1e5, 4e5, random);
    const auto middle = [](const PsfStar& star) {
        return std::pair{static_cast<int>(std::lround(star.position.x)),
                         static_cast<int>(std::lround(star.position.y))};
    };
    const auto [sx, sy] = middle(field.stars[0]);
    field.stars[0].cutout.at(sx, sy) = 2e7F;
    const auto [ux, uy] = middle(field.stars[1]);
    field.stars[1].cutout.at(ux + 1, uy) = undefined;
    field.stars[2].position.x = field.stars[2].cutout.box.x0 + 1.0;
    field.stars[3] = star_at("4", field.places[3], 60.0, round_star(2.5), 12, random);
    const Shape galaxy = round_star(6.0, 2.0);
    field.stars[4] = star_at("5", field.places[4], 3e5, galaxy, 12, random);
    field.stars[5].cutout = {};
    const auto built = build_psf(field.stars, 2.5, noise, saturation_adu);
    REQUIRE(built);
    CHECK(built->used.size() == 4);
    const auto named = [&](const std::string& text) {
        return std::any_of(built->left_out.begin(), built->left_out.end(),
                           [&](const std::string& s) { return s.find(text) == 0; });
    };
    CHECK(named("1: saturated"));
    CHECK(named("2: undefined"));
    CHECK(named("3: cut"));
    CHECK(named("4: too faint"));
    CHECK(named("5: its shape"));
    CHECK(named("6: cut"));
    CHECK(built->psf.fwhm_px() == Approx(2.5).epsilon(0.02));
}

TEST_CASE("neighbours and cosmic rays in a stamp leave the PSF alone", "[build_psf]") {
    numerics::Random random(seed + 5);
    INFO("seed " << seed + 5);
    const ShapeAt shape = [](const frame::PixelPosition&) { return round_star(2.5); };
    Field field = field_of(shape, 8, 2.5, 1e5, 4e5, random);
    for (std::size_t k = 0; k < field.stars.size(); ++k) {
        frame::Cutout& cutout = field.stars[k].cutout;
        const frame::PixelPosition at{field.places[k].x + 6.0 * std::cos(2.0 * static_cast<double>(k)),
                                      field.places[k].y + 6.0 * std::sin(2.0 * static_cast<double>(k))};
        for (int y = cutout.box.y0; y < cutout.box.y0 + cutout.box.height; ++y) {
            for (int x = cutout.box.x0; x < cutout.box.x0 + cutout.box.width; ++x) {
                cutout.at(x, y) += static_cast<float>(0.15 * field.fluxes[k] *
                                                      pixel_light(round_star(2.5), x - at.x, y - at.y));
            }
        }
        cutout.at(static_cast<int>(field.places[k].x) - 4, static_cast<int>(field.places[k].y)) += 20000.0F;
    }
    const auto built = build_psf(field.stars, 2.5, noise, saturation_adu);
    REQUIRE(built);
    const Judged j = judge(built->psf, shape, 2.5, 4e5, random);
    CHECK(std::abs(j.encircled_off) < 0.008);
    CHECK(j.flux_spread < 0.003);
}

TEST_CASE("without a clear star there is a Problem that says how many were offered", "[build_psf][hostile]") {
    numerics::Random random(seed + 6);
    const auto none = build_psf({}, 2.5, noise, saturation_adu);
    REQUIRE_FALSE(none);
    CHECK_THAT(none.error().what, Catch::Contains("of 0"));
    const ShapeAt shape = [](const frame::PixelPosition&) { return round_star(2.5); };
    const Field faint = field_of(shape, 4, 2.5, 50.0, 60.0, random);
    // A star that lies far from where it should was passed over without a word, and where() said that none
    // was offered.
    Field lost = field_of(shape, 1, 2.5, 1e5, 2e5, random);
    lost.stars[0].position.x += 2.6;
    const auto wandering = build_psf(lost.stars, 2.5, noise, saturation_adu);
    REQUIRE_FALSE(wandering);
    CHECK(wandering.error().where == "1: cannot be fitted");
    const auto too_faint = build_psf(faint.stars, 2.5, noise, saturation_adu);
    REQUIRE_FALSE(too_faint);
    CHECK_THAT(too_faint.error().what, Catch::Contains("of 4"));
    const Field good = field_of(shape, 4, 2.5, 1e5, 2e5, random);
    const double not_a_number = std::numeric_limits<double>::quiet_NaN();
    for (const double width : {0.0, -1.0, not_a_number, 1e30})
        CHECK_FALSE(build_psf(good.stars, width, noise, saturation_adu));
    for (const PixelNoise& bad : {PixelNoise{0.0, 8.0}, PixelNoise{1.0, 0.0}, PixelNoise{not_a_number, 8.0},
                                  PixelNoise{1.0, not_a_number}})
        CHECK_FALSE(build_psf(good.stars, 2.5, bad, saturation_adu));
}

TEST_CASE("stamps of nonsense give a Problem or a PSF of finite numbers", "[build_psf][hostile]") {
    numerics::Random random(seed + 7);
    const ShapeAt shape = [](const frame::PixelPosition&) { return round_star(2.5); };
    const Field field = field_of(shape, 5, 2.5, 1e5, 2e5, random);
    for (const float value : {undefined, 1e30F, -1e30F, 0.0F, std::numeric_limits<float>::infinity()}) {
        auto some = field.stars;
        for (float& adu : some[0].cutout.adu)
            adu = value;
        some[1].cutout.at(some[1].cutout.box.x0, some[1].cutout.box.y0) = value;
        some[2].cutout.adu.resize(7);
        some[3].sky_adu = std::numeric_limits<double>::quiet_NaN();
        const auto built = build_psf(some, 2.5, noise, 1e38);
        REQUIRE(built);
        CHECK(std::find(built->used.begin(), built->used.end(), "5") != built->used.end());
        CHECK(std::find(built->used.begin(), built->used.end(), "3") == built->used.end());
        CHECK(std::find(built->used.begin(), built->used.end(), "4") == built->used.end());
        for (const double v : built->psf.numbers())
            CHECK(std::isfinite(v));
        auto all = field.stars;
        for (PsfStar& star : all) {
            for (float& adu : star.cutout.adu)
                adu = value;
        }
        CHECK_FALSE(build_psf(all, 2.5, noise, saturation_adu));
    }
}
