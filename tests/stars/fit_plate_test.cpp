// SPDX-License-Identifier: MIT
#include "stars/fit_plate.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <limits>
#include <map>

#include "expected_table.hpp"
#include "frame/write_frame.hpp"
#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;
using namespace emberline::stars;
using frame::PixelPosition;

namespace {

struct Published {
    std::string cards;
    int width_px = 0, height_px = 0;
};
Published published(const std::string& name) {
    std::ifstream in(std::string(EMBERLINE_TEST_DATA) + "/frame/wcs_headers/" + name + ".hdr");
    Published out;
    for (std::string line; std::getline(in, line);) {
        line = line.substr(0, line.find('\r'));
        if (line.starts_with("NAXIS1")) out.width_px = std::stoi(line.substr(10));
        if (line.starts_with("NAXIS2")) out.height_px = std::stoi(line.substr(10));
        line.resize(80, ' ');
        out.cards += line;
    }
    INFO(name);
    REQUIRE(out.width_px > 0);
    return out;
}

// A frame of 2000 × 1500 px at 1.2″, turned, with cubic distortion of so many px in the corner.
struct Camera {
    SkyPosition centre{Angle::degrees(150.0), Angle::degrees(35.0)};
    double corner_px = 0.0;
    bool mirrored = false;
    static constexpr int width_px = 2000, height_px = 1500;
    static constexpr double scale_arcsec = 1.2;
    [[nodiscard]] SkyPosition sky(const PixelPosition& p) const {
        double u = p.x - 999.5, v = p.y - 749.5;
        const double stretch = 1.0 + corner_px / 1250.0 * (u * u + v * v) / (1250.0 * 1250.0);
        u *= stretch * (mirrored ? 1.0 : -1.0);
        v *= stretch;
        const double c = std::cos(0.7), s = std::sin(0.7);
        return displaced(centre, {Angle::arcseconds(scale_arcsec * (c * u - s * v)),
                                  Angle::arcseconds(scale_arcsec * (s * u + c * v))});
    }
    [[nodiscard]] double worst_px(const frame::Wcs& wcs) const {
        double most = 0.0;
        for (int i = 0; i <= 8; ++i) {
            for (int j = 0; j <= 8; ++j) {
                const PixelPosition p{-0.5 + 250.0 * i, -0.5 + 187.5 * j};
                most = std::max(most, separation(*wcs.sky(p), sky(p)).arcseconds() / scale_arcsec);
            }
        }
        return most;
    }
};

std::vector<PlatePair> pairs_of(const Camera& camera, std::size_t n, double noise_px,
                                numerics::Random& random, double part = 1.0) {
    std::vector<PlatePair> out;
    for (std::size_t i = 0; i < n; ++i) {
        PlatePair pair;
        const PixelPosition p{part * random.uniform(0.0, 1999.0), part * random.uniform(0.0, 1499.0)};
        pair.sky = camera.sky(p);
        pair.pixel = {p.x + random.gaussian(0.0, noise_px), p.y + random.gaussian(0.0, noise_px)};
        pair.err_arcsec = std::max(noise_px, 0.01) * Camera::scale_arcsec;
        pair.star = i;
        out.push_back(pair);
    }
    return out;
}

double number_of(const PlateFit& fit, const std::string& keyword) {
    for (const frame::Card& card : fit.cards) {
        if (card.keyword == keyword) return std::stod(card.value);
    }
    return 0.0;
}

}  // namespace

// Expected: 40-digit arithmetic (mpmath) from published headers; A is the worked example of Calabretta &
// Greisen (2002), A&A 395, 1077. From the table's places alone the fit must find the same sky.
TEST_CASE("published tangent planes are recovered from places on them", "[fit_plate][outside]") {
    const DelimitedTable table = test::expected_table("frame/wcs_points.csv");
    const DelimitedTable scales = test::expected_table("frame/wcs_scale.csv");
    for (const std::string name : {"A_paper2_tan", "B_cd_rotated", "C_cd_mirrored", "D_ra_wrap",
                                   "E_near_pole", "F_crota2", "G_pc_cdelt"}) {
        INFO(name);
        const Published header = published(name);
        std::vector<PlatePair> pairs;
        for (const TableRow& row : table.rows) {
            if (test::text(table, row, "header") != name) continue;
            PlatePair pair;
            pair.pixel = {test::number(table, row, "x_fits") - 1.0, test::number(table, row, "y_fits") - 1.0};
            pair.sky = {Angle::degrees(test::number(table, row, "ra_deg_mp40")),
                        Angle::degrees(test::number(table, row, "dec_deg_mp40"))};
            pairs.push_back(pair);
        }
        REQUIRE(pairs.size() >= 9);
        const auto fit = fit_plate(pairs, header.width_px, header.height_px);
        REQUIRE(fit);
        CHECK(fit->order == 1);
        CHECK(fit->used == pairs.size());
        for (const PlatePair& pair : pairs) {
            // The headers' planes touch up to 0.7 px (δ) away from the frame's middle; without SIP the
            // difference, r² δ, stays: for A, 1.5° wide at 10.8″, 2e-4 px.
            CHECK(separation(*fit->wcs.sky(pair.pixel), pair.sky).arcseconds() <
                  3e-4 * fit->wcs.scale_arcsec_per_px());
        }
        for (const TableRow& row : scales.rows) {
            if (test::text(scales, row, "header") != name) continue;
            // The same tilt: r δ, 1e-6.
            CHECK(fit->wcs.scale_arcsec_per_px() ==
                  Approx(test::number(scales, row, "scale_sqrt_absdet_arcsec")).epsilon(1e-5));
            CHECK(fit->wcs.mirrored() == test::text(scales, row, "det_sign").starts_with("+1"));
        }
    }
}

// H: order 3; I: a published space telescope's channel, order 2; K: a survey's corner chip, order 4 about a
// reference pixel far outside of it.
TEST_CASE("published SIP distortions are recovered, and their points of 40-digit arithmetic met",
          "[fit_plate][outside]") {
    const DelimitedTable table = test::expected_table("frame/wcs_points.csv");
    // px of each; the middle is another plane's touching point, from which the distortion is no exact
    // polynomial.
    const std::map<std::string, double> most_px{
        {"H_sip3_noinv", 1e-3}, {"I_sip2_inverse", 1e-3}, {"K_sip_survey", 2e-2}};
    for (const auto& [name, tolerance_px] : most_px) {
        INFO(name);
        const Published header = published(name);
        const auto truth = frame::Wcs::parse(header.cards);
        REQUIRE(truth);
        std::vector<PlatePair> pairs;
        for (int i = 0; i <= 12; ++i) {
            for (int j = 0; j <= 12; ++j) {
                PlatePair pair;
                pair.pixel = {header.width_px * i / 12.0 - 0.5, header.height_px * j / 12.0 - 0.5};
                pair.sky = *truth->sky(pair.pixel);
                pair.err_arcsec = 0.01;
                pairs.push_back(pair);
            }
        }
        const auto fit = fit_plate(pairs, header.width_px, header.height_px, 4);
        REQUIRE(fit);
        CHECK(fit->order >= 2);
        CHECK(fit->wcs.description() == "TAN with SIP distortion");
        std::size_t compared = 0;
        for (const TableRow& row : table.rows) {
            if (test::text(table, row, "header") != name) continue;
            const PixelPosition p{test::number(table, row, "x_fits") - 1.0,
                                  test::number(table, row, "y_fits") - 1.0};
            if (p.x < -1.0 || p.y > header.height_px) continue;
            const SkyPosition expected{Angle::degrees(test::number(table, row, "ra_deg_mp40")),
                                       Angle::degrees(test::number(table, row, "dec_deg_mp40"))};
            const double off =
                separation(*fit->wcs.sky(p), expected).arcseconds() / truth->scale_arcsec_per_px();
            CHECK(off < tolerance_px);
            ++compared;
        }
        CHECK(compared >= 8);
    }
}

TEST_CASE("the cards say what was fitted, in FITS' own words", "[fit_plate]") {
    numerics::Random random(3);
    Camera camera;
    camera.corner_px = 6.0;
    const auto fit = fit_plate(pairs_of(camera, 150, 0.1, random), Camera::width_px, Camera::height_px);
    REQUIRE(fit);
    CHECK(fit->order == 3);
    CHECK(number_of(*fit, "CRPIX1") == 1000.5);
    CHECK(number_of(*fit, "CRPIX2") == 750.5);
    CHECK(number_of(*fit, "A_ORDER") == 3.0);
    // The reference pixel falls on CRVAL.
    CHECK(separation(*fit->wcs.sky({999.5, 749.5}),
                     {Angle::degrees(number_of(*fit, "CRVAL1")), Angle::degrees(number_of(*fit, "CRVAL2"))})
              .arcseconds() < 1e-6);
    std::map<std::string, std::string> texts;
    for (const frame::Card& card : fit->cards) {
        CHECK(card.keyword.size() <= 8);
        CHECK(frame::card_text(card).size() == 80);
        CHECK(texts.count(card.keyword) == 0);
        texts[card.keyword] = card.value;
    }
    CHECK(texts["CTYPE1"] == "RA---TAN-SIP");
    CHECK(texts["CTYPE2"] == "DEC--TAN-SIP");
    CHECK(texts["RADESYS"] == "ICRS");
    CHECK(texts["WCSAXES"] == "2");
    CHECK(texts.count("A_1_0") == 0);
    CHECK(texts.count("A_2_1") == 1);

    // Shupe et al. (2005): u' = u + Σ A u^p v^q; back: u = U + Σ AP U^p V^q, only a fit, here good to 0.01
    // px.
    const auto sum = [&](const char* name, double u, double v) {
        double out = 0.0;
        for (const frame::Card& card : fit->cards) {
            int i = 0, j = 0;
            if (std::sscanf(card.keyword.c_str(), (std::string(name) + "_%d_%d").c_str(), &i, &j) == 2)
                out += std::stod(card.value) * std::pow(u, i) * std::pow(v, j);
        }
        return out;
    };
    double worst = 0.0, largest = 0.0;
    for (double u = -1000.0; u <= 1000.0; u += 97.0) {
        for (double v = -750.0; v <= 750.0; v += 89.0) {
            const double du = sum("A", u, v), dv = sum("B", u, v);
            largest = std::max(largest, std::hypot(du, dv));
            worst =
                std::max(worst, std::hypot(du + sum("AP", u + du, v + dv), dv + sum("BP", u + du, v + dv)));
        }
    }
    CHECK(worst < 0.01);   // px
    CHECK(largest > 2.0);  // px: there was something to invert

    // And both ways as a reader has it.
    for (const PixelPosition p : {PixelPosition{0, 0}, PixelPosition{1999, 0}, PixelPosition{300, 1400}}) {
        const auto back = fit->wcs.pixel(*fit->wcs.sky(p));
        REQUIRE(back);
        CHECK(std::hypot(back->x - p.x, back->y - p.y) < 1e-3);
    }
}

TEST_CASE("distortion is followed where there are stars for it, and nothing is invented where there is none",
          "[fit_plate]") {
    numerics::Random random(11);
    int raised = 0;
    for (int k = 0; k < 200; ++k) {
        const auto fit = fit_plate(pairs_of({}, 60, 0.2, random), Camera::width_px, Camera::height_px);
        REQUIRE(fit);
        raised += fit->order > 1 ? 1 : 0;
    }
    // Orders 2 and 3 are each raised by chance once in a thousand: 0.4 expected, 4 by bad luck once in 1300.
    CHECK(raised <= 3);

    Camera bent;
    bent.corner_px = 4.0;
    const auto few = fit_plate(pairs_of(bent, 14, 0.1, random), Camera::width_px, Camera::height_px);
    REQUIRE(few);
    CHECK(few->order == 1);
    const auto many = fit_plate(pairs_of(bent, 120, 0.1, random), Camera::width_px, Camera::height_px);
    REQUIRE(many);
    CHECK(many->order == 3);
    CHECK(many->used >= 117);
    CHECK(bent.worst_px(many->wcs) < 0.3);  // 0.1 px a star, three sigma of a corner
    const auto plain = fit_plate(pairs_of(bent, 120, 0.1, random), Camera::width_px, Camera::height_px, 1);
    REQUIRE(plain);
    CHECK(plain->order == 1);
    // All in one quarter of the frame: a polynomial would run away in the other three.
    const auto corner = fit_plate(pairs_of(bent, 120, 0.1, random, 0.5), Camera::width_px, Camera::height_px);
    REQUIRE(corner);
    CHECK(corner->order <= 2);
    CHECK(bent.worst_px(corner->wcs) < 8.0);  // not followed there, but no worse than twice the distortion
}

TEST_CASE("one sigma of the solution is one sigma", "[fit_plate]") {
    numerics::Random random(21);
    for (const std::size_t n : {std::size_t{6}, std::size_t{12}, std::size_t{40}}) {
        std::vector<double> pulls;
        for (int k = 0; k < 300; ++k) {
            const Camera camera;
            const auto pairs = pairs_of(camera, n, 0.2, random);
            const auto fit = fit_plate(pairs, Camera::width_px, Camera::height_px);
            REQUIRE(fit);
            // The mean over the corners and middles of both axes is smaller than the worst; the worst corner
            // itself is not known beforehand, so the largest of the four stands for it.
            double most = 0.0;
            for (const PixelPosition p : {PixelPosition{-0.5, -0.5}, PixelPosition{1999.5, -0.5},
                                          PixelPosition{-0.5, 1499.5}, PixelPosition{1999.5, 1499.5}})
                most = std::max(most, separation(*fit->wcs.sky(p), camera.sky(p)).arcseconds() / 1.2);
            pulls.push_back(most / fit->worst_err_px);
        }
        INFO(n << " stars");
        // Two axes and four corners that hang together: the median of the largest is between 1.18 (one
        // corner, Rayleigh's median) and 2.1 (four that know nothing of each other).
        const double middle = numerics::median(pulls);
        CHECK(middle > 0.9);
        CHECK(middle < 2.1);
    }
}

TEST_CASE("wrong partners are set aside, three in ten of them", "[fit_plate]") {
    numerics::Random random(17);
    for (const bool mirrored : {false, true}) {
        Camera camera;
        camera.mirrored = mirrored;
        auto pairs = pairs_of(camera, 40, 0.1, random);
        for (std::size_t i = 0; i < 12; ++i) {
            pairs[3 * i].pixel.x += random.uniform(2.0, 300.0);
            pairs[3 * i].pixel.y -= random.uniform(2.0, 300.0);
        }
        const auto fit = fit_plate(pairs, Camera::width_px, Camera::height_px);
        REQUIRE(fit);
        CHECK(fit->used == 28);
        CHECK(fit->wcs.mirrored() == mirrored);
        for (std::size_t i = 0; i < pairs.size(); ++i)
            CHECK(fit->pairs[i].used == (i % 3 != 0 || i >= 36));
        CHECK(fit->rms_px == Approx(0.1 * std::sqrt(2.0)).epsilon(0.3));
        CHECK(fit->rms_arcsec == Approx(fit->rms_px * fit->wcs.scale_arcsec_per_px()));
        CHECK(camera.worst_px(fit->wcs) < 0.3);
    }
}

TEST_CASE("what is left is the pixel through the solution less the given place", "[fit_plate]") {
    numerics::Random random(19);
    const Camera camera;
    const auto fit = fit_plate(pairs_of(camera, 30, 0.3, random), Camera::width_px, Camera::height_px);
    REQUIRE(fit);
    for (const PlatePair& pair : fit->pairs) {
        const SkyOffset away = offset(pair.sky, *fit->wcs.sky(pair.pixel));
        CHECK(
            pair.east_arcsec * pair.east_arcsec + pair.north_arcsec * pair.north_arcsec ==
            Approx(std::pow(away.east.arcseconds(), 2) + std::pow(away.north.arcseconds(), 2)).epsilon(1e-3));
    }
}

TEST_CASE("at the pole and across right ascension 0 a plate is a plate", "[fit_plate]") {
    numerics::Random random(23);
    for (const SkyPosition centre : {SkyPosition{Angle::degrees(0.001), Angle::degrees(89.99)},
                                     SkyPosition{Angle::degrees(200.0), Angle::degrees(-90.0)},
                                     SkyPosition{Angle::degrees(359.999), Angle::degrees(-5.0)}}) {
        Camera camera;
        camera.centre = centre;
        const auto fit = fit_plate(pairs_of(camera, 30, 0.0, random), Camera::width_px, Camera::height_px);
        REQUIRE(fit);
        INFO(centre.ra.degrees() << " " << centre.dec.degrees());
        CHECK(fit->used == 30);
        CHECK(camera.worst_px(fit->wcs) < 1e-5);
    }
}

TEST_CASE("what determines no plate is a problem that says so", "[fit_plate]") {
    numerics::Random random(29);
    const Camera camera;
    const auto pairs = pairs_of(camera, 20, 0.1, random);
    CHECK_FALSE(fit_plate({}, 100, 100));
    const auto two = fit_plate({pairs[0], pairs[1]}, Camera::width_px, Camera::height_px);
    REQUIRE_FALSE(two);
    CHECK(two.error().what.find("three stars") != std::string::npos);
    CHECK(fit_plate({pairs[0], pairs[1], pairs[2]}, Camera::width_px, Camera::height_px));
    CHECK_FALSE(fit_plate(pairs, 0, 100));

    std::vector<PlatePair> line;
    for (int i = 0; i < 12; ++i) {
        PlatePair pair;
        pair.pixel = {100.0 + 150.0 * i, 200.0 + 70.0 * i};
        pair.sky = camera.sky(pair.pixel);
        line.push_back(pair);
    }
    const auto on_line = fit_plate(line, Camera::width_px, Camera::height_px);
    REQUIRE_FALSE(on_line);
    CHECK(on_line.error().what.find("one line") != std::string::npos);
    CHECK_FALSE(on_line.error().mend.empty());

    // The same pair given again and again is one star.
    CHECK_FALSE(fit_plate(std::vector<PlatePair>(8, pairs[0]), Camera::width_px, Camera::height_px));

    auto broken = pairs;
    broken[0].pixel.x = std::numeric_limits<double>::quiet_NaN();
    broken[1].sky.dec = Angle::degrees(std::numeric_limits<double>::infinity());
    broken[2].err_arcsec = std::numeric_limits<double>::quiet_NaN();
    broken[3].sky = {Angle::degrees(10.0), Angle::degrees(-60.0)};  // the other side of the sky
    broken[4].err_arcsec = 0.0;
    const auto fit = fit_plate(broken, Camera::width_px, Camera::height_px);
    REQUIRE(fit);
    for (std::size_t i = 0; i < 4; ++i)
        CHECK_FALSE(fit->pairs[i].used);
    CHECK(camera.worst_px(fit->wcs) < 0.5);
}
