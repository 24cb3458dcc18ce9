// SPDX-License-Identifier: MIT
// A fact of optics: a pixel sees one place of the sky, whatever picture it is counted in. Checked against
// headers written for each lattice by the formulae of FITS WCS (Greisen & Calabretta 2002) and SIP (Shupe et
// al. 2005), read by WCSLIB as solutions of their own.
#include "frame/lattice.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <set>
#include <sstream>

#include "frame/colour_pattern.hpp"
#include "frame/fits_maker.hpp"
#include "frame/parse_header.hpp"

using namespace emberline;
using namespace emberline::frame;

namespace {

constexpr const char* words[] = {"RGGB", "BGGR", "GRBG", "GBRG"};
constexpr double most_apart_px = 1e-6;

Header header_named(const std::string& name) {
    std::istringstream in(
        testing::bytes_of(std::string(EMBERLINE_TEST_DATA) + "/frame/wcs_headers/" + name + ".hdr"));
    std::vector<std::string> lines;
    for (std::string line; std::getline(in, line);)
        lines.push_back(line.substr(0, line.find('\r')));
    return parse_header(testing::cards(lines));
}

// One axis' distortion: power of u, power of v -> coefficient.
using Polynomial = std::map<std::pair<int, int>, double>;

double binomial(int n, int k) {
    return std::round(std::tgamma(n + 1.0) / (std::tgamma(k + 1.0) * std::tgamma(n - k + 1.0)));
}

// f(u, v) at u = ux s + vx t, v = uy s + vy t, as a polynomial of s and t.
Polynomial substituted(const Polynomial& f, const Lattice& l) {
    Polynomial out;
    for (const auto& [power, coefficient] : f) {
        for (int a = 0; a <= power.first; ++a) {
            for (int b = 0; b <= power.second; ++b) {
                const int s = a + b, t = power.first + power.second - s;
                out[{s, t}] += coefficient * binomial(power.first, a) * std::pow(l.ux, a) *
                               std::pow(l.vx, power.first - a) * binomial(power.second, b) *
                               std::pow(l.uy, b) * std::pow(l.vy, power.second - b);
            }
        }
    }
    return out;
}

std::string number_card(const std::string& keyword, double value) {
    return fmt::format("{:<8}= {:>30.20E}", keyword, value);
}

bool is_sip_coefficient(const std::string& keyword, char axis) {
    return keyword.size() == 5 && keyword[0] == axis && keyword[1] == '_' && keyword[3] == '_';
}

// The header that a program would write for the lattice's picture: the reference pixel counted on the
// lattice, CD times the lattice's matrix (for red and blue CRPIX' = (CRPIX − p + 1)/2, CD' = 2 CD and A'_ij =
// 2^(i + j − 1) A_ij follow), every other card as it is.
std::string header_on(const Header& header, const Lattice& l) {
    const double crpix1 = *header.number("CRPIX1"), crpix2 = *header.number("CRPIX2");
    std::vector<std::string> lines;
    const bool square = l.uy == 0 && l.vx == 0;
    const double determinant = l.ux * l.vy - l.uy * l.vx;
    const double dx = crpix1 - 1.0 - l.x0, dy = crpix2 - 1.0 - l.y0;
    const auto put = [&lines](const std::string& keyword, double value) {
        lines.push_back(number_card(keyword, value));
    };
    if (square) {
        put("CRPIX1", (crpix1 - l.x0 + 1.0) / 2.0);
        put("CRPIX2", (crpix2 - l.y0 + 1.0) / 2.0);
    } else {
        put("CRPIX1", (dx * l.vy - dy * l.vx) / determinant + 1.0);
        put("CRPIX2", (dy * l.ux - dx * l.uy) / determinant + 1.0);
    }
    Polynomial a, b;
    for (const Card& card : header.cards()) {
        const std::string& key = card.keyword;
        if (key.starts_with("CRPIX") || key.starts_with("CD1_") || key.starts_with("CD2_") ||
            key.starts_with("AP_") || key.starts_with("BP_") || key.starts_with("NAXIS") || key == "SIMPLE" ||
            key == "END")
            continue;
        if (key.starts_with("CDELT")) {
            REQUIRE(square);
            put(key, 2.0 * *header.number(key));
        } else if (is_sip_coefficient(key, 'A')) {
            a[{key[2] - '0', key[4] - '0'}] = *header.number(key);
        } else if (is_sip_coefficient(key, 'B')) {
            b[{key[2] - '0', key[4] - '0'}] = *header.number(key);
        } else if (card.is_string) {
            lines.push_back(fmt::format("{:<8}= '{}'", key, card.value));
        } else if (!card.value.empty()) {
            lines.push_back(fmt::format("{:<8}= {}", key, card.value));
        }
    }
    for (const char axis : {'1', '2'}) {
        const std::string cd = fmt::format("CD{}_", axis);
        if (!header.find(cd + "1") && !header.find(cd + "2")) continue;
        const double x = header.number(cd + "1").value_or(0.0), y = header.number(cd + "2").value_or(0.0);
        put(cd + "1", square ? 2.0 * x : x * l.ux + y * l.uy);
        put(cd + "2", square ? 2.0 * y : x * l.vx + y * l.vy);
    }
    const auto put_polynomials = [&](const Polynomial& first, const Polynomial& second) {
        for (const auto& [power, c] : first)
            put(fmt::format("A_{}_{}", power.first, power.second), c);
        for (const auto& [power, c] : second)
            put(fmt::format("B_{}_{}", power.first, power.second), c);
    };
    if (square) {
        for (auto* f : {&a, &b}) {
            for (auto& [power, c] : *f)
                c *= std::pow(2.0, power.first + power.second - 1);
        }
        put_polynomials(a, b);
    } else {
        const Polynomial along_x = substituted(a, l), along_y = substituted(b, l);
        Polynomial first, second;
        for (const auto& [power, c] : along_x) {
            first[power] += c * l.vy / determinant;
            second[power] -= c * l.uy / determinant;
        }
        for (const auto& [power, c] : along_y) {
            first[power] -= c * l.vx / determinant;
            second[power] += c * l.ux / determinant;
        }
        put_polynomials(first, second);
    }
    return testing::cards(lines);
}

}  // namespace

// Counted by hand on paper for a frame of 4 × 4 pixels.
TEST_CASE("green is one square lattice turned by 45 degrees, red and blue every second pixel", "[lattice]") {
    const auto [red, green, blue] = lattices_of(*parse_colour_pattern("RGGB"), 4, 4);
    CHECK((red.x0 == 0 && red.y0 == 0 && red.width_px == 2 && red.height_px == 2));
    CHECK((blue.x0 == 1 && blue.y0 == 1 && blue.width_px == 2 && blue.height_px == 2));
    CHECK(red.pitch_px() == 2.0);
    CHECK(red.pixel_side() == 0.5);
    CHECK_FALSE(red.turned());
    // Greens (1,0) (3,0) (0,1) (2,1) (1,2) (3,2) (0,3) (2,3): x + y is 1, 3 or 5, x − y from −3 to 3.
    CHECK(green.turned());
    CHECK(green.pitch_px() == Approx(std::sqrt(2.0)).epsilon(1e-15));
    CHECK(green.pixel_side() == Approx(std::sqrt(0.5)).epsilon(1e-15));
    CHECK((green.width_px == 3 && green.height_px == 4));
    CHECK(green.stored({0.0, 0.0}) == PixelPosition{2.0, -1.0});
    CHECK(green.stored({1.0, 0.0}) == PixelPosition{3.0, 0.0});
    CHECK(green.stored({0.0, 1.0}) == PixelPosition{1.0, 0.0});
    CHECK_FALSE(green.holds(0, 0));
    CHECK(green.holds(1, 0));
    CHECK(green.holds(0, 1));
    CHECK_FALSE(green.holds(-1, 0));
    CHECK_FALSE(green.holds(3, 0));
}

TEST_CASE("every stored pixel is one pixel of one picture, and of its own colour", "[lattice]") {
    for (const char* word : words) {
        const ColourPattern pattern = *parse_colour_pattern(word);
        for (int width = 2; width <= 9; ++width) {
            for (int height = 2; height <= 8; ++height) {
                INFO(word << ' ' << width << " × " << height);
                std::set<std::pair<int, int>> seen;
                const auto lattices = lattices_of(pattern, width, height);
                for (std::size_t c = 0; c < 3; ++c) {
                    const Lattice& l = lattices[c];
                    CHECK(l.ux * l.vy - l.uy * l.vx > 0);
                    bool first_row = false, first_column = false, last_row = false, last_column = false;
                    for (int j = 0; j < l.height_px; ++j) {
                        for (int i = 0; i < l.width_px; ++i) {
                            if (!l.holds(i, j)) continue;
                            const int x = l.x0 + i * l.ux + j * l.vx, y = l.y0 + i * l.uy + j * l.vy;
                            CHECK(pattern.at(x, y) == static_cast<Colour>(c));
                            CHECK(seen.insert({x, y}).second);
                            first_row = first_row || j == 0;
                            last_row = last_row || j == l.height_px - 1;
                            first_column = first_column || i == 0;
                            last_column = last_column || i == l.width_px - 1;
                        }
                    }
                    // No empty rows or columns around.
                    CHECK((first_row && last_row && first_column && last_column));
                }
                CHECK(seen.size() == static_cast<std::size_t>(width) * static_cast<std::size_t>(height));
            }
        }
    }
}

TEST_CASE("picture and stored positions are each other's inverse", "[lattice]") {
    for (const char* word : words) {
        for (const Lattice& l : lattices_of(*parse_colour_pattern(word), 101, 64)) {
            for (const PixelPosition p : {PixelPosition{0.0, 0.0}, PixelPosition{17.25, 3.5}}) {
                const PixelPosition back = l.picture(l.stored(p));
                CHECK(back.x == Approx(p.x).margin(1e-12));
                CHECK(back.y == Approx(p.y).margin(1e-12));
            }
        }
    }
}

// A fact of optics: a pixel sees one place of the sky, however its picture counts it. Against headers written
// for each picture and read by WCSLIB: CRPIX' = (CRPIX − p + 1)/2, CD' = 2 CD, A'_ij = 2^(i + j − 1) A_ij for
// red and blue; for green CD and the polynomials with the turned lattice put in. TAN, mirrored, across 0h, at
// the pole, CROTA, PC, SIP, TPV.
TEST_CASE("each colour's pixel maps to the sky of its stored pixel", "[lattice][wcs][outside]") {
    const std::pair<const char*, bool> headers[] = {
        {"A_paper2_tan", false},  {"B_cd_rotated", true}, {"C_cd_mirrored", true}, {"D_ra_wrap", true},
        {"E_near_pole", true},    {"F_crota2", false},    {"G_pc_cdelt", false},   {"H_sip3_noinv", true},
        {"I_sip2_inverse", true}, {"J_tpv_survey", true}, {"K_sip_survey", true},  {"L_tpv_radial", true}};
    int compared = 0;
    for (const auto& [name, by_cd] : headers) {
        const Header header = header_named(name);
        const int width = static_cast<int>(header.integer("NAXIS1").value_or(1000));
        const int height = static_cast<int>(header.integer("NAXIS2").value_or(801));
        const auto stored = Wcs::parse(header.raw());
        REQUIRE(stored);
        const double most_apart_arcsec = most_apart_px * stored->scale_arcsec_per_px();
        for (const char* word : words) {
            for (const Lattice& l : lattices_of(*parse_colour_pattern(word), width, height)) {
                if (l.turned() && !by_cd) continue;
                INFO(name << ' ' << word << (l.turned() ? " green" : " red or blue"));
                const Wcs on = stored->on(l);
                const auto independent = Wcs::parse(header_on(header, l));
                REQUIRE(independent);
                CHECK(on.scale_arcsec_per_px() == Approx(independent->scale_arcsec_per_px()).epsilon(1e-12));
                CHECK(on.mirrored() == independent->mirrored());
                CHECK(std::remainder(
                          on.position_angle_of_y().degrees() - independent->position_angle_of_y().degrees(),
                          360.0) == Approx(0.0).margin(1e-9));
                CHECK(on.description() == stored->description());
                for (const double fx : {0.1, 0.35, 0.5, 0.8}) {
                    for (const double fy : {0.15, 0.5, 0.9}) {
                        PixelPosition p = l.picture({fx * width, fy * height});
                        p = {std::round(p.x), std::round(p.y)};
                        const auto a = on.sky(p), b = independent->sky(p), c = stored->sky(l.stored(p));
                        REQUIRE(a);
                        REQUIRE(b);
                        REQUIRE(c);
                        CHECK(separation(*a, *b).arcseconds() < most_apart_arcsec);
                        CHECK(separation(*a, *c).arcseconds() < most_apart_arcsec);
                        const auto back = on.pixel(*b);
                        REQUIRE(back);
                        CHECK(std::hypot(back->x - p.x, back->y - p.y) < most_apart_px);
                        ++compared;
                    }
                }
            }
        }
    }
    CHECK(compared == 12 * (9 * 12 + 3 * 8));
}
