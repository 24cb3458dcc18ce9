// SPDX-License-Identifier: MIT
#include "stars/solve_plate.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::stars;
using frame::PixelPosition;

namespace {

struct Sky {
    SkyPosition centre{Angle::degrees(83.0), Angle::degrees(22.0)};
    double scale_arcsec = 1.1, turn_deg = 70.0;
    bool mirrored = false;
    std::size_t stars = 40;  // on the frame
    double around = 1.6;     // the catalogue's side, of the frame's
    double lost = 0.3, wrong = 0.3;
    double noise_px = 0.2;
    static constexpr int width_px = 2400, height_px = 1600;
};

struct Field {
    Sky sky;
    std::vector<PictureStar> stars;
    std::vector<ReferenceStar> references;
    std::size_t found = 0;  // detections that are references
    [[nodiscard]] SkyPosition place(const PixelPosition& p) const {
        const double u = (p.x - 1199.5) * (sky.mirrored ? 1.0 : -1.0), v = p.y - 799.5;
        const double a = sky.turn_deg / 57.29577951308232;
        return displaced(sky.centre,
                         {Angle::arcseconds(sky.scale_arcsec * (u * std::cos(a) - v * std::sin(a))),
                          Angle::arcseconds(sky.scale_arcsec * (u * std::sin(a) + v * std::cos(a)))});
    }
    [[nodiscard]] double worst_px(const frame::Wcs& wcs) const {
        double most = 0.0;
        for (const double x : {-0.5, 1199.5, 2399.5}) {
            for (const double y : {-0.5, 799.5, 1599.5})
                most = std::max(most,
                                separation(*wcs.sky({x, y}), place({x, y})).arcseconds() / sky.scale_arcsec);
        }
        return most;
    }
};

Field field_of(const Sky& sky, std::uint64_t seed) {
    numerics::Random random(seed);
    Field f{sky, {}, {}};
    const auto magnitude = [&] { return 15.0 + 2.5 * std::log10(1.0 - random.uniform()); };
    const auto brightness = [](double mag) { return std::pow(10.0, -0.4 * (mag - 15.0)); };
    const auto n = static_cast<std::size_t>(static_cast<double>(sky.stars) * sky.around * sky.around);
    for (std::size_t i = 0; i < n; ++i) {
        const double half = sky.around / 2.0;
        // The first lie on the frame, so that their number is known.
        const double reach = i < sky.stars ? 0.5 : half;
        PixelPosition p{1199.5 + 2400.0 * random.uniform(-reach, reach),
                        799.5 + 1600.0 * random.uniform(-reach, reach)};
        const bool on_frame = std::abs(p.x - 1199.5) < 1200.0 && std::abs(p.y - 799.5) < 800.0;
        if (i >= sky.stars && on_frame) continue;
        const double mag = magnitude();
        f.references.push_back({f.place(p), 0.05, mag, "r" + std::to_string(i)});
        if (!on_frame || random.uniform() < sky.lost) continue;
        f.stars.push_back(
            {{p.x + random.gaussian(0.0, sky.noise_px), p.y + random.gaussian(0.0, sky.noise_px)},
             sky.noise_px,
             brightness(mag + random.gaussian(0.0, 0.3))});
    }
    const std::size_t real = f.stars.size();
    f.found = real;
    for (std::size_t i = 0;
         static_cast<double>(i) < static_cast<double>(real) * sky.wrong / (1.0 - sky.wrong); ++i) {
        f.stars.push_back({{random.uniform(0.0, 2399.0), random.uniform(0.0, 1599.0)},
                           sky.noise_px,
                           brightness(magnitude())});
    }
    return f;
}

Result<PlateSolution> solve(const Field& f, const PlateHints& hints = {}) {
    return solve_plate(f.stars, Sky::width_px, Sky::height_px, f.references, hints);
}

// Three stars, or a few more, all found, nothing else.
Field bare(std::size_t n, double noise_px) {
    Sky sky;
    sky.stars = n;
    sky.around = 1.0;
    sky.lost = sky.wrong = 0.0;
    sky.noise_px = noise_px;
    Field f = field_of(sky, 12);
    constexpr std::array<PixelPosition, 5> places{PixelPosition{150, 200}, PixelPosition{2250, 400},
                                                  PixelPosition{900, 1450}, PixelPosition{1700, 1200},
                                                  PixelPosition{500, 900}};
    for (std::size_t i = 0; i < n; ++i) {
        f.stars[i].position = places[i];
        f.references[i].position = f.place(places[i]);
    }
    return f;
}

}  // namespace

TEST_CASE("a plate is solved without any hint, whichever way the camera is turned", "[solve_plate]") {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        Sky sky;
        sky.turn_deg = 45.0 * static_cast<double>(seed) + 3.0;
        sky.mirrored = seed % 2 == 0;
        sky.scale_arcsec = 0.3 * static_cast<double>(seed);
        const Field f = field_of(sky, seed);
        const auto solution = solve(f);
        INFO("seed " << seed << (solution ? "" : one_line(solution.error())));
        REQUIRE(solution);
        CHECK(f.worst_px(solution->fit.wcs) < 0.6);  // 28 stars of 0.2 px: 0.1 px a corner, far tail
        CHECK(solution->fit.wcs.mirrored() == sky.mirrored);
        CHECK(solution->false_probability < 1e-6);
        CHECK(solution->log_odds > 20.0);
        CHECK(solution->matched >= 20);
        CHECK(solution->matched <= f.found);
        CHECK(solution->stars_in_field == f.stars.size());
        CHECK(solution->references_in_field >= 38);
        CHECK(solution->references_in_field <= 42);
        // Partners are told by their numbers as given.
        for (const PlatePair& pair : solution->fit.pairs) {
            REQUIRE(pair.star < f.stars.size());
            REQUIRE(pair.reference < f.references.size());
            CHECK(pair.pixel == f.stars[pair.star].position);
            CHECK(pair.sky == f.references[pair.reference].position);
        }
    }
}

TEST_CASE("the order in which stars are given changes nothing", "[solve_plate]") {
    const Field f = field_of({}, 3);
    const auto solution = solve(f), again = solve(f);
    REQUIRE(solution);
    REQUIRE(again);
    CHECK(solution->fit.wcs.sky({0, 0})->ra == again->fit.wcs.sky({0, 0})->ra);
    CHECK(solution->false_probability == again->false_probability);
    Field turned = f;
    std::reverse(turned.stars.begin(), turned.stars.end());
    std::reverse(turned.references.begin(), turned.references.end());
    const auto reversed = solve(turned);
    REQUIRE(reversed);
    CHECK(separation(*solution->fit.wcs.sky({0, 0}), *reversed->fit.wcs.sky({0, 0})).arcseconds() < 1e-6);
}

TEST_CASE("plates at the poles, across right ascension 0 and in a catalogue eight degrees wide are solved",
          "[solve_plate]") {
    std::uint64_t seed = 20;
    for (const SkyPosition centre : {SkyPosition{Angle::degrees(33.0), Angle::degrees(89.95)},
                                     SkyPosition{Angle::degrees(0.0), Angle::degrees(-90.0)},
                                     SkyPosition{Angle::degrees(0.01), Angle::degrees(12.0)}}) {
        Sky sky;
        sky.centre = centre;
        const Field f = field_of(sky, ++seed);
        const auto solution = solve(f);
        INFO(centre.ra.degrees() << " " << centre.dec.degrees());
        REQUIRE(solution);
        CHECK(f.worst_px(solution->fit.wcs) < 0.6);
    }
    // The frame in a corner of a wide catalogue, where the large plane is stretched by half a per cent.
    Field wide = field_of({}, 30);
    numerics::Random random(30);
    for (int i = 0; i < 3000; ++i) {
        const SkyOffset away{Angle::degrees(random.uniform(-0.7, 7.3)),
                             Angle::degrees(random.uniform(-7.3, 0.7))};
        if (std::abs(away.east.degrees()) < 0.6 && std::abs(away.north.degrees()) < 0.6) continue;
        wide.references.push_back(
            {displaced(wide.sky.centre, away), 0.05, 15.0 + 2.5 * std::log10(1.0 - random.uniform()), ""});
    }
    PlateHints hints;
    hints.scale_arcsec_per_px = 1.0;
    const auto solution = solve(wide, hints);
    REQUIRE(solution);
    CHECK(wide.worst_px(solution->fit.wcs) < 0.6);
}

TEST_CASE("a field that is not this one is refused, with how many agreed and how many are needed",
          "[solve_plate]") {
    for (std::uint64_t seed = 1; seed <= 4; ++seed) {
        Field f = field_of({}, seed);
        f.references = field_of({}, seed + 100).references;
        const auto solution = solve(f);
        REQUIRE_FALSE(solution);
        CHECK(solution.error().what.find("would be needed") != std::string::npos);
        CHECK_FALSE(solution.error().mend.empty());
    }
}

TEST_CASE("hints that are wrong find nothing, hints that are right need fewer stars", "[solve_plate]") {
    const Field f = field_of({}, 40);
    PlateHints hints;
    hints.scale_arcsec_per_px = 2.2;  // truth: 1.1
    CHECK_FALSE(solve(f, hints));
    hints.scale_factor = 3.0;
    CHECK(solve(f, hints));
    hints.mirrored = true;
    CHECK_FALSE(solve(f, hints));
    hints.mirrored = false;
    CHECK(solve(f, hints));
    hints.scale_arcsec_per_px = 1.1;
    hints.scale_factor = 1.02;
    const auto sharp = solve(f, hints), blunt = solve(f);
    REQUIRE(sharp);
    REQUIRE(blunt);
    for (const double bad : {0.0, -1.0, std::numeric_limits<double>::quiet_NaN()}) {
        PlateHints nonsense;
        nonsense.scale_arcsec_per_px = bad;
        CHECK_FALSE(solve(f, nonsense));
    }
}

TEST_CASE("three stars alone prove nothing unless scale and mirror are known well", "[solve_plate]") {
    const Field three = bare(3, 0.05);
    const auto nothing_known = solve(three);
    REQUIRE_FALSE(nothing_known);
    CHECK(nothing_known.error().what.find("3 of 3 stars agree") != std::string::npos);
    CHECK(nothing_known.error().what.find("would be needed") != std::string::npos);
    CHECK(nothing_known.error().mend.find("Giving the scale") != std::string::npos);
    PlateHints hints;
    hints.scale_arcsec_per_px = 1.1;
    hints.scale_factor = 1.005;
    hints.mirrored = false;
    hints.most_false_probability = 1e-5;
    const auto known = solve(three, hints);
    INFO((known ? "" : one_line(known.error())));
    REQUIRE(known);
    CHECK(known->matched == 3);
    CHECK(three.worst_px(known->fit.wcs) < 1e-3);
    // Five that all agree are enough without any.
    CHECK(solve(bare(5, 0.1)));
}

TEST_CASE("no stars, too few of them, too few references and all on one line are told apart",
          "[solve_plate]") {
    const Field f = field_of({}, 50);
    const auto what = [](const Result<PlateSolution>& r) { return r ? std::string() : r.error().what; };
    CHECK(what(solve_plate({}, 2400, 1600, f.references)).find("no stars") != std::string::npos);
    CHECK(what(solve_plate({f.stars[0], f.stars[1]}, 2400, 1600, f.references)).find("at least three") !=
          std::string::npos);
    CHECK(what(solve_plate(f.stars, 2400, 1600, {f.references[0]})).find("of known place") !=
          std::string::npos);
    CHECK(what(solve_plate(f.stars, 2400, 1600, {})).find("of known place") != std::string::npos);
    CHECK_FALSE(solve_plate(f.stars, 0, 1600, f.references));
    Field line = bare(5, 0.1);
    for (std::size_t i = 0; i < 5; ++i) {
        line.stars[i].position = {100.0 + 400.0 * static_cast<double>(i * i) / 5.0,
                                  50.0 + 60.0 * static_cast<double>(i * i)};
        line.references[i].position = line.place(line.stars[i].position);
    }
    CHECK(what(solve(line)).find("one line") != std::string::npos);
    // A star detected three times, and again.
    Field one = bare(3, 0.1);
    one.stars[1].position = one.stars[2].position = one.stars[0].position;
    CHECK(what(solve(one)).find("at least three") != std::string::npos);
}

TEST_CASE("doubles on either side, references far away and values that are no numbers do no harm",
          "[solve_plate]") {
    Field f = field_of({}, 60);
    const auto clean = solve(f);
    REQUIRE(clean);
    const double nan = std::numeric_limits<double>::quiet_NaN(),
                 inf = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < 10; ++i) {
        f.stars.push_back(f.stars[i]);
        f.references.push_back(f.references[2 * i]);
    }
    f.stars.push_back({{nan, 3.0}, 0.1, 5.0});
    f.stars.push_back({{10.0, 3.0}, nan, 5.0});
    f.stars.push_back({{10.0, inf}, 0.1, inf});
    f.stars.push_back({{77.0, 900.0}, 0.1, nan});
    f.references.push_back({{Angle::degrees(nan), Angle::degrees(3.0)}, 0.1, 10.0, ""});
    f.references.push_back({{Angle::degrees(263.0), Angle::degrees(-22.0)}, 0.1, 3.0, ""});  // the antipode
    f.references.push_back({{Angle::degrees(83.0), Angle::degrees(120.0)}, 0.1, 3.0, ""});   // no declination
    f.references.push_back({f.place({1200.0, 700.0}), nan, inf, ""});
    const auto solution = solve(f);
    REQUIRE(solution);
    CHECK(f.worst_px(solution->fit.wcs) < 0.6);
    CHECK(solution->matched >= clean->matched - 1);
}

TEST_CASE("a catalogue without magnitudes is enough", "[solve_plate]") {
    Field f = field_of({}, 70);
    for (ReferenceStar& reference : f.references)
        reference.magnitude_mag.reset();
    const auto solution = solve(f);
    REQUIRE(solution);
    CHECK(f.worst_px(solution->fit.wcs) < 0.6);
}

TEST_CASE("errors stated ten times too small or too large are survived", "[solve_plate]") {
    for (const double factor : {0.1, 5.0}) {
        Field f = field_of({}, 80);
        for (PictureStar& star : f.stars)
            star.err_px *= factor;
        const auto solution = solve(f);
        INFO(factor);
        REQUIRE(solution);
        CHECK(f.worst_px(solution->fit.wcs) < 0.6);
        CHECK(solution->matched >= 20);
    }
}

TEST_CASE("detections heaped on a nebula do not make a solution of another place", "[solve_plate]") {
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        numerics::Random random(seed);
        Field f = field_of({}, seed);
        f.references = field_of({}, seed + 200).references;
        // 60 knots within 60 px, and a cluster of 80 stars in the catalogue of the same size.
        for (int i = 0; i < 60; ++i)
            f.stars.push_back(
                {{1000.0 + random.gaussian(0.0, 30.0), 700.0 + random.gaussian(0.0, 30.0)}, 0.2, 50.0});
        for (int i = 0; i < 80; ++i) {
            f.references.push_back(
                {f.place({500.0 + random.gaussian(0.0, 30.0), 900.0 + random.gaussian(0.0, 30.0)}), 0.05, 8.0,
                 ""});
        }
        CHECK_FALSE(solve(f));
    }
}

TEST_CASE("stars in rows, or exposed twice, have two solutions and get none", "[solve_plate]") {
    Field rows = field_of({}, 90);
    rows.stars.clear();
    rows.references.clear();
    for (int i = -30; i < 54; ++i) {
        for (int j = -30; j < 50; ++j) {
            const PixelPosition p{50.0 + 100.0 * i, 60.0 + 100.0 * j};
            rows.references.push_back({rows.place(p), 0.05, 10.0 + (37 * i + 11 * j) % 17, ""});
            if (i >= 0 && i < 24 && j >= 0 && j < 16) rows.stars.push_back({p, 0.1, 5.0 + (i * j) % 7});
        }
    }
    const auto in_rows = solve(rows);
    REQUIRE_FALSE(in_rows);
    CHECK(in_rows.error().what.find("Two different") != std::string::npos);

    Sky clean;
    clean.wrong = 0.0;
    Field twice = field_of(clean, 91);
    const std::size_t once = twice.stars.size();
    for (std::size_t i = 0; i < once; ++i) {
        PictureStar again = twice.stars[i];
        again.position.x += 300.0;
        twice.stars.push_back(again);
    }
    const auto exposed_twice = solve(twice);
    REQUIRE_FALSE(exposed_twice);
    CHECK(exposed_twice.error().what.find("Two different") != std::string::npos);
}

TEST_CASE("what is asked of the false probability decides", "[solve_plate]") {
    Sky sky;
    sky.stars = 9;
    std::size_t loose = 0, strict = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        const Field f = field_of(sky, seed);
        PlateHints hints;
        hints.most_false_probability = 1e-3;
        if (const auto solution = solve(f, hints)) {
            ++loose;
            CHECK(solution->false_probability <= 1e-3);
            CHECK(f.worst_px(solution->fit.wcs) < 2.0);
        }
        hints.most_false_probability = 1e-12;
        if (const auto solution = solve(f, hints)) {
            ++strict;
            CHECK(solution->false_probability <= 1e-12);
        }
    }
    CHECK(loose > strict);
}
