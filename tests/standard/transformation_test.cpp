// SPDX-License-Identifier: MIT
#include "standard/transformation.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "numerics/random.hpp"
#include "quantities/magnitude.hpp"
#include "standard/photometric_catalogue.hpp"

using namespace emberline;

namespace {

constexpr double zero_mag = 22.0;

struct Plan {
    int stars = 20, frames = 8;
    double colour_term = -0.05, extinction = 0.17;
    double catalogue_err_mag = 0.01, colour_err_mag = 0.014;  // of V, and of B−V from two such errors
    double star_scatter_mag = 0.0;                            // of which the catalogue knows nothing
    double colour_low = 0.0, colour_high = 1.4;
    double unrest_mag = 0.01;  // of the air, frame by frame
    double airmass_low = 1.05, airmass_high = 2.0;
};

// The catalogue's error of V sits in its B−V, too.
standard::TransformationInput night_of(const Plan& plan, numerics::Random& random) {
    standard::TransformationInput input;
    input.solve.frames = static_cast<std::size_t>(plan.frames);
    std::vector<double> airmass;
    for (int f = 0; f < plan.frames; ++f) {
        airmass.push_back(plan.airmass_low +
                          (plan.airmass_high - plan.airmass_low) * f / std::max(1, plan.frames - 1));
        input.air.push_back({"2024-03-18", airmass.back(), 60.0});
    }
    std::vector<double> unrest;
    for (int f = 0; f < plan.frames; ++f)
        unrest.push_back(random.gaussian(0.0, plan.unrest_mag));
    for (int i = 0; i < plan.stars; ++i) {
        const double v = random.uniform(11.0, 14.0);
        const double colour = random.uniform(plan.colour_low, plan.colour_high);
        const double v_err = random.gaussian(0.0, plan.catalogue_err_mag);
        const double b_err = random.gaussian(
            0.0, std::sqrt(std::pow(plan.colour_err_mag, 2) - std::pow(plan.catalogue_err_mag, 2)));
        input.solve.stars.push_back({"star " + std::to_string(i), v + v_err, plan.catalogue_err_mag,
                                     colour + b_err - v_err, plan.colour_err_mag,
                                     -plan.catalogue_err_mag * plan.catalogue_err_mag});
        const double own = random.gaussian(0.0, plan.star_scatter_mag);
        for (std::size_t f = 0; f < airmass.size(); ++f) {
            const double m = v + own - zero_mag - plan.colour_term * colour + plan.extinction * airmass[f] +
                             unrest[f] - 2.5 * std::log10(60.0);
            const double expected = flux_ratio(m);
            constexpr double background = 1e5;
            const double flux = random.gaussian(expected, std::sqrt(expected + background));
            input.solve.observations.push_back(
                {f, static_cast<std::size_t>(i), flux, {background, 0.0}, 0.0});
        }
    }
    return input;
}

struct Pulls {
    double mean = 0.0, spread = 0.0, within_one = 0.0, err = 0.0;
};
Pulls pulls_of(const std::vector<ValueWithError>& found, double truth) {
    Pulls out;
    const auto n = static_cast<double>(found.size());
    for (const ValueWithError& v : found) {
        const double pull = (v.value - truth) / v.err;
        out.mean += pull / n;
        out.spread += pull * pull / n;
        out.within_one += (std::abs(pull) < 1.0 ? 1.0 : 0.0) / n;
        out.err += v.err / n;
    }
    out.spread = std::sqrt(out.spread);
    return out;
}

struct Terms {
    std::vector<ValueWithError> colour, extinction;
};
Terms many_nights(const Plan& plan, int nights, std::uint64_t seed) {
    Terms terms;
    numerics::Random random(seed);
    for (int k = 0; k < nights; ++k) {
        const auto found = standard::find_transformation(night_of(plan, random));
        REQUIRE(found);
        REQUIRE(found->colour_term);
        terms.colour.push_back(*found->colour_term);
        if (found->extinction) terms.extinction.push_back(*found->extinction);
    }
    return terms;
}

std::vector<standard::AirPoint> textbook_night() {
    // Six magnitudes of one star against airmass, worked with an array library: m0 = −8.59048429,
    // k = 0.17589838 ± 0.00237740 mag per airmass, rms 0.00232832.
    const double airmass[] = {1.02, 1.10, 1.25, 1.48, 1.80, 2.15};
    const double m[] = {-8.412, -8.395, -8.373, -8.330, -8.271, -8.214};
    std::vector<standard::AirPoint> points;
    for (std::size_t i = 0; i < 6; ++i)
        points.push_back({airmass[i], -m[i], 0.0});
    return points;
}

}  // namespace

TEST_CASE("extinction is the textbook's line through magnitudes against airmass", "[transformation]") {
    const auto line = standard::fit_extinction(textbook_night());
    REQUIRE(line);
    CHECK(line->frames == 6);
    CHECK(line->extinction.value == Approx(0.17589838).epsilon(0).margin(1e-7));
    CHECK(line->extinction.err == Approx(0.00237740).epsilon(0).margin(1e-7));
    CHECK(line->outside_mag == Approx(8.59048429).epsilon(0).margin(1e-7));
    CHECK(line->scatter_mag == Approx(0.00232832).epsilon(0).margin(1e-7));
}

TEST_CASE("cloud on some frames does not bend the extinction", "[transformation]") {
    numerics::Random random(7);
    std::vector<ValueWithError> found;
    for (int night = 0; night < 300; ++night) {
        std::vector<standard::AirPoint> points;
        for (int f = 0; f < 24; ++f) {
            const double airmass = 1.05 + 0.045 * f;
            double zero = 21.0 - 0.16 * airmass + random.gaussian(0.0, 0.01);
            if (f % 4 == 1) zero -= 0.05 + 0.4 * random.uniform();
            points.push_back({airmass, zero, 0.002});
        }
        const auto line = standard::fit_extinction(points);
        REQUIRE(line);
        found.push_back(line->extinction);
    }
    const Pulls pulls = pulls_of(found, 0.16);
    CAPTURE(pulls.mean, pulls.spread, pulls.err);
    CHECK(std::abs(pulls.mean) < 0.2);
    CHECK(pulls.spread < 1.25);
}

TEST_CASE("extinction that cannot be had says what is missing", "[transformation]") {
    auto points = textbook_night();
    points.resize(3);
    auto none = standard::fit_extinction(points);
    REQUIRE_FALSE(none);
    CHECK(none.error().what.find("3 frames") != std::string::npos);
    points = textbook_night();
    for (standard::AirPoint& p : points)
        p.airmass = 1.2 + 0.1 * (p.airmass - 1.2);
    none = standard::fit_extinction(points);
    REQUIRE_FALSE(none);
    CHECK(none.error().what.find("airmass changes by 0.11") != std::string::npos);
}

TEST_CASE("one sigma of a colour term and of an extinction is one sigma", "[transformation]") {
    constexpr int nights = 300;
    const auto show = [](const char* what, const Pulls& p) {
        UNSCOPED_INFO(what << ": mean pull " << p.mean << ", rms " << p.spread << ", within one sigma "
                           << p.within_one << ", mean error " << p.err);
    };
    SECTION("with good catalogue errors") {
        const Plan plan;
        const Terms terms = many_nights(plan, nights, 1);
        REQUIRE(terms.extinction.size() == nights);
        const Pulls t = pulls_of(terms.colour, plan.colour_term),
                    k = pulls_of(terms.extinction, plan.extinction);
        show("T", t);
        show("k", k);
        // Standard error of a mean pull 0.058, of an rms 0.041.
        CHECK(std::abs(t.mean) < 0.18);
        CHECK(t.spread == Approx(1.0).margin(0.12));
        CHECK(std::abs(k.mean) < 0.18);
        // The air's scatter is known from eight frames alone: Student's tails, and 68 % within one sigma.
        CHECK(k.within_one == Approx(0.683).margin(0.08));
        CHECK(k.spread < 1.3);
    }
    SECTION("with a scatter that the catalogue does not tell") {
        Plan plan;
        plan.star_scatter_mag = 0.03;
        const Pulls t = pulls_of(many_nights(plan, nights, 2).colour, plan.colour_term);
        show("T", t);
        CHECK(std::abs(t.mean) < 0.18);
        CHECK(t.spread == Approx(1.0).margin(0.15));
    }
    SECTION("with a survey's colours, whose errors pull a straight fit towards −σ²/var(C)") {
        Plan plan;
        plan.stars = 60;
        plan.catalogue_err_mag = 0.04;
        plan.colour_err_mag = 0.057;
        plan.colour_low = 0.4;
        plan.colour_high = 1.1;
        const Pulls t = pulls_of(many_nights(plan, 150, 3).colour, plan.colour_term);
        show("T", t);
        CHECK(std::abs(t.mean) < 0.4);
        CHECK(t.spread == Approx(1.0).margin(0.2));
    }
}

TEST_CASE("one wrong catalogue star does not matter", "[transformation]") {
    const Plan plan;
    numerics::Random random(11);
    for (const double wrong_mag : {0.15, 1.0, -3.0}) {
        auto input = night_of(plan, random);
        auto reddest = input.solve.stars.begin();
        for (auto star = input.solve.stars.begin(); star != input.solve.stars.end(); ++star) {
            if (*star->colour_mag > *reddest->colour_mag) reddest = star;
        }
        const auto right = standard::find_transformation(input);
        reddest->catalogue_mag += wrong_mag;
        const auto found = standard::find_transformation(input);
        REQUIRE(right);
        REQUIRE(found);
        CAPTURE(wrong_mag, found->colour_term->value, found->colour_term->err);
        CHECK(std::abs(found->colour_term->value - right->colour_term->value) < right->colour_term->err);
        CHECK(found->colour_term->err < 1.3 * right->colour_term->err);
        CHECK(found->stars == 19);
        CHECK_FALSE(found->relation.back().used);
        CHECK(found->relation.back().label == reddest->label);
        CHECK_FALSE(found->relation.back().why.empty());
    }
}

TEST_CASE("a colour term that cannot be had says what is missing", "[transformation]") {
    numerics::Random random(5);
    Plan few;
    few.stars = 4;
    auto found = standard::find_transformation(night_of(few, random));
    REQUIRE(found);
    CHECK_FALSE(found->colour_term);
    CHECK(found->no_colour_term.find("4 stars") != std::string::npos);
    CHECK(found->extinction);
    Plan alike;
    alike.colour_low = 0.6;
    alike.colour_high = 0.8;
    found = standard::find_transformation(night_of(alike, random));
    REQUIRE(found);
    CHECK_FALSE(found->colour_term);
    CHECK(found->no_colour_term.find("colours span") != std::string::npos);
    // Frames without any light: no star lies on any relation, and its scatter was no number.
    auto dark = night_of(Plan{}, random);
    for (auto& observation : dark.solve.observations)
        observation.flux_e = 0.0;
    found = standard::find_transformation(dark);
    REQUIRE(found);
    CHECK(found->stars == 0);
    CHECK(found->scatter_mag == 0.0);
    Plan level;
    level.airmass_high = 1.2;
    found = standard::find_transformation(night_of(level, random));
    REQUIRE(found);
    CHECK(found->colour_term);
    CHECK_FALSE(found->extinction);
    CHECK(found->no_extinction.find("airmass changes") != std::string::npos);
}

TEST_CASE("a term that changes with airmass is told, and only where the stars say so", "[transformation]") {
    numerics::Random random(9);
    const Plan plan;
    auto input = night_of(plan, random);
    const auto plain = standard::find_transformation(input);
    REQUIRE(plain);
    CHECK_FALSE(plain->second_order);
    constexpr double change = -0.03;  // of T, an airmass
    for (standard::SolveObservation& o : input.solve.observations)
        o.flux_e *= flux_ratio(-change * (*input.air[o.frame].airmass - 1.5) *
                               (*input.solve.stars[o.star].colour_mag - 0.7));
    const auto found = standard::find_transformation(input);
    REQUIRE(found);
    REQUIRE(found->second_order);
    CHECK(std::abs(found->second_order->value - change) < 4.0 * found->second_order->err);
}

TEST_CASE("the term's sign is that of the two-colour transformation", "[transformation]") {
    // V = Δv + T_v Δ(B−V) + V_comp with v −6.905 and −7.840, V_comp 12.121, T_v −0.052,
    // Δ(B−V) −0.131418: V 13.062833736, worked with an array library.
    standard::SolveInput input;
    input.frames = 1;
    input.stars.push_back({"comparison", 12.121, 0.01, 0.753});
    input.observations.push_back({0, 0, flux_ratio(-7.840), {1.0, 0.0}, 0.0});
    input.fit_colour_term = true;
    input.colour_term_prior = {-0.052, 1e-6};
    const auto solved = standard::solve_zero_points(input);
    REQUIRE(solved);
    const auto v = standard::standard_magnitude(*solved, 0, flux_ratio(-6.905), 0.753 - 0.131418);
    CHECK(v.magnitude_mag == Approx(13.062833736).epsilon(0).margin(1e-6));
}

TEST_CASE("Landolt's stars give back the colour term of an instrument", "[transformation]") {
    // Landolt 1992, AJ 104, 340 and later lists: V and B−V with their mean errors.
    const char* datasets = std::getenv("EMBERLINE_DATASETS");
    if (datasets == nullptr) {
        WARN("EMBERLINE_DATASETS is not set: Landolt's stars were not tried.");
        return;
    }
    const std::string path = std::string(datasets) + "/catalogues/landolt_all.csv";
    const auto catalogue = standard::read_photometric_catalogue(path);
    REQUIRE(catalogue);
    const Band b = *parse_band("B"), v = *parse_band("V");
    const auto listed = standard::on_bands(*catalogue, {b, v}, 2000.0);
    standard::TransformationInput input;
    input.solve.frames = 6;
    for (std::size_t f = 0; f < 6; ++f)
        input.air.push_back({"2024-03-18", 1.1 + 0.15 * static_cast<double>(f), 10.0});
    numerics::Random random(4);
    constexpr double term = 0.037, extinction = 0.15;
    for (const standard::StandardStar& star : listed.stars) {
        if (!star.magnitudes.contains(b) || !star.magnitudes.contains(v)) continue;
        const ValueWithError mag = star.magnitudes.at(v), blue = star.magnitudes.at(b);
        if (mag.value > 13.0 || mag.err > 0.02) continue;
        const std::size_t number = input.solve.stars.size();
        const double colour = blue.value - mag.value;
        input.solve.stars.push_back(
            {star.label, mag.value, mag.err, colour, std::hypot(mag.err, blue.err), -mag.err * mag.err});
        const double own = random.gaussian(0.0, 0.01);  // spectra differ
        for (std::size_t f = 0; f < 6; ++f) {
            const double expected = flux_ratio(mag.value + own - zero_mag - term * colour +
                                               extinction * *input.air[f].airmass - 2.5);
            input.solve.observations.push_back(
                {f, number, random.gaussian(expected, std::sqrt(expected + 1e4)), {1e4, 0.0}, 0.0});
        }
        if (input.solve.stars.size() == 60) break;
    }
    REQUIRE(input.solve.stars.size() == 60);
    const auto found = standard::find_transformation(input);
    REQUIRE(found);
    REQUIRE(found->colour_term);
    REQUIRE(found->extinction);
    CAPTURE(found->colour_term->value, found->colour_term->err, found->extinction->value);
    CHECK(std::abs(found->colour_term->value - term) < 3.0 * found->colour_term->err);
    CHECK(found->colour_term->err < 0.006);
    CHECK(found->extinction->value == Approx(extinction).margin(0.005));
}
