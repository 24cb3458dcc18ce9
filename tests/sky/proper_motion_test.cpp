// SPDX-License-Identifier: MIT
#include "sky/proper_motion.hpp"

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <numbers>

#include "expected_table.hpp"

using namespace emberline;
using test::number;
using test::text;

namespace {

constexpr double mas_per_rad = 180.0 * 3600.0e3 / std::numbers::pi;

SkyPosition degrees(double ra, double dec) {
    return {Angle::degrees(ra), Angle::degrees(dec)};
}
double apart_mas(const SkyPosition& a, const SkyPosition& b) {
    return separation(a, b).arcseconds() * 1000.0;
}

// The method by itself, as a straight line in space: p/ϖ + t v, whatever the time that light takes.
// Hipparcos catalogue (ESA SP-1200), volume 1, section 1.5.5; 4.740470446 km/s is an au a year.
SkyPosition on_a_straight_line(const SkyPosition& from, const sky::Motion& m, double for_years) {
    using Long = long double;
    using Vector = std::array<Long, 3>;
    const auto a = static_cast<Long>(from.ra.radians()), d = static_cast<Long>(from.dec.radians());
    const auto years = static_cast<Long>(for_years), per_rad = static_cast<Long>(mas_per_rad);
    const auto along_ra = static_cast<Long>(m.ra_mas_per_year),
               along_dec = static_cast<Long>(m.dec_mas_per_year);
    const Vector towards{std::cos(d) * std::cos(a), std::cos(d) * std::sin(a), std::sin(d)};
    const Vector east{-std::sin(a), std::cos(a), 0.0L};
    const Vector north{-std::sin(d) * std::cos(a), -std::sin(d) * std::sin(a), std::cos(d)};
    const Long radial =
        static_cast<Long>(m.radial_velocity_km_per_s * m.parallax_mas) / 4.740470446L / per_rad;
    Vector then{};
    for (std::size_t i = 0; i < 3; ++i) {
        then[i] = towards[i] * (1.0L + radial * years) +
                  (east[i] * along_ra + north[i] * along_dec) * (years / per_rad);
    }
    return {Angle::radians(static_cast<double>(std::atan2(then[1], then[0]))).wrapped_positive(),
            Angle::radians(static_cast<double>(std::atan2(then[2], std::hypot(then[0], then[1]))))};
}

}  // namespace

TEST_CASE("motion in space is that of the library's own validation", "[proper_motion]") {
    // SOFA's test program, t_sofa_c, case iauPmsafe, from memory: α, δ in radians, motions in radians a year
    // (of α without cos δ), 1e-2 arcsec, 10 km/s; from MJD 48348.5625 to J2000.0.
    const double delta = 0.789;
    const sky::Motion motion{1e-5 * std::cos(delta) * mas_per_rad, -2e-5 * mas_per_rad, 10.0, 10.0};
    const auto then = sky::moved({Angle::radians(1.234), Angle::radians(delta)}, motion,
                                 sky::epoch_jyear_of(2400000.5 + 48348.5625), 2000.0);
    REQUIRE(then);
    // Julian years as doubles keep the epoch to 2e-13 years, 5e-18 radians of this motion.
    CHECK(then->ra.radians() == Approx(1.234087484501017061).margin(1e-13));
    CHECK(then->dec.radians() == Approx(0.7888249982450468567).margin(1e-13));
}

TEST_CASE("the two nearest fast stars are where a published list has them at J2000", "[proper_motion]") {
    // Gaia DR3 (epoch 2016.0) and the places at J2000 that the SIMBAD service of CDS works out from them;
    // both from memory. The service leaves the radial velocity out, and so does this.
    const auto barnard =
        sky::moved(degrees(269.44850252543836, 4.739420051112412),
                   {-801.5509783684709, 10362.394206546573, 546.975939730948, 0.0}, 2016.0, 2000.0);
    REQUIRE(barnard);
    CHECK(apart_mas(*barnard, {*parse_right_ascension("17:57:48.4984700685"),
                               *parse_declination("+04:41:36.113885676")}) < 1.0);
    const auto proxima =
        sky::moved(degrees(217.39232147200883, -62.67607511676666),
                   {-3781.741008265163, 769.4650146478623, 768.0665391873573, 0.0}, 2016.0, 2000.0);
    REQUIRE(proxima);
    CHECK(apart_mas(*proxima, {*parse_right_ascension("14:29:42.9461331854"),
                               *parse_declination("-62:40:46.164680672")}) < 1.0);
}

TEST_CASE("a star that comes nearer moves faster", "[proper_motion]") {
    // Barnard's star: its motion grows by 1.2 to 1.3 mas a year each year (Benedict et al. 1999, AJ 118,
    // 1086, table of perspective acceleration: from memory). Over 100 years, half of 1.27 × 100²: 6.4″.
    const SkyPosition star = degrees(269.44850252543836, 4.739420051112412);
    const sky::Motion still{-801.55, 10362.39, 546.976, 0.0};
    sky::Motion coming = still;
    coming.radial_velocity_km_per_s = -110.5;
    const double ahead_mas =
        apart_mas(*sky::moved(star, coming, 2000.0, 2100.0), *sky::moved(star, still, 2000.0, 2100.0));
    CHECK(ahead_mas > 0.5 * 1.2 * 1e4);
    CHECK(ahead_mas < 0.5 * 1.4 * 1e4);
}

TEST_CASE("places at another epoch agree with another wrapper and with a straight line", "[proper_motion]") {
    const DelimitedTable table = test::expected_table("sky/proper_motion.csv");
    for (const TableRow& row : table.rows) {
        INFO(text(table, row, "case"));
        const SkyPosition from = degrees(number(table, row, "ra_deg"), number(table, row, "dec_deg"));
        const sky::Motion motion{number(table, row, "pm_ra"), number(table, row, "pm_dec"),
                                 number(table, row, "parallax"), number(table, row, "rv")};
        const double t0 = number(table, row, "from_jyear"), t1 = number(table, row, "to_jyear");
        const auto then = sky::moved(from, motion, t0, t1);
        REQUIRE(then);
        // Twelve decimals of a degree are 4e-6 mas.
        CHECK(apart_mas(*then, degrees(number(table, row, "ra_then_deg"),
                                       number(table, row, "dec_then_deg"))) < 1e-4);
        // Left out here: the light's changing way. Of Barnard's star in a century less than 1 mas.
        CHECK(apart_mas(*then, on_a_straight_line(from, motion, t1 - t0)) < 1.0);
    }
}

TEST_CASE("a star at the pole, and one at rest, come to no harm", "[proper_motion]") {
    const SkyPosition pole = degrees(0.0, 90.0);
    const auto off = sky::moved(pole, {100.0, 0.0, 0.0, 0.0}, 2000.0, 2010.0);
    REQUIRE(off);
    CHECK(apart_mas(*off, pole) == Approx(1000.0).margin(0.1));
    const SkyPosition rest = degrees(200.0, -30.0);
    CHECK(apart_mas(*sky::moved(rest, {}, 1991.25, 2050.0), rest) < 1e-6);
    CHECK(sky::moved(degrees(359.99999999, 0.0), {500.0, 0.0, 0.0, 0.0}, 2000.0, 2001.0)->ra.degrees() <
          1e-3);
}

TEST_CASE("numbers that are no motion of a star are refused", "[proper_motion]") {
    const SkyPosition star = degrees(10.0, 20.0);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const sky::Motion& wrong : {sky::Motion{nan, 0.0, 0.0, 0.0}, sky::Motion{0.0, 2e5, 0.0, 0.0},
                                     sky::Motion{0.0, 0.0, 0.0, 3e5}, sky::Motion{0.0, 0.0, 10.0, -2.9e5},
                                     sky::Motion{0.0, 0.0, std::numeric_limits<double>::infinity(), 0.0}}) {
        const auto then = sky::moved(star, wrong, 2000.0, 2010.0);
        REQUIRE_FALSE(then);
        CHECK(then.error().what.ends_with('.'));
        CHECK_FALSE(then.error().mend.empty());
    }
    CHECK_FALSE(sky::moved(star, {}, nan, 2000.0));
    CHECK_FALSE(sky::moved(star, {}, 2000.0, 2451545.0));  // a Julian date is no Julian year
}

TEST_CASE("epochs are Julian years, whatever they were written as", "[proper_motion]") {
    CHECK(sky::epoch_jyear_of(2451545.0) == 2000.0);  // J2000.0, by definition
    // B1950.0 = JD 2433282.4235 = J1949.99979 (Lieske 1979, A&A 73, 282).
    CHECK(sky::epoch_jyear_of_besselian(1950.0) == Approx(1949.99979).margin(5e-6));
}

TEST_CASE("FK4 places come out in today's frame", "[fk4]") {
    const DelimitedTable table = test::expected_table("sky/fk4.csv");
    for (const TableRow& row : table.rows) {
        const SkyPosition b1950 =
            degrees(number(table, row, "ra_b1950_deg"), number(table, row, "dec_b1950_deg"));
        INFO(b1950.ra.degrees() << " " << b1950.dec.degrees());
        const SkyPosition icrs = sky::from_fk4(b1950, number(table, row, "epoch_byear"));
        // The two ways differ by some 0.1″, as far as FK4 itself is good.
        CHECK(apart_mas(icrs, degrees(number(table, row, "ra_icrs_deg"),
                                      number(table, row, "dec_icrs_deg"))) < 150.0);
    }
    // SOFA's test program, t_sofa_c, case iauFk45z, from memory; FK5 and ICRS differ by some 25 mas
    // (Mignard & Frœschlé 2000, A&A 354, 732).
    const SkyPosition fk5{Angle::radians(0.02719295911606862303), Angle::radians(-0.1115766001565926892)};
    const SkyPosition b1950{Angle::radians(0.01602284975382960982), Angle::radians(-0.1164347929099906024)};
    const double away_mas = apart_mas(sky::from_fk4(b1950, 1954.677617625256806), fk5);
    CHECK(away_mas < 60.0);
    CHECK(away_mas > 1.0);
}

TEST_CASE("a motion in FK4 is the same motion in today's axes", "[fk4]") {
    // SOFA's test program, t_sofa_c, case iauFk425, from memory: radians, radians a year, arcsec, km/s.
    const double delta = -1.137405378399605780;
    const sky::Motion b1950{0.1973749217849087460e-4 * std::cos(delta) * mas_per_rad,
                            0.5659714913272723189e-5 * mas_per_rad, 134.0, 8.7};
    const sky::Motion now =
        sky::motion_from_fk4({Angle::radians(0.07626899753879587532), Angle::radians(delta)}, b1950);
    const double delta_now = -1.132279113042091895;
    CHECK(now.ra_mas_per_year ==
          Approx(0.1953670614474396139e-4 * std::cos(delta_now) * mas_per_rad).margin(1e-6));
    CHECK(now.dec_mas_per_year == Approx(0.5637686678659640164e-5 * mas_per_rad).margin(1e-6));
    CHECK(now.parallax_mas == Approx(133.9919950582767871).margin(1e-6));
    CHECK(now.radial_velocity_km_per_s == Approx(8.736999669183529069).margin(1e-9));
}
