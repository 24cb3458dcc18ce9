// SPDX-License-Identifier: MIT
#include "standard/star_neighbours.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <vector>

using namespace emberline;
using namespace emberline::standard;

TEST_CASE("the wing of a star's profile is what a sum over its pixels gives", "[star-neighbours]") {
    // An independent slow method: a Moffat profile of β = 2.5, FWHM R/4, summed over a circle of radius R/2
    // at distance d, in steps of R/400. The formula leaves out the profile's core, (α/d)², and all but the
    // first term of the circle's width: 7 % at d = R, 2 % and less further out.
    const double r = 15.0, alpha = 0.25 * r / (2.0 * std::sqrt(std::pow(2.0, 0.4) - 1.0)), step = r / 400.0;
    for (const auto& [d, tolerance] : std::map<double, double>{{1.0, 0.10}, {2.0, 0.02}, {4.0, 0.02}}) {
        double sum = 0.0;
        for (double x = -0.5 * r + 0.5 * step; x < 0.5 * r; x += step) {
            for (double y = -0.5 * r + 0.5 * step; y < 0.5 * r; y += step) {
                if (std::hypot(x, y) > 0.5 * r) continue;
                const double q = std::hypot(x + d * r, y) / alpha;
                sum += 1.5 / (M_PI * alpha * alpha) * std::pow(1.0 + q * q, -2.5) * step * step;
            }
        }
        CAPTURE(d, sum);
        CHECK(share_of_light(d * r, r) == Approx(sum).epsilon(tolerance));
    }
    CHECK(share_of_light(14.9, 15.0) == 1.0);
}

TEST_CASE("a neighbour of unknown light hides no other's", "[star-neighbours]") {
    // The sum was no number, and the larger of 0 and that is 0: the star passed as alone.
    const SkyPosition place{Angle::degrees(201.0), Angle::degrees(37.0)};
    const auto beside = [&](double arcsec, double magnitude_mag) {
        return Neighbour{displaced(place, {Angle::arcseconds(arcsec), Angle()}), magnitude_mag};
    };
    const Neighbour star{place, 13.0};
    const std::vector<Neighbour> known{star, beside(9.0, 18.0)};
    auto all = known;
    all.push_back(beside(12.0, std::nan("")));
    all.push_back({{Angle::degrees(201.0), Angle::degrees(std::nan(""))}, 12.0});
    // 2.5 log10(1 + 10^(−0.4 · 5)) = 10.8 mmag.
    CHECK(StarNeighbours(known).added_mmag(star, 15.0) == Approx(10.80).margin(0.01));
    CHECK(StarNeighbours(all).added_mmag(star, 15.0) == StarNeighbours(known).added_mmag(star, 15.0));
}
