// SPDX-License-Identifier: MIT
// Relations: the papers named in data/colour_equations.csv. Values marked "worked": the arithmetic done by
// hand from the printed coefficients; which of these were recalled is said in the table.
#include "standard/colour_equations.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <set>

using namespace emberline;
using namespace emberline::standard;

namespace {

const ColourEquation& equation(const std::string& name) {
    for (const ColourEquation& e : colour_equations()) {
        if (e.name == name) return e;
    }
    throw std::out_of_range(name);
}

NativeMagnitudes star(std::initializer_list<std::pair<const char*, double>> mags, double err = 0.0) {
    NativeMagnitudes native;
    for (const auto& [name, mag] : mags)
        native[name] = {mag, err};
    return native;
}

double value(const std::string& name, const NativeMagnitudes& native) {
    const auto converted = convert(equation(name), native);
    INFO(name << (converted ? "" : one_line(converted.error())));
    REQUIRE(converted);
    return converted->magnitude.value;
}

// G = 13.000 at that BP − RP.
NativeMagnitudes gaia(double colour) {
    return star({{"G", 13.0}, {"BP", 13.3}, {"RP", 13.3 - colour}});
}

constexpr double exact = 1e-9;

}  // namespace

TEST_CASE("the table of relations is whole: unique names, sources, ranges, scatters", "[standard][colours]") {
    std::set<std::string> names;
    CHECK(colour_equations().size() == 35);
    for (const ColourEquation& e : colour_equations()) {
        INFO(e.name);
        CHECK(names.insert(e.name).second);
        CHECK_FALSE(e.source.empty());
        CHECK(e.least_colour_mag < e.most_colour_mag);
        CHECK(e.scatter_mag > 0.003);
        CHECK(e.scatter_mag < 0.1);
        CHECK(e.coefficients.size() >= 2);
        CHECK(e.preference >= 1);
    }
}

TEST_CASE("worked points of SDSS: g, r, i = 15.234, 14.789, 14.621", "[standard][colours]") {
    const auto s = star({{"g", 15.234}, {"r", 14.789}, {"i", 14.621}});
    // g − r = 0.445, r − i = 0.168. Lupton 2005: B = 15.234 + 0.3130 · 0.445 + 0.2271 …
    CHECK(value("Lupton B (g-r)", s) == Approx(15.600385).epsilon(0).margin(exact));
    CHECK(value("Lupton V (g-r)", s) == Approx(14.972812).epsilon(0).margin(exact));
    CHECK(value("Lupton R (g-r)", s) == Approx(14.6101535).epsilon(0).margin(exact));
    CHECK(value("Lupton R (r-i)", s) == Approx(14.5957752).epsilon(0).margin(exact));
    // I = 14.789 − 1.2444 · 0.168 − 0.3820
    CHECK(value("Lupton I (r-i)", s) == Approx(14.1979408).epsilon(0).margin(exact));
    // Jester et al. 2005, table 1: V = g − 0.59 (g − r) − 0.01; B from memory: g + 0.39 (g − r) + 0.21.
    CHECK(value("Jester V", s) == Approx(14.96145).epsilon(0).margin(exact));
    CHECK(value("Jester B", s) == Approx(15.61755).epsilon(0).margin(exact));
    // From memory: V − R = 1.09 · 0.168 + 0.22 = 0.40312, Rc − Ic = 1.00 · 0.168 + 0.21 = 0.378, taken off V.
    CHECK(value("Jester Rc", s) == Approx(14.96145 - 0.40312).epsilon(0).margin(exact));
    CHECK(value("Jester Ic", s) == Approx(14.96145 - 0.40312 - 0.378).epsilon(0).margin(exact));
}

TEST_CASE("worked points of Pan-STARRS, by Tonry et al. 2012, table 6", "[standard][colours]") {
    const auto s = star({{"gP1", 15.234}, {"rP1", 14.789}, {"iP1", 14.621}});
    CHECK(value("Tonry B", s) == Approx(15.708215).epsilon(0).margin(exact));
    CHECK(value("Tonry V", s) == Approx(15.005930).epsilon(0).margin(exact));
    CHECK(value("Tonry Rc", s) == Approx(14.592705).epsilon(0).margin(exact));
    CHECK(value("Tonry Ic", s) == Approx(14.187695).epsilon(0).margin(exact));
    // Quadratic, from memory.
    CHECK(value("Tonry B, quadratic", s) == Approx(15.70015285).epsilon(0).margin(exact));
    CHECK(value("Tonry V, quadratic", s) == Approx(15.002164325).epsilon(0).margin(exact));
    CHECK(value("Tonry Rc, quadratic", s) == Approx(14.598197275).epsilon(0).margin(exact));
    CHECK(value("Tonry Ic, quadratic", s) == Approx(14.19091555).epsilon(0).margin(exact));
}

TEST_CASE("worked points of Gaia DR3, by Riello et al. 2021, table C.2", "[standard][colours]") {
    struct Row {
        double colour, v, rc, ic;  // V's coefficients were checked, those of Rc and Ic are from memory
    };
    for (const Row& row :
         {Row{0.0, 13.02704, 13.02275, 12.98247}, Row{0.5, 13.0720375, 12.8572841, 12.627245},
          Row{0.82, 13.1524701, 12.7875177, 12.4259048}, Row{1.5, 13.4426525, 12.7362791, 12.065445},
          Row{2.5, 14.1161275, 12.8800391, 11.701845}}) {
        INFO(row.colour);
        CHECK(value("Riello V", gaia(row.colour)) == Approx(row.v).epsilon(0).margin(1e-7));
        CHECK(value("Riello Rc", gaia(row.colour)) == Approx(row.rc).epsilon(0).margin(1e-7));
        CHECK(value("Riello Ic", gaia(row.colour)) == Approx(row.ic).epsilon(0).margin(1e-7));
    }
}

TEST_CASE("a standard goes to SDSS as published: PG1633+099A", "[standard][colours]") {
    // Landolt 1992: V 15.256, B−V 0.873, V−R 0.505, R−I 0.511; Jester et al. 2005 forward: g 15.6598,
    // r 14.99934 (worked); the survey's own values, quoted elsewhere, are g 15.70 and r 15.05 or so.
    const auto s = star({{"V", 15.256}, {"B", 16.129}, {"U", 16.449}, {"Rc", 14.751}, {"Ic", 14.240}});
    CHECK(value("Jester g", s) == Approx(15.6598).epsilon(0).margin(1e-6));
    CHECK(value("Jester r", s) == Approx(14.99934).epsilon(0).margin(1e-6));
    // i = 15.256 − 0.42 · 0.873 + 0.11 − (0.91 · 0.511 − 0.20) = 14.99934 − 0.26501
    CHECK(value("Jester i", s) == Approx(14.73433).epsilon(0).margin(1e-6));
    // z = 14.99934 − (1.72 · 0.511 − 0.41); the survey's own, quoted elsewhere, is 14.55.
    CHECK(value("Jester z", s) == Approx(14.53042).epsilon(0).margin(1e-6));
    const auto chosen = convert(*parse_band("g"), s);
    REQUIRE(chosen);
    CHECK(chosen->equation->name == "Jester g");  // U − B is not below 0
}

TEST_CASE("two published roads to V agree within their scatter", "[standard][colours]") {
    // Lupton 2005 (0.0054 mag) and Jester et al. 2005 (0.01 mag) from the same g and r.
    for (double colour = -0.4; colour <= 1.2; colour += 0.1) {
        const auto s = star({{"g", 15.0}, {"r", 15.0 - colour}, {"i", 15.0 - colour - 0.2}});
        INFO(colour);
        CHECK(std::abs(value("Lupton V (g-r)", s) - value("Jester V", s)) < 2.0 * std::hypot(0.0054, 0.01));
        CHECK(std::abs(value("Lupton B (g-r)", s) - value("Jester B", s)) < 3.0 * std::hypot(0.0107, 0.03));
    }
    // Tonry's straight line and its parabola, of one set of stars.
    for (double colour = 0.0; colour <= 1.2; colour += 0.1) {
        const auto s = star({{"gP1", 15.0}, {"rP1", 15.0 - colour}, {"iP1", 14.8 - colour}});
        INFO(colour);
        CHECK(std::abs(value("Tonry V", s) - value("Tonry V, quadratic", s)) < 0.012);
        CHECK(std::abs(value("Tonry B", s) - value("Tonry B, quadratic", s)) < 0.034);
    }
}

TEST_CASE("roads through another system end where the straight one does", "[standard][colours]") {
    // Gaia to SDSS (Riello et al. 2021, from memory) and on by Lupton 2005, against Gaia to V and Ic at once.
    // What the relations scatter by for single stars is far more than their means may differ by.
    for (double colour = 0.5; colour <= 1.5; colour += 0.1) {
        INFO("BP - RP " << colour);
        const auto s = gaia(colour);
        const auto sdss =
            star({{"g", value("Riello g", s)}, {"r", value("Riello r", s)}, {"i", value("Riello i", s)}});
        CHECK(std::abs(value("Lupton V (g-r)", sdss) - value("Riello V", s)) < 0.03017);
        CHECK(std::abs(value("Lupton R (r-i)", sdss) - value("Riello Rc", s)) < 0.03167);
        CHECK(std::abs(value("Lupton I (r-i)", sdss) - value("Riello Ic", s)) < 0.03765);
    }
    // Pan-STARRS to SDSS (Tonry et al. 2012, from memory) and on, against Pan-STARRS to V, B, Rc and Ic at
    // once.
    for (double colour = 0.2; colour <= 1.0; colour += 0.1) {
        INFO("g - r " << colour);
        // r − i of stars of that colour, by and large.
        const double r_i = 0.4 * colour - 0.03;
        const auto s = star({{"gP1", 15.0}, {"rP1", 15.0 - colour}, {"iP1", 15.0 - colour - r_i}});
        const auto sdss =
            star({{"g", value("Tonry g", s)}, {"r", value("Tonry r", s)}, {"i", value("Tonry i", s)}});
        CHECK(std::abs(value("Lupton V (g-r)", sdss) - value("Tonry V", s)) <
              2.0 * std::hypot(0.0054, 0.012));
        CHECK(std::abs(value("Lupton B (g-r)", sdss) - value("Tonry B", s)) <
              2.0 * std::hypot(0.0107, 0.034));
        CHECK(std::abs(value("Lupton R (r-i)", sdss) - value("Tonry Rc", s)) <
              2.0 * std::hypot(0.0072, 0.015));
        // Towards red stars the two part: 0.036 mag at g − r = 0.7, 0.061 at 1.0. Which of them is right is
        // not known here.
        if (colour < 0.65) {
            CHECK(std::abs(value("Lupton I (r-i)", sdss) - value("Tonry Ic", s)) <
                  2.0 * std::hypot(0.0078, 0.016));
        }
    }
}

TEST_CASE("there and back through a colour: Jester's relations undo each other", "[standard][colours]") {
    // Published scatters: g 0.02, r 0.03 forward; V 0.01, B 0.03 back.
    for (double b_v = 0.0; b_v <= 1.3; b_v += 0.1) {
        INFO(b_v);
        const auto johnson = star({{"V", 14.0}, {"B", 14.0 + b_v}, {"Rc", 13.7}, {"Ic", 13.4}});
        const double g = value("Jester g", johnson), r = value("Jester r", johnson);
        const auto back = star({{"g", g}, {"r", r}, {"i", r - 0.1}});
        CHECK(std::abs(value("Jester V", back) - 14.0) < 0.02);
        CHECK(std::abs(value("Jester B", back) - (14.0 + b_v)) < 0.045);
    }
}

TEST_CASE("a colour outside the published range is refused, on the edge it is not", "[standard][colours]") {
    for (const ColourEquation& e : colour_equations()) {
        INFO(e.name);
        const auto with_colour = [&](double colour) {
            NativeMagnitudes s;
            for (const std::string& name : {e.limit_blue, e.limit_red})
                if (!name.empty()) s[name] = {14.0, 0.0};
            if (!e.limit_blue.empty()) s[e.limit_red].value = 14.0 - e.limit_most_mag + 0.01;
            s[e.base] = {14.0, 0.0};
            s[e.blue] = {14.0, 0.0};
            s[e.red] = {14.0 - colour, 0.0};
            // A colour of the limit may be the relation's own magnitudes: let the limit hold.
            if (e.limit_blue == "r") s["i"] = {s["r"].value - 0.2, 0.0};
            if (e.limit_blue == "U") s["U"] = {s["B"].value - 0.2, 0.0};
            return s;
        };
        CHECK(convert(e, with_colour(e.least_colour_mag + 1e-6)));
        CHECK(convert(e, with_colour(e.most_colour_mag - 1e-6)));
        CHECK_FALSE(convert(e, with_colour(e.least_colour_mag - 1e-3)));
        const auto beyond = convert(e, with_colour(e.most_colour_mag + 1e-3));
        REQUIRE_FALSE(beyond);
        CHECK(beyond.error().what.find(e.name) != std::string::npos);
        CHECK(beyond.error().what.find("range") != std::string::npos);
        CHECK_FALSE(convert(e, with_colour(std::nan(""))));
    }
    // The second limit: Rc − Ic of a red dwarf.
    auto dwarf = star({{"V", 14.0}, {"B", 15.5}, {"Rc", 13.0}, {"Ic", 11.8}});
    CHECK_FALSE(convert(*parse_band("g"), dwarf));
    dwarf["Ic"].value = 11.9;
    CHECK(convert(*parse_band("g"), dwarf));
}

TEST_CASE("where the first relation cannot be had the next one is taken, and none is said so",
          "[standard][colours]") {
    const Band b = *parse_band("B"), ic = *parse_band("Ic");
    CHECK(convert(b, star({{"u", 16.4}, {"g", 15.2}, {"r", 14.8}}))->equation->name == "Lupton B (g-r)");
    CHECK(convert(b, star({{"u", 16.4}, {"g", 15.2}}))->equation->name == "Lupton B (u-g)");
    CHECK(convert(ic, star({{"i", 14.6}, {"z", 14.5}}))->equation->name == "Lupton I (i-z)");
    const auto none = convert(b, gaia(0.8));
    REQUIRE_FALSE(none);
    CHECK(none.error().what.find("BP, G, RP") != std::string::npos);
    CHECK_FALSE(convert(b, {}));
}

TEST_CASE("errors go through the relation, a magnitude that stands in it twice only once",
          "[standard][colours]") {
    // 20000 draws: the spread is known to 0.5 per cent; 2.5 per cent is five of its sigma.
    std::mt19937_64 random(5);
    std::normal_distribution<double> normal;
    for (const char* name : {"Lupton B (g-r)", "Riello V", "Tonry Ic", "Jester g", "Jester i", "Jester Rc"}) {
        const ColourEquation& e = equation(name);
        auto middle = star({{"G", 13.0},
                            {"BP", 13.4},
                            {"RP", 12.4},
                            {"g", 15.2},
                            {"r", 14.8},
                            {"i", 14.6},
                            {"gP1", 15.2},
                            {"rP1", 14.8},
                            {"iP1", 14.6},
                            {"B", 15.4},
                            {"V", 14.9},
                            {"Rc", 14.6},
                            {"Ic", 14.3}});
        double err = 0.01;
        for (auto& [native, mag] : middle)
            mag.err = err += 0.002;
        const auto stated = convert(e, middle);
        REQUIRE(stated);
        double sum = 0.0, squares = 0.0;
        constexpr int draws = 20000;
        for (int i = 0; i < draws; ++i) {
            auto drawn = middle;
            for (auto& [native, mag] : drawn)
                mag.value += mag.err * normal(random);
            const double off =
                convert(e, drawn)->magnitude.value + e.scatter_mag * normal(random) - stated->magnitude.value;
            sum += off;
            squares += off * off;
        }
        const double spread = std::sqrt(squares / draws - std::pow(sum / draws, 2));
        INFO(name);
        CHECK(spread == Approx(stated->magnitude.err).epsilon(0.025));
    }
}

TEST_CASE("the table for a person works every relation", "[standard][colours]") {
    const auto worked = worked_equations();
    CHECK(worked.size() == colour_equations().size());
    const std::string text = colour_equation_table();
    for (const ColourEquation& e : colour_equations())
        CHECK(text.find(e.name) != std::string::npos);
    CHECK(text.find("14.789 - 0.1439 - 0.2936 (0.168) = 14.5958") != std::string::npos);
}
