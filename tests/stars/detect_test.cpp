// SPDX-License-Identifier: MIT
#include "stars/detect.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "stars/find_peaks.hpp"
#include "stars/invented_picture.hpp"

using namespace emberline;
using namespace emberline::stars;
using frame::PixelPosition;
using test::add_line;
using test::add_noise;
using test::add_star;
using test::flat_sky;

namespace {

struct True {
    PixelPosition position;
    double flux = 0.0;
};

DetectionField found_in(const frame::Cutout& picture, const DetectionSettings& settings = {}) {
    auto field = detect_stars(picture, settings);
    if (!field) FAIL(one_line(field.error()));
    return std::move(*field);
}

const Detection* near(const DetectionField& field, const PixelPosition& place, double within_px) {
    const Detection* best = nullptr;
    for (const Detection& star : field.stars) {
        const double apart = std::hypot(star.position.x - place.x, star.position.y - place.y);
        if (apart > within_px) continue;
        best = &star;
        within_px = apart;
    }
    return best;
}

// On a grid with random fractions, well apart.
std::vector<True> add_grid(frame::Cutout& picture, double spacing, double flux, double fwhm_px,
                           numerics::Random& random) {
    std::vector<True> truth;
    for (double y = spacing; y < picture.box.height - spacing / 2.0; y += spacing) {
        for (double x = spacing; x < picture.box.width - spacing / 2.0; x += spacing) {
            truth.push_back({{x + random.uniform(-0.5, 0.5), y + random.uniform(-0.5, 0.5)}, flux});
            add_star(picture, truth.back().position.x, truth.back().position.y, flux, fwhm_px);
        }
    }
    return truth;
}

}  // namespace

TEST_CASE("a star is as significant as the best weights make it", "[detect]") {
    // King (1983), PASP 95, 163: the signal-to-noise of a profile by the best weights is F / (s √A), with the
    // effective area A = 1/Σk² = 4π σ² of a well-sampled Gaussian.
    const double fwhm = 5.0, sigma_px = fwhm / test::fwhm_of_sigma, scatter = 10.0, flux = 4000.0;
    numerics::Random random(21);
    frame::Cutout picture = flat_sky(900, 900, 1000.0);
    const auto truth = add_grid(picture, 60.0, flux, fwhm, random);
    add_noise(picture, scatter, random);
    const auto field = found_in(picture, {.fwhm_px = fwhm, .gain_e_per_adu = 1e9});
    // Integration over pixels widens σ² by 1/12.
    const double area = 4.0 * std::numbers::pi * (sigma_px * sigma_px + 1.0 / 12.0);
    const double expected = flux / (scatter * std::sqrt(area));
    std::vector<double> significances, pulls, fluxes;
    for (const True& star : truth) {
        const Detection* found = near(field, star.position, 2.0);
        REQUIRE(found != nullptr);
        significances.push_back(found->significance);
        fluxes.push_back(found->flux_adu);
        pulls.push_back((found->flux_adu - flux) / found->flux_err_adu);
    }
    // 196 stars, each ± 1: the mean is known to 0.07; the background's scatter to 1 per cent.
    CHECK(numerics::median(significances) == Approx(expected).epsilon(0.025));
    CHECK(numerics::median(fluxes) == Approx(flux).epsilon(0.015));
    CHECK(numerics::robust_spread(pulls) == Approx(1.0).margin(0.2));
}

TEST_CASE("places are found with errors that are theirs", "[detect]") {
    for (const double fwhm : {1.7, 2.5, 4.0, 6.5}) {
        INFO("FWHM " << fwhm << " px");
        numerics::Random random(22);
        frame::Cutout picture = flat_sky(900, 900, 400.0);
        const auto truth = add_grid(picture, 45.0, 350.0 * fwhm, fwhm, random);
        add_noise(picture, 8.0, random, 400.0, 1.5);
        const auto field = found_in(picture, {.gain_e_per_adu = 1.5});
        CHECK(field.fwhm_px == Approx(std::sqrt(fwhm * fwhm + 5.545 / 12.0)).epsilon(0.1));
        CHECK(field.elongation < 1.1);
        std::vector<double> pulls;
        for (const True& star : truth) {
            const Detection* found = near(field, star.position, 2.0);
            if (found == nullptr) continue;
            pulls.push_back((found->position.x - star.position.x) / found->err_px);
            pulls.push_back((found->position.y - star.position.y) / found->err_px);
        }
        REQUIRE(pulls.size() > 2 * truth.size() * 97 / 100);
        // About 700 pulls: their spread is known to 3 per cent; pixels' shape adds to undersampled ones.
        CHECK(numerics::robust_spread(pulls) == Approx(1.0).margin(0.2));
        CHECK(numerics::median(pulls) == Approx(0.0).margin(0.15));
    }
}

TEST_CASE("chance passes the threshold as seldom as a Gaussian's tail", "[detect]") {
    // A Gaussian has 2.33e-4 of its values above 3.5 sigma (common tables). A filtered field of white noise
    // has fewer peaks than that share of its pixels, and about that share of its independent places or more:
    // one for each 2π σ² pixels.
    numerics::Random random(23);
    frame::Cutout picture = flat_sky(2000, 1000, 800.0);
    add_noise(picture, 6.0, random);
    const double fwhm = 3.0, sigma = fwhm / test::fwhm_of_sigma;
    const auto low = found_in(picture, {.threshold_sigma = 3.5, .fwhm_px = fwhm});
    const double tail = 0.5 * std::erfc(3.5 / std::numbers::sqrt2);
    const double places = 2e6 / (2.0 * std::numbers::pi * sigma * sigma);
    CHECK(static_cast<double>(low.stars.size()) > 0.5 * places * tail);
    CHECK(static_cast<double>(low.stars.size()) < 2e6 * tail);
    const auto usual = found_in(picture, {.fwhm_px = fwhm});
    CHECK(usual.stars.size() <= 3);
}

TEST_CASE("noise that neighbours share raises the threshold with it", "[detect]") {
    numerics::Random random(24);
    frame::Cutout noise = flat_sky(802, 802, 0.0);
    add_noise(noise, 20.0, random);
    frame::Cutout picture = flat_sky(800, 800, 0.0);
    for (int y = 0; y < 800; ++y) {
        for (int x = 0; x < 800; ++x) {
            double sum = 0.0;
            for (int j = 0; j < 3; ++j) {
                for (int i = 0; i < 3; ++i)
                    sum += static_cast<double>(noise.at(x + i, y + j)) / 9.0;
            }
            picture.at(x, y) = static_cast<float>(500.0 + sum);
        }
    }
    // Taken for independent, some thousand of its specks would pass.
    const auto field = found_in(picture, {.fwhm_px = 3.0});
    CHECK(field.stars.size() <= 4);
}

TEST_CASE("hot pixels and cosmic rays are left out, under-sampled stars are not", "[detect]") {
    for (const double fwhm : {1.4, 1.6, 1.9, 3.0}) {
        INFO("FWHM " << fwhm << " px");
        numerics::Random random(25);
        frame::Cutout picture = flat_sky(800, 800, 300.0);
        const auto truth = add_grid(picture, 40.0, 1200.0, fwhm, random);
        std::vector<PixelPosition> hits;
        for (int i = 0; i < 300; ++i) {
            const int x = static_cast<int>(random.uniform(2.0, 797.0)),
                      y = static_cast<int>(random.uniform(2.0, 797.0));
            bool clear = true;
            for (const True& star : truth)
                clear = clear && std::hypot(star.position.x - x, star.position.y - y) > 8.0;
            if (!clear) continue;
            picture.at(x, y) += static_cast<float>(random.uniform(60.0, 4000.0));
            if (i % 3 == 0 && picture.contains(x + 1, y)) picture.at(x + 1, y) += 300.0F;
            hits.push_back({1.0 * x, 1.0 * y});
        }
        add_noise(picture, 6.0, random, 300.0, 1.0);
        const auto field = found_in(picture);
        std::size_t there = 0, false_ones = 0;
        for (const True& star : truth)
            there += near(field, star.position, 1.5) != nullptr ? 1 : 0;
        for (const PixelPosition& hit : hits)
            false_ones += near(field, hit, 2.0) != nullptr ? 1 : 0;
        CHECK(there >= truth.size() * 98 / 100);
        CHECK(false_ones <= hits.size() * 5 / 100);
        CHECK(field.hot_pixels >= hits.size() * 80 / 100);
    }
}

TEST_CASE("a saturated star is one star, in its middle, with its bleeding columns", "[detect]") {
    numerics::Random random(26);
    frame::Cutout picture = flat_sky(500, 500, 1000.0);
    add_star(picture, 250.3, 249.6, 4e7, 4.0);
    add_star(picture, 120.0, 380.0, 6e4, 4.0);
    for (int y = 215; y < 285; ++y)
        picture.at(250, y) = picture.at(251, y) = 70000.0F;
    add_noise(picture, 10.0, random);
    for (float& v : picture.adu)
        v = std::min(v, 65535.0F);
    const auto field = found_in(picture);
    const Detection* bright = near(field, {250.3, 249.6}, 1.5);
    REQUIRE(bright != nullptr);
    CHECK(bright->saturated);
    CHECK(field.stars.size() <= 3);
    REQUIRE(near(field, {120.0, 380.0}, 0.3) != nullptr);
    CHECK_FALSE(near(field, {120.0, 380.0}, 0.3)->saturated);
}

TEST_CASE("close stars, and stars on a galaxy's wing, are parted", "[detect]") {
    numerics::Random random(27);
    frame::Cutout picture = flat_sky(600, 600, 800.0);
    for (int i = 0; i < 12; ++i)
        add_star(picture, 40.0 + 45.0 * i, 40.0, 8000.0, 3.0);
    add_star(picture, 300.0, 300.0, 2.5e5, 22.0);  // a galaxy of 450 ADU
    const std::vector<PixelPosition> beside{{315.0, 304.0}, {290.0, 318.0}, {300.0, 274.0}};
    for (const PixelPosition& place : beside)
        add_star(picture, place.x, place.y, 5000.0, 3.0);
    add_star(picture, 120.0, 480.0, 9000.0, 3.0);
    add_star(picture, 125.5, 480.0, 6000.0, 3.0);
    add_noise(picture, 9.0, random);
    const auto field = found_in(picture, {.gain_e_per_adu = 2.0});
    for (const PixelPosition& place : beside) {
        INFO(place.x << ", " << place.y);
        CHECK(near(field, place, 0.6) != nullptr);
    }
    const Detection* first = near(field, {120.0, 480.0}, 0.7);
    const Detection* second = near(field, {125.5, 480.0}, 0.7);
    REQUIRE(first != nullptr);
    REQUIRE(second != nullptr);
    CHECK(first->parted);
    CHECK(second->parted);
    const Detection* galaxy = near(field, {300.0, 300.0}, 4.0);
    REQUIRE(galaxy != nullptr);
    CHECK(galaxy->extended);
    CHECK_FALSE(near(field, {40.0, 40.0}, 1.0)->extended);
    CHECK_FALSE(near(field, {40.0, 40.0}, 1.0)->parted);
}

TEST_CASE("a satellite's trail is a line of light, not a row of stars", "[detect]") {
    numerics::Random random(28);
    frame::Cutout picture = flat_sky(700, 700, 500.0);
    std::vector<True> truth;
    for (int i = 0; i < 40; ++i) {
        truth.push_back({{random.uniform(20.0, 680.0), random.uniform(20.0, 680.0)}, 5000.0});
        add_star(picture, truth.back().position.x, truth.back().position.y, 5000.0, 3.0);
    }
    const PixelPosition from{-20.0, 130.0}, to{720.0, 480.0};
    add_line(picture, from, to, 250.0, 3.0);
    add_noise(picture, 7.0, random);
    const auto field = found_in(picture);
    REQUIRE(field.trails.size() == 1);
    const LightTrail& trail = field.trails.front();
    const double angle = std::atan2(trail.to.y - trail.from.y, trail.to.x - trail.from.x);
    CHECK(std::abs(std::remainder(angle - std::atan2(350.0, 740.0), std::numbers::pi)) < 0.01);
    CHECK(std::hypot(trail.to.x - trail.from.x, trail.to.y - trail.from.y) > 600.0);
    std::size_t there = 0, off_line = 0;
    const auto across = [&](const PixelPosition& p) {
        return std::abs((p.x - from.x) * 350.0 - (p.y - from.y) * 740.0) / std::hypot(350.0, 740.0);
    };
    for (const True& star : truth) {
        if (across(star.position) < 12.0) continue;
        ++off_line;
        there += near(field, star.position, 1.0) != nullptr ? 1 : 0;
    }
    CHECK(there >= off_line - 1);
    for (const Detection& star : field.stars)
        CHECK(across(star.position) > 4.0);
    CHECK_FALSE(field.trailed);
    CHECK_FALSE(field.doubled);
}

TEST_CASE("a frame whose stars are all drawn out is told, with direction", "[detect]") {
    numerics::Random random(29);
    frame::Cutout picture = flat_sky(800, 800, 500.0);
    for (int i = 0; i < 60; ++i) {
        const double x = random.uniform(20.0, 780.0), y = random.uniform(20.0, 780.0);
        const double flux = random.uniform(4000.0, 30000.0);
        add_line(picture, {x - 4.0, y - 3.0}, {x + 4.0, y + 3.0}, flux / 10.0, 3.0);
    }
    add_noise(picture, 7.0, random);
    const auto field = found_in(picture);
    CHECK(field.trailed);
    CHECK(field.elongation > 1.5);
    CHECK(field.direction.degrees() == Approx(36.87).margin(4.0));
    CHECK(field.trails.empty());
    CHECK(field.stars.size() >= 50);
    CHECK(field.remarks.size() == 1);
}

TEST_CASE("a frame that jumped shows every star twice; a crowded one does not", "[detect]") {
    for (const bool jumped : {true, false}) {
        numerics::Random random(30);
        frame::Cutout picture = flat_sky(900, 900, 500.0);
        for (int i = 0; i < 80; ++i) {
            const double x = random.uniform(20.0, 880.0), y = random.uniform(20.0, 880.0);
            const double flux = 3000.0 * std::pow(10.0, random.uniform(0.0, 1.3));
            add_star(picture, x, y, flux, 3.0);
            if (jumped)
                add_star(picture, x + 7.3, y - 5.1, 0.6 * flux, 3.0);
            else
                add_star(picture, random.uniform(20.0, 880.0), random.uniform(20.0, 880.0), 0.6 * flux, 3.0);
        }
        add_noise(picture, 7.0, random);
        const auto field = found_in(picture);
        CHECK(field.doubled == jumped);
        CHECK_FALSE(field.trailed);
    }
}

TEST_CASE("pixels that are undefined make no stars and hide none beside them", "[detect]") {
    numerics::Random random(31);
    frame::Cutout picture = flat_sky(600, 600, 500.0);
    const auto truth = add_grid(picture, 50.0, 6000.0, 3.0, random);
    add_noise(picture, 7.0, random);
    for (int y = 0; y < 600; ++y) {
        for (int x = 0; x < 600; ++x) {
            if (x + y < 300 || x - y > 300) picture.at(x, y) = std::numeric_limits<float>::quiet_NaN();
        }
    }
    const auto field = found_in(picture);
    std::size_t wanted = 0, there = 0;
    for (const True& star : truth) {
        if (star.position.x + star.position.y < 310.0 || star.position.x - star.position.y > 290.0) continue;
        ++wanted;
        there += near(field, star.position, 1.0) != nullptr ? 1 : 0;
    }
    CHECK(there == wanted);
    for (const Detection& star : field.stars) {
        INFO(star.position.x << ", " << star.position.y);
        CHECK(std::any_of(truth.begin(), truth.end(), [&](const True& t) {
            return std::hypot(t.position.x - star.position.x, t.position.y - star.position.y) < 2.5;
        }));
    }
}

TEST_CASE("without stars a field is empty, without a picture there is a problem", "[detect]") {
    numerics::Random random(32);
    frame::Cutout dark = flat_sky(400, 300, 100.0);
    add_noise(dark, 3.0, random);
    const auto empty = found_in(dark);
    CHECK(empty.stars.size() <= 1);
    CHECK(empty.width_px == 400);
    CHECK(empty.height_px == 300);
    CHECK_FALSE(empty.trailed);

    const auto flat = detect_stars(flat_sky(400, 300, 100.0), {});
    REQUIRE_FALSE(flat);
    CHECK(flat.error().what == "All pixels have one value, 100 ADU.");
    const auto undefined = detect_stars(flat_sky(64, 64, std::nan("")), {});
    REQUIRE_FALSE(undefined);
    CHECK(undefined.error().what == "No pixel of the picture is defined.");
    frame::Cutout white = flat_sky(400, 300, 65535.0);
    for (int i = 0; i < 400; ++i)
        white.at(i, 100) = 64000.0F;
    const auto saturated = detect_stars(white, {});
    REQUIRE_FALSE(saturated);
    CHECK(saturated.error().what.find("saturated") != std::string::npos);
    CHECK_FALSE(detect_stars(frame::Cutout{}, {}));
    for (const auto& [width, height] : {std::pair{1, 1}, {2, 50}, {5, 5}, {17, 9}}) {
        INFO(width << " × " << height);
        frame::Cutout tiny = flat_sky(width, height, 100.0);
        add_noise(tiny, 3.0, random);
        const auto field = detect_stars(tiny, {});
        if (field) CHECK(field->stars.size() < 3);
    }
}

TEST_CASE("hostile values do not break the search", "[detect]") {
    numerics::Random random(33);
    frame::Cutout picture = flat_sky(200, 200, 500.0);
    add_star(picture, 60.0, 60.0, 9000.0, 3.0);
    add_noise(picture, 7.0, random);
    picture.at(100, 100) = std::numeric_limits<float>::infinity();
    picture.at(120, 30) = -std::numeric_limits<float>::infinity();
    picture.at(30, 120) = 3e38F;
    picture.at(30, 160) = -3e38F;
    const auto field = found_in(picture);
    CHECK(near(field, {60.0, 60.0}, 0.5) != nullptr);
    for (const Detection& star : field.stars) {
        CHECK(std::isfinite(star.position.x));
        CHECK(std::isfinite(star.flux_adu));
        CHECK(std::isfinite(star.err_px));
    }
}

TEST_CASE("light beyond what a float holds makes no peak of no number", "[detect]") {
    numerics::Random random(35);
    frame::Cutout picture = flat_sky(200, 200, 500.0);
    add_star(picture, 60.0, 60.0, 9000.0, 3.0);
    add_noise(picture, 0.05, random);
    // Each of them, over a scatter of 0.05, is ∞; side by side their filtered light was ∞ − ∞, which is not
    // below any threshold, and broke the order of peaks by significance.
    picture.at(160, 160) = 3e38F;
    picture.at(161, 160) = -3e38F;
    const auto background = estimate_background(picture);
    REQUIRE(background);
    const auto found = find_peaks(PixelSource(picture), *background, {}, 65535.0);
    REQUIRE(found);
    CHECK_FALSE(found->peaks.empty());
    for (const Peak& peak : found->peaks)
        CHECK_FALSE(std::isnan(peak.sigmas));
}

TEST_CASE("the number of threads and of wanted stars changes no star", "[detect]") {
    numerics::Random random(34);
    frame::Cutout picture = flat_sky(900, 1200, 500.0);
    for (int i = 0; i < 300; ++i)
        add_star(picture, random.uniform(0.0, 900.0), random.uniform(0.0, 1200.0), random.uniform(300.0, 3e4),
                 3.0);
    add_noise(picture, 7.0, random);
    const auto one = found_in(picture, {.threads = 1});
    const auto three = found_in(picture, {.threads = 3});
    REQUIRE(one.stars.size() == three.stars.size());
    for (std::size_t i = 0; i < one.stars.size(); ++i) {
        CHECK(one.stars[i].position == three.stars[i].position);
        CHECK(one.stars[i].flux_adu == three.stars[i].flux_adu);
    }
    const auto few = found_in(picture, {.most = 50});
    REQUIRE(few.stars.size() == 50);
    for (std::size_t i = 0; i < 50; ++i)
        CHECK(near(one, few.stars[i].position, 0.1) != nullptr);
    CHECK(few.stars[0].flux_adu >= few.stars[49].flux_adu);
}
