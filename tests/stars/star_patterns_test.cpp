// SPDX-License-Identifier: MIT
#include "stars/star_patterns.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/random.hpp"

using namespace emberline;
using namespace emberline::stars;
using frame::PixelPosition;

namespace {

struct Two {
    std::vector<PixelPosition> first, second;
    PlaneMap truth;
};

// The same stars in two planes, brightest first as each side thinks; of each side a share is missing and a
// share is not on the other.
Two planes(std::size_t n, double scale, double turn_deg, bool mirrored, double missing, double extra,
           double noise_px, numerics::Random& random) {
    Two out;
    const double c = scale * std::cos(turn_deg / 57.29577951308232),
                 s = scale * std::sin(turn_deg / 57.29577951308232);
    out.truth = mirrored ? PlaneMap{c, s, s, -c, 31.0, -12.0} : PlaneMap{c, -s, s, c, 31.0, -12.0};
    const auto place = [&] {
        return PixelPosition{random.uniform(0.0, 2000.0), random.uniform(0.0, 1500.0)};
    };
    const auto noisy = [&](const PixelPosition& p) {
        return PixelPosition{p.x + random.gaussian(0.0, noise_px), p.y + random.gaussian(0.0, noise_px)};
    };
    for (std::size_t i = 0; i < n; ++i) {
        const PixelPosition p = place();
        if (random.uniform() >= missing) out.first.push_back(noisy(p));
        if (random.uniform() >= missing) out.second.push_back(out.truth.apply(noisy(p)));
        if (random.uniform() < extra) out.first.push_back(noisy(place()));
        if (random.uniform() < extra) out.second.push_back(out.truth.apply(noisy(place())));
    }
    // Brightness tells the order only roughly: neighbours change places.
    for (auto* side : {&out.first, &out.second}) {
        for (std::size_t i = 0; i + 3 < side->size(); ++i)
            std::swap((*side)[i], (*side)[i + static_cast<std::size_t>(random.uniform(0.0, 4.0))]);
    }
    return out;
}

// How far two maps of the frame are apart at its worst corner, in units of the first plane.
double apart(const PlaneMap& a, const PlaneMap& b) {
    double most = 0.0;
    for (const PixelPosition p :
         {PixelPosition{0, 0}, PixelPosition{2000, 0}, PixelPosition{0, 1500}, PixelPosition{2000, 1500}}) {
        const PixelPosition u = a.apply(p), v = b.apply(p);
        most = std::max(most, std::hypot(u.x - v.x, u.y - v.y));
    }
    return most / std::sqrt(std::abs(b.determinant()));
}

}  // namespace

TEST_CASE("three in ten false and three in ten missing on both sides leave the right map first",
          "[patterns]") {
    numerics::Random random(31);
    for (const bool mirrored : {false, true}) {
        for (int k = 0; k < 10; ++k) {
            const double scale = std::pow(10.0, random.uniform(-2.0, 2.0)), turn = random.uniform(0.0, 360.0);
            const Two two = planes(40, scale, turn, mirrored, 0.3, 0.3, 0.2, random);
            INFO("scale " << scale << ", turned by " << turn << (mirrored ? ", mirrored" : ""));
            const auto votes = match_patterns(two.first, two.second, {});
            REQUIRE_FALSE(votes.empty());
            CHECK(votes[0].votes >= 6.0);
            // The map of a group of patterns: tolerance 1 % of the frame, 25 px, would still be recognised.
            CHECK(apart(votes[0].map, two.truth) < 10.0);
            CHECK((votes[0].map.determinant() < 0.0) == mirrored);
        }
    }
}

TEST_CASE("without noise the map is exact", "[patterns]") {
    numerics::Random random(7);
    const Two two = planes(12, 0.37, 211.0, true, 0.0, 0.0, 0.0, random);
    const auto votes = match_patterns(two.first, two.second, {});
    REQUIRE_FALSE(votes.empty());
    CHECK(votes[0].votes == 12.0);
    CHECK(apart(votes[0].map, two.truth) < 1e-6);  // px; rounding
}

TEST_CASE("three stars make a triangle, and its map tells three votes", "[patterns]") {
    const std::vector<PixelPosition> first{{0, 0}, {100, 10}, {30, 70}};
    const PlaneMap truth{0.0, -2.0, 2.0, 0.0, 5.0, 6.0};
    std::vector<PixelPosition> second;
    for (const PixelPosition& p : first)
        second.push_back(truth.apply(p));
    const auto votes = match_patterns(first, second, {});
    REQUIRE(votes.size() == 1);
    CHECK(votes[0].votes == 3.0);
    CHECK(votes[0].map.b == Approx(-2.0));
    CHECK(votes[0].map.e == Approx(5.0));
    CHECK(match_patterns({{0, 0}, {1, 1}}, second, {}).empty());
}

TEST_CASE("a scale out of bounds, or a mirror that is ruled out, is not given", "[patterns]") {
    numerics::Random random(8);
    const Two two = planes(10, 2.0, 30.0, false, 0.0, 0.0, 0.1, random);
    PatternSettings settings;
    settings.least_scale = 1.8;
    settings.most_scale = 2.2;
    settings.mirrored = false;
    const auto found = match_patterns(two.first, two.second, settings);
    REQUIRE_FALSE(found.empty());
    CHECK(apart(found[0].map, two.truth) < 3.0);
    settings.mirrored = true;
    for (const PatternVote& vote : match_patterns(two.first, two.second, settings))
        CHECK(vote.map.determinant() < 0.0);
    settings.mirrored.reset();
    settings.least_scale = 2.3;
    settings.most_scale = 4.0;
    for (const PatternVote& vote : match_patterns(two.first, two.second, settings)) {
        CHECK(std::sqrt(std::abs(vote.map.determinant())) > 2.2);
        CHECK(vote.votes < 6.0);
    }
}

TEST_CASE("one side that reaches four times as far and twice as deep is matched all the same", "[patterns]") {
    numerics::Random random(99);
    for (int k = 0; k < 10; ++k) {
        const Two two = planes(40, 0.5, 77.0 * k, k % 2 == 0, 0.3, 0.3, 0.2, random);
        // Three bright ones beyond the frame for each on it; then as many faint ones everywhere.
        std::vector<PixelPosition> wide;
        const auto anywhere = [&] {
            return PixelPosition{random.uniform(-1000.0, 3000.0), random.uniform(-750.0, 2250.0)};
        };
        for (const PixelPosition& p : two.second) {
            wide.push_back(p);
            for (int more = 0; more < 3;) {
                const PixelPosition beyond = anywhere();
                if (std::abs(beyond.x - 1000.0) < 1000.0 && std::abs(beyond.y - 750.0) < 750.0) continue;
                wide.push_back(two.truth.apply(beyond));
                ++more;
            }
        }
        for (std::size_t n = wide.size(); n > 0; --n)
            wide.push_back(two.truth.apply(anywhere()));
        PatternSettings settings;
        settings.most_stars = 400;
        const auto votes = match_patterns(two.first, wide, settings);
        REQUIRE_FALSE(votes.empty());
        CHECK(apart(votes[0].map, two.truth) < 10.0);
    }
}

TEST_CASE("stars of another place agree on nothing that many stars support", "[patterns]") {
    numerics::Random random(404);
    for (int k = 0; k < 10; ++k) {
        const Two one = planes(40, 1.0, 0.0, false, 0.3, 0.3, 0.2, random);
        const Two other = planes(40, 1.0, 0.0, false, 0.3, 0.3, 0.2, random);
        for (const PatternVote& vote : match_patterns(one.first, other.second, {}))
            CHECK(vote.votes <= 7.0);
    }
}

TEST_CASE("doubles and places that are no numbers change nothing, and twice asked is twice the same",
          "[patterns]") {
    numerics::Random random(5);
    Two two = planes(20, 1.3, 12.0, false, 0.2, 0.2, 0.1, random);
    const auto before = match_patterns(two.first, two.second, {});
    const double nan = std::numeric_limits<double>::quiet_NaN();
    two.first.insert(two.first.begin() + 3, {nan, 5.0});
    two.second.insert(two.second.begin() + 1, {std::numeric_limits<double>::infinity(), nan});
    two.first.insert(two.first.begin() + 2, two.first[0]);
    two.second.push_back(two.second[0]);
    const auto after = match_patterns(two.first, two.second, {});
    REQUIRE(before.size() == after.size());
    REQUIRE_FALSE(before.empty());
    for (std::size_t i = 0; i < before.size(); ++i) {
        CHECK(before[i].votes == after[i].votes);
        CHECK(before[i].map.a == after[i].map.a);
        CHECK(before[i].map.f == after[i].map.f);
    }
    CHECK(match_patterns({}, {}, {}).empty());
    const std::vector<PixelPosition> one_place(5, PixelPosition{3.0, 4.0});
    CHECK(match_patterns(one_place, two.second, {}).empty());
}
