// SPDX-License-Identifier: MIT
#include "stars/chip_marks.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "numerics/random.hpp"

using namespace emberline;
using stars::chip_marks;
using stars::PlaneMap;

namespace {

struct Pair {
    std::vector<frame::PixelPosition> here, there;
    std::vector<std::size_t> hot;  // of `here`
};

// `stars` that follow the map and `hot` pixels that stay, on a chip of 1000 × 800.
Pair seen(const PlaneMap& map, int stars, int hot, std::uint64_t seed) {
    numerics::Random random(seed);
    Pair out;
    for (int i = 0; i < stars; ++i) {
        const frame::PixelPosition p{random.uniform(0.0, 1000.0), random.uniform(0.0, 800.0)};
        const frame::PixelPosition q = map.apply(p);
        out.there.push_back(p);
        out.here.push_back({q.x + random.gaussian(0.0, 0.1), q.y + random.gaussian(0.0, 0.1)});
    }
    for (int i = 0; i < hot; ++i) {
        const frame::PixelPosition p{random.uniform(0.0, 1000.0), random.uniform(0.0, 800.0)};
        out.there.push_back(p);
        out.hot.push_back(out.here.size());
        out.here.push_back(p);
    }
    return out;
}

const PlaneMap flipped{-1.0, 0.0, 0.0, -1.0, 1003.0, 795.0};
const PlaneMap drifted{1.0, 0.0, 0.0, 1.0, 17.0, -9.0};

}  // namespace

TEST_CASE("what stays on the chip while the sky moves is a mark of the chip", "[chip-marks]") {
    for (const PlaneMap& map : {flipped, drifted}) {
        const Pair pair = seen(map, 100, 20, 3);
        std::vector<std::size_t> found = chip_marks(pair.here, pair.there, map, 1.0);
        // A hot pixel that lies where a star of the other frame has moved to cannot be told: of 20, with 120
        // places of 28 px² in 800 000, hardly one.
        CHECK(found.size() >= 19);
        for (const std::size_t i : found)
            CHECK(i >= 100);
    }
}

TEST_CASE("where the sky did not move, nothing can be told", "[chip-marks]") {
    const Pair pair = seen(PlaneMap{}, 50, 50, 5);
    CHECK(chip_marks(pair.here, pair.there, PlaneMap{}, 1.0).empty());
    const PlaneMap hardly{1.0, 0.0, 0.0, 1.0, 1.5, 1.0};
    const Pair near = seen(hardly, 50, 50, 5);
    CHECK(chip_marks(near.here, near.there, hardly, 1.0).empty());
}

TEST_CASE("in a dense field, stars that meet another's place by chance stay stars", "[chip-marks]") {
    // 3000 stars of 3 px² each cover one place in 80: some thirty meet one, and all have partners by the sky.
    const Pair pair = seen(drifted, 3000, 0, 7);
    CHECK(chip_marks(pair.here, pair.there, drifted, 1.0).empty());
}

TEST_CASE("the middle of a turn by 180 degrees stays where it is and is no mark", "[chip-marks]") {
    const frame::PixelPosition middle{501.5, 397.5};
    CHECK(chip_marks({middle}, {middle}, flipped, 1.0).empty());
}

TEST_CASE("nothing on a side, and places that are no numbers, give no marks", "[chip-marks]") {
    const double none = std::numeric_limits<double>::quiet_NaN();
    CHECK(chip_marks({}, {{1.0, 2.0}}, drifted, 1.0).empty());
    CHECK(chip_marks({{1.0, 2.0}}, {}, drifted, 1.0).empty());
    CHECK(chip_marks({{none, 2.0}}, {{1.0, 2.0}}, drifted, 1.0).empty());
    CHECK(chip_marks({{1.0, 2.0}}, {{1.0, 2.0}}, drifted, 0.0).empty());
    // One that is alone on its place is one.
    CHECK(chip_marks({{1.0, 2.0}}, {{1.0, 2.0}}, drifted, 1.0) == std::vector<std::size_t>{0});
}
