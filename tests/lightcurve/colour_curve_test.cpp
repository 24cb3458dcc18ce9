// SPDX-License-Identifier: MIT
#include "lightcurve/colour_curve.hpp"

#include <algorithm>
#include <set>

#include "lightcurve/curves.hpp"

using namespace emberline;
using namespace emberline::lightcurve;
using namespace emberline::test;
using Catch::Matchers::Contains;

namespace {

LightCurve curve_in(std::string_view band, std::vector<Point> points = {}) {
    LightCurve curve;
    curve.band = parse_band(band).value();
    curve.points = std::move(points);
    return curve;
}

Point common(Point point, std::vector<double> errs) {
    point.common_err_mag = std::move(errs);
    return point;
}

Point of_series(Point point, std::size_t series) {
    point.series = series;
    return point;
}

ColourCurve colours_of(const LightCurve& blue, const LightCurve& red, double ebv_mag = 0.0) {
    const auto colours = colour_curve(blue, red, 0.5, ebv_mag);
    INFO((colours ? std::string() : one_line(colours.error())));
    REQUIRE(colours);
    return *colours;
}

std::vector<std::string> names_of(std::initializer_list<std::string_view> names) {
    std::vector<Band> bands;
    for (const auto name : names)
        bands.push_back(parse_band(name).value());
    std::vector<std::string> found;
    for (const ColourIndex& index : usual_colours(bands))
        found.push_back(index.name());
    return found;
}

// As the definition says it: of all pairs left, the nearest; slow.
std::vector<std::pair<std::size_t, std::size_t>> by_definition(const LightCurve& blue, const LightCurve& red,
                                                               double within_d) {
    std::set<std::size_t> blue_left, red_left;
    for (std::size_t i = 0; i < blue.points.size(); ++i)
        blue_left.insert(i);
    for (std::size_t i = 0; i < red.points.size(); ++i)
        red_left.insert(i);
    std::vector<std::pair<std::size_t, std::size_t>> pairs;
    for (;;) {
        double least = within_d;
        std::pair<std::size_t, std::size_t> best{blue.points.size(), 0};
        for (const std::size_t b : blue_left) {
            for (const std::size_t r : red_left) {
                const double days = std::abs(blue.points[b].bjd_tdb - red.points[r].bjd_tdb);
                if (days < least) {
                    least = days;
                    best = {b, r};
                }
            }
        }
        if (best.first == blue.points.size()) break;
        pairs.push_back(best);
        blue_left.erase(best.first);
        red_left.erase(best.second);
    }
    std::sort(pairs.begin(), pairs.end());
    return pairs;
}

}  // namespace

TEST_CASE("a colour is blue minus red of one night, errors in quadrature", "[colour_curve]") {
    const auto blue =
        curve_in("B", {measured(0.0, 14.00, 0.03), measured(1.0, 14.10, 0.03), measured(5.0, 14.5, 0.03)});
    const auto red =
        curve_in("V", {measured(0.2, 13.80, 0.04), measured(1.6, 13.85, 0.04), limit(5.1, 15.0)});
    const auto colours = colours_of(blue, red);
    REQUIRE(colours.points.size() == 1);
    CHECK(colours.index.name() == "B-V");
    CHECK(colours.points[0].mag == Approx(0.20));
    CHECK(colours.points[0].random_err_mag == Approx(0.05));
    CHECK(colours.points[0].common_err_mag == 0.0);
    CHECK(colours.points[0].bjd_tdb == Approx(epoch_bjd + 0.1).margin(1e-8));
    CHECK(colours.note == "Vega magnitudes; not corrected for reddening");
}

TEST_CASE("errors that both bands share are differenced, others add", "[colour_curve]") {
    auto blue = curve_in("B", {common(measured(0.0, 14.0, 0.01), {0.03, 0.02, 0.05})});
    blue.common_names = {"star 7", "extinction", "B only"};
    auto red = curve_in("V", {common(measured(0.0, 13.8, 0.01), {-0.01, 0.03, 0.12})});
    red.common_names = {"extinction", "star 7", "V only"};
    // star 7 cancels; extinction is 0.02 − (−0.01); 0.05 and 0.12 stand alone.
    CHECK(colours_of(blue, red).points[0].common_err_mag ==
          Approx(std::sqrt(0.03 * 0.03 + 0.05 * 0.05 + 0.12 * 0.12)));
    // The offset of a series in one band is not its offset in another.
    blue.common_names[2] = red.common_names[2] = "offset of afar";
    CHECK(colours_of(blue, red).points[0].common_err_mag ==
          Approx(std::sqrt(0.03 * 0.03 + 0.05 * 0.05 + 0.12 * 0.12)));
    // Points without common errors have none.
    red.points[0].common_err_mag.clear();
    CHECK(colours_of(blue, red).points[0].common_err_mag ==
          Approx(std::sqrt(0.03 * 0.03 + 0.02 * 0.02 + 0.05 * 0.05)));
}

TEST_CASE("a colour is never made of two observers", "[colour_curve]") {
    // Series stand in another order in the two bands: their names count.
    auto blue =
        curve_in("B", {of_series(measured(0.00, 14.0, 0.01), 0), of_series(measured(0.05, 14.3, 0.01), 1)});
    blue.series = {"own", "afar"};
    auto red =
        curve_in("V", {of_series(measured(0.05, 13.5, 0.01), 1), of_series(measured(0.20, 13.8, 0.01), 0)});
    red.series = {"afar", "own"};
    const auto colours = colours_of(blue, red);
    REQUIRE(colours.points.size() == 2);
    CHECK(colours.points[0].mag == Approx(14.0 - 13.5));
    CHECK(colours.points[1].mag == Approx(14.3 - 13.8));
    red.series = {"third", "fourth"};
    CHECK_FALSE(colour_curve(blue, red));
}

TEST_CASE("the dust in front reddens by the difference of the two bands", "[colour_curve]") {
    const auto blue = curve_in("B", {measured(0.0, 14.0, 0.01)});
    const auto red = curve_in("V", {measured(0.0, 13.5, 0.01)});
    const auto colours = colours_of(blue, red, 0.1);
    // Schlafly & Finkbeiner 2011, Landolt B − V, from memory, to verify: 3.626 − 2.742.
    CHECK(colours.reddening_mag == Approx(0.0884));
    CHECK(colours.points[0].mag == Approx(0.5 - 0.0884));
    CHECK_THAT(colours.note, Contains("0.088 mag of reddening taken off, for a foreground E(B-V) of 0.100"));
    CHECK_THAT(colours.note, Contains("Landolt B") && Contains("Landolt V"));
    CHECK_THAT(colours_of(curve_in("g", blue.points), curve_in("r", red.points)).note,
               Contains("AB magnitudes"));
    CHECK_THAT(colours_of(curve_in("V", blue.points), curve_in("r", red.points)).note,
               Contains("V on Vega and r on AB"));
}

TEST_CASE("pairs are those of the definition: nearest first, each point once", "[colour_curve]") {
    constexpr std::uint64_t seed = 77;
    CAPTURE(seed);
    numerics::Random random(seed);
    for (int trial = 0; trial < 20; ++trial) {
        auto blue = curve_in("B"), red = curve_in("V");
        for (int i = 0; i < 60; ++i) {
            blue.points.push_back(measured(random.uniform(0.0, 12.0), 14.0, 0.02));
            if (i % 2 == 0) red.points.push_back(measured(random.uniform(0.0, 12.0), 13.5, 0.02));
        }
        sort_by_time(blue);
        sort_by_time(red);
        std::vector<std::pair<std::size_t, std::size_t>> pairs;
        for (const ColourPoint& p : colours_of(blue, red).points)
            pairs.emplace_back(p.blue, p.red);
        std::sort(pairs.begin(), pairs.end());
        CHECK(pairs == by_definition(blue, red, 0.5));
    }
}

TEST_CASE("the error of a colour is as large as the colour is wrong", "[colour_curve]") {
    constexpr std::uint64_t seed = 5150;
    CAPTURE(seed);
    numerics::Random random(seed);
    std::vector<double> pulls;
    for (int trial = 0; trial < 2000; ++trial) {
        const double star = random.gaussian(), dust = random.gaussian();
        auto blue = curve_in(
            "B", {common(measured(0.0, 14.0 + random.gaussian(0.0, 0.03) + 0.05 * star + 0.04 * dust, 0.03),
                         {0.05, 0.04})});
        auto red = curve_in(
            "V", {common(measured(0.0, 13.5 + random.gaussian(0.0, 0.02) + 0.03 * star - 0.02 * dust, 0.02),
                         {0.03, -0.02})});
        blue.common_names = red.common_names = {"star", "dust"};
        const ColourPoint p = colours_of(blue, red).points.at(0);
        pulls.push_back((p.mag - 0.5) / std::hypot(p.random_err_mag, p.common_err_mag));
    }
    // The spread of 2000 pulls is known to 1.6 %, their mean to 0.022.
    CHECK(spread_of(pulls).sigma == Approx(1.0).margin(0.05));
    CHECK(spread_of(pulls).mean == Approx(0.0).margin(0.07));
}

TEST_CASE("ten thousand points of one night pair in no time", "[colour_curve]") {
    auto blue = curve_in("B"), red = curve_in("V");
    numerics::Random random(3);
    for (int i = 0; i < 10000; ++i) {
        blue.points.push_back(measured(random.uniform(0.0, 0.4), 14.0, 0.02));
        red.points.push_back(measured(random.uniform(0.0, 0.4), 13.5, 0.02));
    }
    sort_by_time(blue);
    sort_by_time(red);
    CHECK(colours_of(blue, red).points.size() == 10000);
}

TEST_CASE("colours that cannot be made say why", "[colour_curve]") {
    const auto blue = curve_in("B", {measured(0.0, 14.0, 0.01)});
    const auto far = colour_curve(blue, curve_in("V", {measured(3.0, 13.5, 0.01)}));
    REQUIRE_FALSE(far);
    CHECK(one_line(far.error()) ==
          "colour B-V: B and V were never measured within 0.5 d of each other. A colour "
          "needs both bands in one night, by one observer.");
    CHECK_FALSE(colour_curve(blue, curve_in("V")));
    CHECK_FALSE(colour_curve(blue, blue));
    const auto red = curve_in("V", {measured(0.0, 13.5, 0.01)});
    CHECK_FALSE(colour_curve(blue, red, 0.5, -0.1));
    CHECK_FALSE(colour_curve(blue, red, 0.5, std::nan("")));
    auto broken = red;
    broken.points[0].random_err_mag.reset();
    CHECK_FALSE(colour_curve(blue, broken));
    broken.points[0].random_err_mag = 0.01;
    broken.points[0].magnitude_mag = std::nan("");
    CHECK_FALSE(colour_curve(blue, broken));
}

TEST_CASE("the usual colours are neighbours of one magnitude system", "[colour_curve]") {
    using Names = std::vector<std::string>;
    CHECK(names_of({"Ic", "B", "V", "Rc"}) == Names{"B-V", "V-Rc", "Rc-Ic"});
    CHECK(names_of({"B", "V", "Ic"}) == Names{"B-V", "V-Ic"});
    CHECK(names_of({"B", "V", "g", "r", "i"}) == Names{"B-V", "g-r", "r-i"});
    CHECK(names_of({"TB", "TG", "TR"}) == Names{"TB-TG", "TG-TR"});
    CHECK(names_of({"TG", "B", "V", "CV", "TB"}) == Names{"B-V"});
    CHECK(names_of({"CV", "V"}).empty());
    CHECK(names_of({"V"}).empty());
    CHECK(names_of({"V", "g"}).empty());
    CHECK(names_of({}).empty());
}
