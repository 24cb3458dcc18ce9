// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>

#include "lightcurve/luminosity.hpp"

using namespace emberline;
using namespace emberline::lightcurve;
using Catch::Matchers::Contains;
using Catch::Matchers::WithinAbs;

namespace {

Band band(std::string_view name) {
    return parse_band(name).value();
}

StretchHint stretch(std::string_view name, double delta_m15, double err = 0.0) {
    const auto hint = stretch_hint(band(name), {delta_m15, err, delta_m15 - err, delta_m15 + err});
    REQUIRE(hint);
    return *hint;
}

}  // namespace

TEST_CASE("distances and their moduli", "[luminosity]") {
    // 5 log10(d / 10 pc), computed elsewhere with mpmath 1.2.1.
    constexpr struct {
        double distance_mpc, modulus_mag;
    } pairs[] = {{6.60693448008, 29.10},         {10.0, 30.0},
                 {15.8489319246, 31.0},          {0.0501187233627, 18.50},
                 {0.306601393786, 22.432870624},  // a million light years
                 {15.3300696893, 30.9277206456}};
    for (const auto& [distance, modulus] : pairs) {
        CHECK_THAT(distance_modulus_mag(distance), WithinAbs(modulus, 1e-9));
        CHECK(distance_mpc(modulus) == Approx(distance).epsilon(1e-10));
    }
    // 5 % of distance are 0.108573620476 mag, 0.1 mag 4.7 % to first order (4.71285480509 % exactly); same
    // source.
    CHECK_THAT(distance_modulus_mag(ValueWithError{10.0, 0.5}).err, WithinAbs(0.108573620476, 1e-11));
    CHECK(distance_mpc(ValueWithError{30.0, 0.1}).err == Approx(0.471285480509).epsilon(0.03));
    const ValueWithError there{17.2, 1.3};
    const ValueWithError back = distance_mpc(distance_modulus_mag(there));
    CHECK(back.value == Approx(there.value));
    CHECK(back.err == Approx(there.err));
    CHECK(std::isnan(distance_modulus_mag(0.0)));
    CHECK(std::isnan(distance_modulus_mag(-3.0)));
}

TEST_CASE("the absolute magnitude of SN 2011fe", "[luminosity]") {
    // Richmond & Smith 2012, JAAVSO 40, 872, abstract: M_B = −19.21 with μ = 29.10. The apparent maximum is
    // another observer's (Pereira et al. 2013, 9.94 ± 0.01, from memory), and so is the foreground dust,
    // E(B−V) of 0.008 (from memory): 0.05 mag is what two careful zero points may differ by.
    const auto absolute = absolute_magnitude(band("B"), {9.94, 0.01}, {29.10, 0.0}, 0.008);
    REQUIRE(absolute);
    CHECK_THAT(absolute->mag.value, WithinAbs(-19.21, 0.05));
}

TEST_CASE("an absolute magnitude carries every error that it has, and says what it leaves out",
          "[luminosity]") {
    const auto absolute = absolute_magnitude(band("V"), {14.0, 0.03}, {31.0, 0.04}, 0.5);
    REQUIRE(absolute);
    // 2.742 mag per E(B−V), Schlafly & Finkbeiner 2011 (from memory, to verify).
    CHECK(absolute->extinction_mag == Approx(1.371));
    CHECK(absolute->mag.value == Approx(14.0 - 31.0 - 1.371));
    CHECK(absolute->mag.err == Approx(std::sqrt(0.03 * 0.03 + 0.04 * 0.04 + 0.21936 * 0.21936)));
    CHECK_THAT(absolute->note,
               Contains("1.371 mag of foreground dust taken off (Schlafly & Finkbeiner 2011"));
    CHECK_THAT(absolute->note, Contains("the host's own dust"));
    const auto clear = absolute_magnitude(band("CV"), {14.0, 0.03}, {31.0, 0.04}, 0.0);
    REQUIRE(clear);
    CHECK(clear->mag == ValueWithError{-17.0, 0.05});
    CHECK_THAT(clear->note, Contains("no foreground dust taken off"));
    CHECK_FALSE(absolute_magnitude(band("V"), {14.0, 0.03}, {31.0, 0.04}, -0.1));
    CHECK_FALSE(absolute_magnitude(band("V"), {14.0, 0.03}, {31.0, 0.04}, std::nan("")));
    CHECK_FALSE(absolute_magnitude(band("V"), {std::nan(""), 0.03}, {31.0, 0.04}, 0.1));
    CHECK_FALSE(absolute_magnitude(Band{}, {14.0, 0.03}, {31.0, 0.04}, 0.1));
}

TEST_CASE("faster type Ia are fainter, by the published relation", "[luminosity]") {
    // Phillips et al. 1999: coefficients from memory, rows computed elsewhere with mpmath 1.2.1.
    constexpr struct {
        double delta_m15, b, v, i;
    } rows[] = {{0.85, -0.1569375, -0.1284375, -0.0659375}, {0.90, -0.13188, -0.10908, -0.05908},
                {1.00, -0.07227, -0.06087, -0.03587},       {1.10, 0.0, 0.0, 0.0},
                {1.21, 0.0941193, 0.0815793, 0.0540793},    {1.50, 0.41568, 0.37008, 0.27008},
                {1.70, 0.69948, 0.63108, 0.48108}};
    for (const auto& row : rows) {
        CHECK_THAT(stretch("B", row.delta_m15).fainter_mag.value().value, WithinAbs(row.b, 1e-12));
        CHECK_THAT(stretch("V", row.delta_m15).fainter_mag.value().value, WithinAbs(row.v, 1e-12));
        CHECK_THAT(stretch("Ic", row.delta_m15).fainter_mag.value().value, WithinAbs(row.i, 1e-12));
    }
    CHECK(stretch("TG", 1.3).fainter_mag == stretch("V", 1.3).fainter_mag);
    CHECK_FALSE(stretch_hint(band("r"), {1.1, 0.02, 1.08, 1.12}));
    CHECK_FALSE(stretch_hint(Band{}, {1.1, 0.02, 1.08, 1.12}));
}

TEST_CASE("the hint of luminosity is never better than the scatter of single supernovae", "[luminosity]") {
    // At x = 0 only the scatter and the error of Δm15 are left: 0.11 (from memory) and 0.786 · 0.05.
    CHECK(stretch("B", 1.1).fainter_mag->err == Approx(0.11));
    CHECK(stretch("B", 1.1, 0.05).fainter_mag->err == Approx(std::hypot(0.11, 0.786 * 0.05)));
    // x = 0.4: slope 0.786 + 2 · 0.633 · 0.4, coefficients hypot(0.398 · 0.4, 0.742 · 0.16).
    CHECK(stretch("B", 1.5, 0.05).fainter_mag->err ==
          Approx(std::sqrt(0.11 * 0.11 + std::pow(1.2924 * 0.05, 2) + std::pow(0.398 * 0.4, 2) +
                           std::pow(0.742 * 0.16, 2))));
    const StretchHint fast = stretch("B", 1.5, 0.05);
    CHECK_THAT(fast.sentence, Contains("0.4 ± 0.2 mag fainter") || Contains("0.42 ± 0.24 mag fainter"));
    CHECK_THAT(fast.sentence, Contains("If it is of type Ia"));
    CHECK_THAT(fast.sentence, Contains("correlation is not known"));
    CHECK_THAT(fast.sentence, Contains("an indication only"));
    CHECK_THAT(stretch("V", 0.9).sentence, Contains("mag brighter"));
    for (const double outside : {0.84, 1.71, std::nan("")}) {
        const StretchHint none = stretch("B", outside);
        CHECK_FALSE(none.fainter_mag);
        CHECK_THAT(none.sentence, Contains("outside 0.85 to 1.70"));
    }
}
