// SPDX-License-Identifier: MIT
#include "stars/registration.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "numerics/random.hpp"
#include "numerics/robust.hpp"

using namespace emberline;
using namespace emberline::stars;

namespace {

// Stars over a frame of 2000 px, moved by a shift and a rotation about (1000, 1000).
std::vector<PositionPair> moved(int n, double dx, double dy, double turn_deg, double sigma_px,
                                numerics::Random& random) {
    std::vector<PositionPair> pairs;
    const Registration truth{
        .dx_px = dx, .dy_px = dy, .rotation = Angle::degrees(turn_deg), .centre = {1000.0, 1000.0}};
    for (int i = 0; i < n; ++i) {
        PositionPair pair;
        pair.predicted = {random.uniform(0.0, 2000.0), random.uniform(0.0, 2000.0)};
        pair.measured = truth.apply(pair.predicted);
        pair.measured.x += random.gaussian(0.0, sigma_px);
        pair.measured.y += random.gaussian(0.0, sigma_px);
        pair.err_px = 0.05;
        pairs.push_back(pair);
    }
    return pairs;
}

}  // namespace

TEST_CASE("a shift is found among outliers, which are set aside", "[registration]") {
    numerics::Random random(5);
    auto pairs = moved(9, 12.5, -7.25, 0.0, 0.1, random);
    pairs[2].measured.x += 40.0;
    pairs[7].measured.y -= 5.0;
    const Registration found = register_positions(pairs);
    CHECK(found.dx_px == Approx(12.5).margin(0.15));  // px: four standard errors
    CHECK(found.dy_px == Approx(-7.25).margin(0.15));
    CHECK(found.stars == 7);
    CHECK_FALSE(found.used[2]);
    CHECK_FALSE(found.used[7]);
    CHECK(found.rotation.degrees() == 0.0);
}

TEST_CASE("a rotation is found by four stars when it is significant, and not invented", "[registration]") {
    numerics::Random random(6);
    for (const int n : {4, 8, 20}) {
        const auto turned = moved(n, 3.0, 4.0, 0.2, 0.1, random);
        const Registration found = register_positions(turned);
        INFO(n << " stars");
        CHECK(found.rotation.degrees() == Approx(0.2).margin(0.03));
        for (const PositionPair& pair : turned) {
            const frame::PixelPosition expected = found.apply(pair.predicted);
            CHECK(std::hypot(pair.measured.x - expected.x, pair.measured.y - expected.y) < 0.6);
        }
    }
    int invented = 0;
    for (int k = 0; k < 300; ++k)
        invented +=
            register_positions(moved(6, 1.0, 1.0, 0.0, 0.3, random)).rotation.degrees() != 0.0 ? 1 : 0;
    CHECK(invented <= 9);  // 3 %: the scatter of six stars is itself uncertain
    CHECK(register_positions(moved(3, 3.0, 4.0, 0.2, 0.1, random)).rotation.degrees() == 0.0);
}

TEST_CASE("the shift's error is what it scatters by", "[registration]") {
    numerics::Random random(1234);
    INFO("seed 1234");
    for (const int n : {6, 12, 30}) {
        std::vector<double> pulls;
        for (int k = 0; k < 400; ++k) {
            const Registration found = register_positions(moved(n, 2.0, -1.0, 0.0, 0.3, random));
            if (found.rotation.degrees() != 0.0) continue;
            pulls.push_back((found.dx_px - 2.0) / found.err_px);
            pulls.push_back((found.dy_px + 1.0) / found.err_px);
        }
        INFO(n << " stars");
        // Error of the spread of 800 numbers 0.03; a scatter from six stars adds tails.
        CHECK(numerics::robust_spread(pulls) > 0.87);
        CHECK(numerics::robust_spread(pulls) < 1.18);
    }
}

TEST_CASE("one star gives its own shift, none gives an error without bounds", "[registration]") {
    const Registration one = register_positions({{{10.0, 10.0}, {12.0, 9.0}, 0.2}});
    CHECK(one.dx_px == Approx(2.0));
    CHECK(one.dy_px == Approx(-1.0));
    CHECK(one.stars == 1);
    CHECK(one.err_px >= 0.2);
    CHECK(register_positions({}).stars == 0);
    CHECK(std::isinf(register_positions({}).err_px));
    const double nan = std::nan("");
    const Registration lame =
        register_positions({{{10.0, 10.0}, {12.0, 9.0}, 0.2}, {{5.0, nan}, {1.0, 1.0}, 0.1}});
    CHECK(lame.stars == 1);
    CHECK_FALSE(lame.used[1]);
    CHECK(lame.dx_px == Approx(2.0));
}
