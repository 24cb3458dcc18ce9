// SPDX-License-Identifier: MIT
#include "frame/wcs.hpp"

#include <catch2/catch.hpp>
#include <cstdlib>
#include <map>
#include <sstream>
#include <thread>

#include "expected_table.hpp"
#include "frame/fits_maker.hpp"
#include "frame/frame.hpp"

using namespace emberline;
using namespace emberline::frame;
using emberline::frame::testing::bytes_of;
using emberline::frame::testing::cards;
using emberline::frame::testing::plain_solution;

namespace {

std::string header_file(const std::string& path) {
    const std::string bytes = bytes_of(path);
    if (bytes.find('\n') == std::string::npos) return bytes;
    std::vector<std::string> lines;
    std::istringstream in(bytes);
    for (std::string line; std::getline(in, line);)
        lines.push_back(line.substr(0, line.find('\r')));
    return cards(lines);
}

Wcs wcs_of(const std::string& name) {
    auto wcs =
        Wcs::parse(header_file(std::string(EMBERLINE_TEST_DATA) + "/frame/wcs_headers/" + name + ".hdr"));
    INFO(name);
    REQUIRE(wcs);
    return *wcs;
}

// Lines in place of those with the same keyword, or added.
std::string solution_with(const std::vector<std::string>& changes) {
    auto lines = plain_solution();
    for (const std::string& change : changes) {
        std::erase_if(lines,
                      [&](const std::string& line) { return line.substr(0, 8) == change.substr(0, 8); });
        lines.push_back(change);
    }
    return cards(lines);
}
std::string solution_without(const std::string& keyword) {
    auto lines = plain_solution();
    std::erase_if(lines, [&](const std::string& line) { return line.starts_with(keyword); });
    return cards(lines);
}

void check_same_sky(const std::string& a, const std::string& b) {
    const auto first = Wcs::parse(a), second = Wcs::parse(b);
    REQUIRE(first);
    REQUIRE(second);
    for (const PixelPosition p : {PixelPosition{0, 0}, PixelPosition{10, 50}, PixelPosition{300, -20}}) {
        const auto u = first->sky(p), v = second->sky(p);
        REQUIRE(u);
        REQUIRE(v);
        CHECK(separation(*u, *v).arcseconds() < 1e-8);
    }
}

}  // namespace

// Expected: WCSLIB 7.12 through astropy 5.2.1, and 40-digit arithmetic (mpmath), which agree to 2e-10″.
// Header A is the worked example of Calabretta & Greisen (2002), A&A 395, 1077.
TEST_CASE("pixels and sky agree with astropy and with 40-digit arithmetic, both ways", "[wcs][outside]") {
    const DelimitedTable table = test::expected_table("frame/wcs_points.csv");
    CHECK(table.rows.size() == 111);
    std::map<std::string, Wcs> all;
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "header");
        if (!all.contains(name)) all.emplace(name, wcs_of(name));
        const Wcs& wcs = all.at(name);
        const PixelPosition pixel{test::number(table, row, "x_fits") - 1.0,
                                  test::number(table, row, "y_fits") - 1.0};
        const SkyPosition expected{Angle::degrees(test::number(table, row, "ra_deg_mp40")),
                                   Angle::degrees(test::number(table, row, "dec_deg_mp40"))};
        INFO(name << " (" << pixel.x << ", " << pixel.y << ")");
        const auto sky = wcs.sky(pixel);
        REQUIRE(sky);
        // 1e-8″ is 1e-8 px of the finest scale here: rounding of degrees in a double.
        CHECK(separation(*sky, expected).arcseconds() < 1e-8);
        const auto back = wcs.pixel(expected);
        REQUIRE(back);
        CHECK(back->x == Approx(pixel.x).margin(1e-6));
        CHECK(back->y == Approx(pixel.y).margin(1e-6));
    }
}

// Expected: mpmath, from the matrices alone.
TEST_CASE("scale, parity and the direction of +y follow from the matrix", "[wcs][outside]") {
    const DelimitedTable table = test::expected_table("frame/wcs_scale.csv");
    CHECK(table.rows.size() == 12);
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "header");
        const Wcs wcs = wcs_of(name);
        INFO(name);
        // The table has 12 figures.
        CHECK(wcs.scale_arcsec_per_px() ==
              Approx(test::number(table, row, "scale_sqrt_absdet_arcsec")).epsilon(1e-10));
        CHECK(wcs.mirrored() == test::text(table, row, "det_sign").starts_with("+1"));
        CHECK(wcs.position_angle_of_y().degrees() ==
              Approx(test::number(table, row, "position_angle_of_+y_deg_E_of_N")).margin(1e-8));
    }
}

// astropy's WCS test data: one survey frame described in the two ways.
TEST_CASE("one frame written with TPV and with SIP has one sky", "[wcs][outside]") {
    const Wcs tpv = wcs_of("J_tpv_survey"), sip = wcs_of("K_sip_survey");
    CHECK(tpv.description() == "TAN with TPV distortion");
    CHECK(sip.description() == "TAN with SIP distortion");
    for (const PixelPosition p : {PixelPosition{0, 0}, PixelPosition{2047, 4095}, PixelPosition{900, 1234.5}})
        CHECK(separation(*tpv.sky(p), *sip.sky(p)).arcseconds() < 1e-6);
}

TEST_CASE("spellings of a solution that programs write are all understood", "[wcs]") {
    const std::string plain = cards(plain_solution());
    SECTION("declination on the first axis") {
        check_same_sky(plain, solution_with({"CTYPE1  = 'DEC--TAN'", "CTYPE2  = 'RA---TAN'", "CRVAL1  = 20.0",
                                             "CRVAL2  = 100.0", "CD1_1   = 0", "CD1_2   = 0.001",
                                             "CD2_1   = -0.001", "CD2_2   = 0"}));
    }
    SECTION("Fortran's exponent") {
        check_same_sky(plain, solution_with({"CD1_1   = -1.0D-3", "CD2_2   = 1D-3"}));
    }
    SECTION("numbers as text") {
        check_same_sky(plain, solution_with({"CRVAL1  = '100.0'", "CD1_1   = ' -1e-3 '"}));
    }
    SECTION("lower case, and a unit spelt out") {
        check_same_sky(plain, solution_with({"CTYPE1  = 'ra---tan'", "CTYPE2  = 'dec--tan'",
                                             "CUNIT1  = 'degrees'", "CUNIT2  = 'DEG'"}));
    }
    SECTION("an older CDELT beside the CD matrix") {
        check_same_sky(plain, solution_with({"CDELT1  = -5.0", "CDELT2  = 5.0", "CROTA2  = 30.0"}));
    }
    SECTION("PC and CDELT beside an equal CD matrix") {
        check_same_sky(plain,
                       solution_with({"CDELT1  = -0.001", "CDELT2  = 0.001", "PC1_1   = 1", "PC2_2   = 1"}));
    }
    SECTION("a third axis of colour planes") {
        check_same_sky(plain, solution_with({"NAXIS   = 3", "NAXIS3  = 3", "WCSAXES = 3", "CTYPE3  = 'BAND'",
                                             "CRPIX3  = 1", "CD3_3   = 1"}));
    }
    SECTION("an alternate description that means the detector") {
        check_same_sky(plain,
                       solution_with({"CTYPE1P = 'X'", "CTYPE2P = 'Y'", "CRPIX1P = 5", "CD1_1P  = 2"}));
    }
    SECTION("the suffix SIP without coefficients") {
        check_same_sky(plain, solution_with({"CTYPE1  = 'RA---TAN-SIP'", "CTYPE2  = 'DEC--TAN-SIP'"}));
    }
    SECTION("a TPV polynomial under the name of TAN") {
        const std::vector<std::string> polynomial = {"PV1_1   = 1.0", "PV1_4   = 0.1", "PV1_7   = 3",
                                                     "PV2_1   = 1.0", "PV2_4   = 0.1"};
        auto named = polynomial;
        named.insert(named.end(), {"CTYPE1  = 'RA---TPV'", "CTYPE2  = 'DEC--TPV'"});
        check_same_sky(solution_with(polynomial), solution_with(named));
        auto solved_twice = plain_solution();
        solved_twice.insert(solved_twice.begin(), "CTYPE1  = 'RA'");
        solved_twice.insert(solved_twice.end(), polynomial.begin(), polynomial.end());
        check_same_sky(cards(solved_twice), solution_with(named));
    }
    SECTION("a date as EPOCH, an equinox as text, an equinox that ICRS has no use for") {
        check_same_sky(plain, solution_with({"EPOCH   = 2024.1"}));
        check_same_sky(plain, solution_with({"EQUINOX = 'J2000.0'"}));
        check_same_sky(plain, solution_with({"EQUINOX = 2024.1", "RADESYS = 'ICRS'"}));
    }
}

TEST_CASE("a solution that cannot be used is refused by what is missing", "[wcs][damage]") {
    const struct {
        std::string cards, what, where;
    } cases[] = {
        {"", "CTYPE1 and CTYPE2 are missing", "WCS keywords"},
        {"too short for a card", "CTYPE1 and CTYPE2 are missing", "WCS keywords"},
        {solution_without("CTYPE2"), "CTYPE2 is missing", "WCS keywords"},
        {solution_without("CRVAL1"), "CRVAL1 is missing", "keyword CRVAL1"},
        {solution_without("CRPIX2"), "CRPIX2 is missing", "keyword CRPIX2"},
        {solution_without("CD"), "no scale", "keywords CD1_1 … CD2_2, or CDELT1, CDELT2"},
        {solution_without("CD") + cards({"CDELT1  = -0.001"}), "no scale", "keyword CDELT2"},
        {solution_without("CD2"), "singular", "CD1_1"},
        {solution_with({"CD1_1   = 0", "CD2_2   = 0"}), "singular", "CD1_1"},
        {solution_with({"CD1_1   = 1E-3", "CD1_2   = 1E-3", "CD2_1   = 1E-3", "CD2_2   = 1.0000000001E-3"}),
         "singular", "CD1_1"},
        {solution_without("CD") + cards({"CDELT1  = 0", "CDELT2  = 0"}), "singular", "CD1_1"},
        {solution_with({"CDELT1  = -5E-3", "CDELT2  = 5E-3", "PC1_1   = 1", "PC2_2   = 1"}),
         "contradicts itself", "PC1_1"},
        {solution_with({"CRVAL1  = '06:40:00'"}), "'06:40:00' where a number belongs", "keyword CRVAL1"},
        {solution_with({"CRVAL2  = NaN"}), "'NaN' where a number belongs", "keyword CRVAL2"},
        {solution_with({"CRVAL2  = 200.0"}), "cannot be used", "WCS keywords"},
        {solution_with({"CRPIX1  = 1E300"}), "absurd value", "keyword CRPIX1"},
        {solution_with({"EQUINOX = 1950.0"}), "equinox 1950.0", "keyword EQUINOX"},
        {solution_with({"EPOCH   = 1950.0"}), "equinox 1950.0", "keyword EPOCH"},
        {solution_with({"EQUINOX = 2024.1"}), "equinox 2024.1", "keyword EQUINOX"},
        {solution_with({"RADESYS = 'FK4'"}), "FK4", "keyword RADESYS"},
        {solution_with({"CTYPE1  = 'GLON-TAN'", "CTYPE2  = 'GLAT-TAN'"}), "'GLON-TAN'", "CTYPE1"},
        {solution_with({"CTYPE1  = 'RA'", "CTYPE2  = 'DEC'"}), "'RA'", "CTYPE1"},
        {solution_with({"CTYPE1  = 'RA---FOO'", "CTYPE2  = 'DEC--FOO'"}), "cannot be used", "WCS keywords"},
        {solution_with({"CUNIT1  = 'furlong'"}), "cannot be used", "WCS keywords"},
        {solution_with({"CPDIS1  = 'LOOKUP'"}), "distortion in a table", "keyword CPDIS1"},
    };
    for (const auto& c : cases) {
        INFO(c.what);
        const auto wcs = Wcs::parse(c.cards);
        REQUIRE_FALSE(wcs);
        INFO(one_line(wcs.error()));
        CHECK(wcs.error().what.find(c.what) != std::string::npos);
        CHECK(wcs.error().where.find(c.where) != std::string::npos);
        CHECK_FALSE(wcs.error().mend.empty());
    }
}

TEST_CASE("the other side of the sky has no pixel", "[wcs]") {
    const auto wcs = Wcs::parse(cards(plain_solution()));
    REQUIRE(wcs);
    // Gnomonic projection shows less than a half sphere: the antipode would fall on the reference pixel.
    const auto pixel = wcs->pixel({Angle::degrees(280.0), Angle::degrees(-20.0)});
    REQUIRE_FALSE(pixel);
    CHECK(pixel.error().what == "The plate solution does not reach 18:40:00.0 -20:00:00.");
    CHECK_FALSE(wcs->pixel({Angle::degrees(std::nan("")), Angle::degrees(0.0)}));
    CHECK_FALSE(wcs->sky({std::nan(""), 0.0}));
}

TEST_CASE("one solution serves several threads", "[wcs]") {
    const Wcs wcs = wcs_of("I_sip2_inverse");
    const auto expected = *wcs.sky({10.0, 20.0});
    std::vector<int> wrong(4, 0);
    std::vector<std::thread> threads;
    for (int& count : wrong) {
        threads.emplace_back([&count, &wcs, &expected] {
            for (int i = 0; i < 500; ++i) {
                const auto own = i % 50 == 0 ? Wcs::parse(cards(plain_solution())) : Result<Wcs>(wcs);
                const auto pixel = wcs.pixel(expected);
                if (!own || !pixel || std::abs(pixel->x - 10.0) > 1e-6 || std::abs(pixel->y - 20.0) > 1e-6)
                    ++count;
            }
        });
    }
    for (std::thread& thread : threads)
        thread.join();
    CHECK(wrong == std::vector<int>(4, 0));
}

TEST_CASE("solutions of published headers agree with astropy", "[wcs][outside]") {
    const char* datasets = std::getenv("EMBERLINE_DATASETS");
    if (datasets == nullptr) {
        WARN(
            "SKIPPED: EMBERLINE_DATASETS is not set, so the published headers are not there to be compared.");
        return;
    }
    const std::string folder = std::string(datasets) + "/";
    const auto table = read_table(folder + "headers/wcs_reference.csv");
    REQUIRE(table);
    int compared = 0;
    for (const TableRow& row : table->rows) {
        const std::string name = test::text(*table, row, "file");
        INFO(name);
        Result<Wcs> wcs = fail({});
        std::optional<Lattice> lattice;  // of a mosaic's red picture; the table counts stored pixels
        if (name.ends_with(".hdr")) {
            wcs = Wcs::parse(header_file(folder + name));
        } else {
            const auto frames = open_frames(folder + name, {});
            if (!frames && frames.error().what.starts_with("The file holds no image")) {
                wcs = Wcs::parse(header_file(folder + name));  // a header without pixels
            } else {
                REQUIRE(frames);
                wcs = frames->front().wcs();
                lattice = frames->front().facts().lattice;
            }
        }
        REQUIRE(wcs);
        const PixelPosition stored{test::number(*table, row, "x_fits") - 1.0,
                                   test::number(*table, row, "y_fits") - 1.0};
        const PixelPosition pixel = lattice ? lattice->picture(stored) : stored;
        const SkyPosition expected{Angle::degrees(test::number(*table, row, "lon_deg")),
                                   Angle::degrees(test::number(*table, row, "lat_deg"))};
        // The table has nine decimals of a degree, 2.5e-6″; this one file's pixels are rounded to 0.001 px,
        // which the SIP polynomial worked by hand confirms.
        const double tolerance_arcsec =
            name.ends_with("m106_sip_header_only.fits") ? 7.1e-4 * wcs->scale_arcsec_per_px() : 4e-6;
        CHECK(separation(*wcs->sky(pixel), expected).arcseconds() < tolerance_arcsec);
        const auto back = wcs->pixel(expected);
        REQUIRE(back);
        CHECK(std::hypot(back->x - pixel.x, back->y - pixel.y) <
              tolerance_arcsec / wcs->scale_arcsec_per_px());
        ++compared;
    }
    CHECK(compared == 40 - 1);
}
