// SPDX-License-Identifier: MIT
#include "standard/choose_sequence.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <map>
#include <random>
#include <set>

#include "numerics/matrix.hpp"
#include "quantities/delimited_table.hpp"
#include "quantities/text.hpp"
#include "standard/zero_point_design.hpp"

using namespace emberline;
using namespace emberline::standard;
using Catch::Contains;

namespace {

const Band band_b = parse_band("B").value(), band_v = parse_band("V").value();
const SkyPosition transient{Angle::hours(13.42253), Angle::degrees(37.27)};

StandardStar star_at(double east_arcmin, double north_arcmin, double v, double b_minus_v, double err = 0.02) {
    StandardStar star;
    star.position = displaced(transient, {Angle::arcminutes(east_arcmin), Angle::arcminutes(north_arcmin)});
    star.magnitudes[band_v] = {v, err};
    star.magnitudes[band_b] = {v + b_minus_v, err};
    return star;
}

ChoiceSettings usual_settings() {
    ChoiceSettings settings;
    settings.bands = {band_b, band_v};
    settings.transient = transient;
    settings.transient_mag = 13.5;
    settings.transient_colour = 0.6;
    return settings;
}

std::vector<Neighbour> lights_of(const std::vector<StandardStar>& stars) {
    std::vector<Neighbour> lights;
    for (const StandardStar& star : stars) {
        const auto v = star.magnitudes.find(band_v);
        if (v != star.magnitudes.end()) lights.push_back({star.position, v->second.value});
    }
    return lights;
}

// Eight good stars round about, so that there is always a choice.
std::vector<StandardStar> good_ring() {
    std::vector<StandardStar> stars;
    for (int i = 0; i < 8; ++i) {
        const double angle = 0.3 + 0.785 * i;
        stars.push_back(
            star_at(5.0 * std::cos(angle), 5.0 * std::sin(angle), 13.0 + 0.13 * i, 0.4 + 0.06 * i));
    }
    return stars;
}

SequenceChoice choose(const std::vector<StandardStar>& stars, const ChoiceSettings& settings) {
    const auto choice = choose_sequence(stars, lights_of(stars), settings);
    if (!choice) FAIL(one_line(choice.error()));
    return *choice;
}

// Why the ninth star, added to good ones, is not taken; nothing where it is.
std::optional<NotTaken> verdict(const StandardStar& star, const ChoiceSettings& settings,
                                const std::vector<Neighbour>& more = {}) {
    auto stars = good_ring();
    stars.push_back(star);
    auto lights = lights_of(stars);
    lights.insert(lights.end(), more.begin(), more.end());
    const auto choice = choose_sequence(stars, lights, settings);
    if (!choice) FAIL(one_line(choice.error()));
    for (const LeftOutStar& one : choice->left_out) {
        if (one.index == 8) {
            CHECK_FALSE(one.why.empty());
            return one.reason;
        }
    }
    return std::nullopt;
}

Neighbour light_beside(const StandardStar& star, double arcsec, double fainter_mag) {
    return {displaced(star.position, {Angle::arcseconds(arcsec), Angle()}),
            star.magnitudes.at(band_v).value + fainter_mag};
}

std::vector<StandardStar> crowd(std::uint64_t seed, std::size_t n) {
    std::mt19937_64 generator(seed);
    std::uniform_real_distribution<double> place(-9.0, 9.0), unit(0.0, 1.0);
    std::vector<StandardStar> stars;
    for (std::size_t i = 0; i < n; ++i) {
        stars.push_back(star_at(place(generator), place(generator), 11.0 + 5.0 * std::sqrt(unit(generator)),
                                0.2 + 1.0 * unit(generator), 0.01 + 0.05 * unit(generator)));
        stars.back().row = i + 1;
    }
    return stars;
}

std::set<std::size_t> rows_of(const SequenceChoice& choice, const std::vector<StandardStar>& stars) {
    std::set<std::size_t> rows;
    for (const ChosenStar& one : choice.chosen)
        rows.insert(stars[one.index].row);
    return rows;
}

}  // namespace

TEST_CASE("each criterion decides as it says, at its limit", "[choose-sequence]") {
    const auto settings = usual_settings();
    CHECK(verdict(star_at(3.0, 1.0, 13.4, 0.6), settings) == std::nullopt);

    StandardStar without = star_at(3.0, 1.0, 13.4, 0.6);
    without.magnitudes.erase(band_v);
    CHECK(verdict(without, settings) == NotTaken::no_magnitude);

    // Radius 10′ less a margin of 0.5′.
    CHECK(verdict(star_at(9.4, 0.0, 13.4, 0.6), settings) == std::nullopt);
    CHECK(verdict(star_at(9.6, 0.0, 13.4, 0.6), settings) == NotTaken::outside_field);
    auto boxed = settings;
    boxed.field.half_width_arcmin = 8.0;
    boxed.field.half_height_arcmin = 5.5;
    CHECK(verdict(star_at(7.4, -4.9, 13.4, 0.6), boxed) == std::nullopt);
    CHECK(verdict(star_at(7.6, -4.9, 13.4, 0.6), boxed) == NotTaken::outside_field);
    CHECK(verdict(star_at(7.4, -5.1, 13.4, 0.6), boxed) == NotTaken::outside_field);
    // The tangent plane would show the antipode in the middle.
    StandardStar behind = star_at(0.0, 0.0, 13.4, 0.6);
    behind.position = {transient.ra + Angle::degrees(180.0), -transient.dec};
    CHECK(verdict(behind, boxed) == NotTaken::outside_field);

    CHECK(verdict(star_at(14.0 / 60.0, 0.0, 13.4, 0.6), settings) == NotTaken::on_transient);
    CHECK(verdict(star_at(29.0 / 60.0, 0.0, 13.4, 0.6), settings) == NotTaken::on_host);
    CHECK(verdict(star_at(31.0 / 60.0, 0.0, 13.4, 0.6), settings) == std::nullopt);
    auto with_nucleus = settings;
    with_nucleus.nucleus = displaced(transient, {Angle::arcminutes(-2.0), Angle()});
    CHECK(verdict(star_at(29.0 / 60.0, 0.0, 13.4, 0.6), with_nucleus) == std::nullopt);
    CHECK(verdict(star_at(-2.0, 0.4, 13.4, 0.6), with_nucleus) == NotTaken::on_host);

    CHECK(verdict(star_at(3.0, 1.0, 10.99, 0.6), settings) == NotTaken::too_bright);
    CHECK(verdict(star_at(3.0, 1.0, 11.0, 0.6), settings) == std::nullopt);
    CHECK(verdict(star_at(3.0, 1.0, 16.01, 0.6), settings) == NotTaken::too_faint);

    auto marked = star_at(3.0, 1.0, 13.4, 0.6);
    marked.marks = {.variable = true, .why = "phot_variable_flag VARIABLE"};
    CHECK(verdict(marked, settings) == NotTaken::variable);
    marked.marks = {.several = true, .why = "ruwe 2.1"};
    CHECK(verdict(marked, settings) == NotTaken::several);
    marked.marks = {.extended = true, .why = "a galaxy"};
    CHECK(verdict(marked, settings) == NotTaken::extended);
    marked.marks = {.doubtful = true, .why = "3 observations"};
    CHECK(verdict(marked, settings) == NotTaken::doubtful);

    CHECK(verdict(star_at(3.0, 1.0, 13.4, 0.6, 0.101), settings) == NotTaken::large_error);
    CHECK(verdict(star_at(3.0, 1.0, 13.4, 0.6, 0.099), settings) == std::nullopt);
    CHECK(verdict(star_at(3.0, 1.0, 13.4, 0.6, std::nan("")), settings) == NotTaken::large_error);

    CHECK(verdict(star_at(3.0, 1.0, 13.4, 1.21), settings) == NotTaken::other_colour);
    CHECK(verdict(star_at(3.0, 1.0, 13.4, 1.19), settings) == std::nullopt);
    CHECK(verdict(star_at(3.0, 1.0, 13.4, -0.01), settings) == NotTaken::other_colour);
}

TEST_CASE("neighbours count by the light that they add", "[choose-sequence]") {
    const auto settings = usual_settings();
    const auto star = star_at(3.0, 1.0, 13.4, 0.6);
    // Within 15″ all of it: 2.5 log10(1 + 10^(−0.4 Δ)) is 10 mmag at Δ = 5.083 mag.
    CHECK(verdict(star, settings, {light_beside(star, 14.0, 5.0)}) == NotTaken::neighbour);
    CHECK(verdict(star, settings, {light_beside(star, 14.0, 5.2)}) == std::nullopt);
    // Two that pass alone do not together.
    CHECK(verdict(star, settings, {light_beside(star, 14.0, 5.2), light_beside(star, -9.0, 5.2)}) ==
          NotTaken::neighbour);
    // As bright as itself at 16″: only its wing, 0.5 %. Five magnitudes brighter: a hundred times that.
    CHECK(verdict(star, settings, {light_beside(star, 16.0, 0.0)}) == std::nullopt);
    CHECK(verdict(star, settings, {light_beside(star, 16.0, -5.0)}) == NotTaken::neighbour);
    // 5⁻⁵ of that at 80″.
    CHECK(verdict(star, settings, {light_beside(star, 80.0, -5.0)}) == std::nullopt);
    // The transient is a neighbour too, and one that varies.
    auto brilliant = settings;
    brilliant.transient_mag = 7.0;
    CHECK(verdict(star_at(35.0 / 60.0, 0.0, 13.4, 0.6), brilliant) == NotTaken::neighbour);
}

TEST_CASE("the order of the catalogue's rows does not matter", "[choose-sequence]") {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
        auto stars = crowd(seed, 150);
        const auto settings = usual_settings();
        const auto first = choose(stars, settings);
        std::mt19937_64 generator(seed + 100);
        auto shuffled = stars;
        std::shuffle(shuffled.begin(), shuffled.end(), generator);
        const auto second = choose(shuffled, settings);
        CAPTURE(seed);
        CHECK(rows_of(first, stars) == rows_of(second, shuffled));
        CHECK(write_sequence(first.sequence) == write_sequence(second.sequence));
        CHECK(first.counts() == second.counts());
        CHECK(first.chosen.size() + first.left_out.size() == stars.size());
    }
}

TEST_CASE("stars that differ in nothing but their place are taken in the same order whatever their rows",
          "[choose-sequence]") {
    std::vector<StandardStar> stars;
    for (int i = 0; i < 8; ++i)
        stars.push_back(star_at(4.0 * std::cos(M_PI * i / 4.0), 4.0 * std::sin(M_PI * i / 4.0), 13.5, 0.6));
    auto settings = usual_settings();
    settings.wanted = 3;
    const std::string once = write_sequence(choose(stars, settings).sequence);
    std::reverse(stars.begin(), stars.end());
    CHECK(write_sequence(choose(stars, settings).sequence) == once);
}

TEST_CASE("the stars taken surround the transient and spread in colour", "[choose-sequence]") {
    for (std::uint64_t seed = 11; seed <= 20; ++seed) {
        const auto stars = crowd(seed, 200);
        const auto choice = choose(stars, usual_settings());
        CAPTURE(seed);
        REQUIRE(choice.chosen.size() == 13);
        double east = 0.0, north = 0.0, bluest = 9.0, reddest = -9.0;
        std::set<int> quadrants;
        for (const ChosenStar& one : choice.chosen) {
            if (one.role == Role::check) continue;
            const auto at = offset(transient, stars[one.index].position);
            east += at.east.arcseconds() / 60.0 / 12.0;
            north += at.north.arcseconds() / 60.0 / 12.0;
            quadrants.insert((at.east.radians() > 0.0 ? 1 : 0) + (at.north.radians() > 0.0 ? 2 : 0));
            bluest = std::min(bluest, one.colour_mag.value());
            reddest = std::max(reddest, one.colour_mag.value());
        }
        // A tenth of the field's radius would leave a tenth of the tilt's 20 mmag.
        CHECK(std::hypot(east, north) < 2.0);
        CHECK(quadrants.size() >= 3);
        CHECK(reddest - bluest > 0.3);
        CHECK(choice.zero_point_err_mag < 0.02);
        CHECK(choice.remarks.empty());
    }
}

TEST_CASE("the variance that guides the choice is the scatter of simulated magnitudes", "[choose-sequence]") {
    // Skies are drawn from the priors that the header states, stars with their errors about them; the zero
    // point at the transient comes from the normal equations, solved anew for each sky.
    constexpr std::uint64_t seed = 77;
    std::mt19937_64 generator(seed);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> side(-1.0, 1.0);
    std::vector<ZeroPointDesign::Place> stars;
    ZeroPointDesign design;
    for (int i = 0; i < 7; ++i) {
        // All on one side, and red: so that tilt and term matter.
        stars.push_back({0.5 + 0.5 * side(generator), side(generator), 0.4 + 0.2 * side(generator),
                         std::pow(0.02 + 0.01 * side(generator), 2)});
        design.add(stars.back());
    }
    const double sigma[] = {10.0, 0.02, 0.02, 0.1};
    numerics::Matrix normal_matrix(4, 4);
    for (std::size_t k = 0; k < 4; ++k)
        normal_matrix(k, k) = 1.0 / (sigma[k] * sigma[k]);
    for (const auto& star : stars) {
        const double row[] = {1.0, star.x, star.y, star.c};
        for (std::size_t r = 0; r < 4; ++r) {
            for (std::size_t c = 0; c < 4; ++c)
                normal_matrix(r, c) += row[r] * row[c] / star.variance;
        }
    }
    const auto lower = numerics::cholesky_lower(normal_matrix);
    constexpr int skies = 4000;
    double squares = 0.0;
    for (int n = 0; n < skies; ++n) {
        const double truth[] = {sigma[0] * normal(generator), sigma[1] * normal(generator),
                                sigma[2] * normal(generator), sigma[3] * normal(generator)};
        std::vector<double> right(4, 0.0);
        for (const auto& star : stars) {
            const double seen = truth[0] + truth[1] * star.x + truth[2] * star.y + truth[3] * star.c +
                                std::sqrt(star.variance) * normal(generator);
            const double row[] = {1.0, star.x, star.y, star.c};
            for (std::size_t k = 0; k < 4; ++k)
                right[k] += row[k] * seen / star.variance;
        }
        const auto found = numerics::solve_cholesky(lower, right);
        const double colour = 0.3 * normal(generator);
        squares += std::pow(found[0] - truth[0] + colour * (found[3] - truth[3]), 2);
    }
    // Of 4000 draws the variance is known to 2.2 %.
    CAPTURE(seed);
    CHECK(squares / skies == Approx(design.variance()).epsilon(0.08));
}

TEST_CASE("a star on the empty side is worth more than a better one on the full side", "[choose-sequence]") {
    std::vector<StandardStar> stars;
    for (int i = 0; i < 8; ++i)
        stars.push_back(star_at(7.0, -3.5 + i, 13.5, 0.5 + 0.03 * i, 0.010));
    stars.push_back(star_at(-7.0, 0.0, 13.5, 0.6, 0.030));
    auto settings = usual_settings();
    settings.wanted = 4;
    const auto choice = choose(stars, settings);
    const bool taken = std::any_of(choice.chosen.begin(), choice.chosen.end(),
                                   [](const ChosenStar& one) { return one.index == 8; });
    CHECK(taken);
}

TEST_CASE("the check star is near the transient in magnitude, colour and place, and well known",
          "[choose-sequence]") {
    auto stars = good_ring();
    stars.push_back(star_at(1.5, -1.0, 13.55, 0.62, 0.012));
    const auto choice = choose(stars, usual_settings());
    for (const ChosenStar& one : choice.chosen)
        CHECK((one.role == Role::check) == (one.index == 8));
    // Whatever the sequence so far has as its check star stays it.
    auto settings = usual_settings();
    settings.former.push_back({"131", stars[3].position, Role::check});
    const auto again = choose(stars, settings);
    for (const ChosenStar& one : again.chosen)
        CHECK((one.role == Role::check) == (one.index == 3));
    CHECK(again.sequence.find("131") != nullptr);
}

TEST_CASE("labels are magnitudes in tenths, with letters where several share one", "[choose-sequence]") {
    std::vector<StandardStar> stars{star_at(2.0, 2.0, 12.61, 0.5),  star_at(-2.0, 2.0, 12.64, 0.6),
                                    star_at(2.0, -2.0, 12.58, 0.7), star_at(-2.0, -2.0, 13.14, 0.8),
                                    star_at(4.0, 0.0, 11.96, 0.4),  star_at(-4.0, 0.0, 14.31, 0.6)};
    auto settings = usual_settings();
    const auto choice = choose(stars, settings);
    std::vector<std::string> labels;
    for (const ComparisonStar& star : choice.sequence.stars)
        labels.push_back(star.label);
    CHECK(labels == std::vector<std::string>{"120", "126a", "126b", "126c", "131", "143"});

    // A star of the sequence so far keeps its label, and no other gets it; one that was ignored stays so.
    settings.former = {{"126b", stars[2].position, Role::comparison},
                       {"my star", stars[3].position, Role::comparison},
                       {"143", stars[5].position, Role::ignore}};
    const auto again = choose(stars, settings);
    labels.clear();
    for (const ComparisonStar& star : again.sequence.stars)
        labels.push_back(star.label);
    CHECK(labels == std::vector<std::string>{"120", "126b", "126a", "126c", "my star"});
    CHECK(again.counts() == std::vector<std::pair<NotTaken, std::size_t>>{{NotTaken::ignored, 1}});
}

TEST_CASE("what was chosen is read back as a sequence, errors included", "[choose-sequence]") {
    auto stars = crowd(3, 120);
    // One without B: its field stays empty.
    for (StandardStar& star : stars) {
        if (star.row % 3 == 0) star.magnitudes.erase(band_b);
    }
    const auto choice = choose(stars, usual_settings());
    const auto read = parse_sequence(write_sequence(choice.sequence), "comparison.csv");
    REQUIRE(read);
    CHECK(read->remarks.empty());
    REQUIRE(read->stars.size() == choice.chosen.size());
    for (std::size_t i = 0; i < read->stars.size(); ++i) {
        const StandardStar& star = stars[choice.chosen[i].index];
        CHECK(read->stars[i].label == choice.chosen[i].label);
        CHECK(read->stars[i].role == choice.chosen[i].role);
        CHECK(separation(read->stars[i].position, star.position).arcseconds() < 0.005);
        CHECK(read->stars[i].magnitudes.size() == star.magnitudes.size());
        CHECK(read->stars[i].magnitude(band_v)->value ==
              Approx(star.magnitudes.at(band_v).value).margin(6e-4));
        CHECK(read->stars[i].magnitude(band_v)->err == Approx(star.magnitudes.at(band_v).err).margin(6e-4));
    }
}

TEST_CASE("weak sequences are remarked upon", "[choose-sequence]") {
    const auto remarks_of = [](const std::vector<StandardStar>& stars, ChoiceSettings settings) {
        std::string all;
        for (const std::string& one : choose(stars, settings).remarks)
            all += one + "\n";
        return all;
    };
    std::vector<StandardStar> eastern;
    for (int i = 0; i < 8; ++i)
        eastern.push_back(star_at(3.0 + 0.3 * i, -2.0 + 0.6 * i, 15.6, 0.6 + 0.01 * i));
    const auto weak = remarks_of(eastern, usual_settings());
    CHECK_THAT(weak, Contains("lie on the east side of a line through the transient"));
    CHECK_THAT(weak, Contains("span only 0.0"));
    CHECK_THAT(weak, Contains("The check star is 2.1 mag fainter"));
    CHECK_THAT(weak, !Contains("Only"));

    const auto few =
        remarks_of({star_at(2.0, 1.0, 13.0, 0.5), star_at(-2.0, -1.0, 13.0, 0.9)}, usual_settings());
    CHECK_THAT(few, Contains("Only 2 comparison stars") && Contains("Too few stars to set one aside"));

    auto in_v = usual_settings();
    in_v.bands = {band_v};
    CHECK_THAT(remarks_of(good_ring(), in_v), !Contains("No star's colour is known"));
    auto plain = good_ring();
    for (StandardStar& star : plain)
        star.magnitudes.erase(band_b);
    CHECK_THAT(remarks_of(plain, in_v), Contains("No star's colour is known"));
    auto with_ic = usual_settings();
    with_ic.bands.push_back(parse_band("Ic").value());
    const auto choice = choose(good_ring(), with_ic);
    CHECK(choice.without_stars == std::vector<Band>{parse_band("Ic").value()});
    CHECK(choice.sequence.bands == std::vector<Band>{band_b, band_v});
}

TEST_CASE("without one usable star there is a problem that says what became of them", "[choose-sequence]") {
    auto settings = usual_settings();
    const auto none = choose_sequence({}, {}, settings);
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::input);
    settings.faintest_mag = 12.0;
    const auto stars = good_ring();
    const auto faint = choose_sequence(stars, lights_of(stars), settings);
    REQUIRE_FALSE(faint);
    CHECK_THAT(faint.error().what,
               Contains("None of the catalogue's 8 stars") && Contains("8 of them: Fainter than the range"));
    // "--expected nan" is a number to the command line; the search for the least variance ran off its end.
    settings = usual_settings();
    settings.transient_mag = std::nan("");
    const auto unknown = choose_sequence(stars, lights_of(stars), settings);
    REQUIRE_FALSE(unknown);
    CHECK(unknown.error().kind == ProblemKind::request);
    // A band that no star has.
    settings = usual_settings();
    settings.bands = {parse_band("Ic").value()};
    CHECK_FALSE(choose_sequence(stars, lights_of(stars), settings));
}

TEST_CASE("Landolt's standards of SA 98 are read and ordered right as a sequence", "[choose-sequence]") {
    const char* root = std::getenv("EMBERLINE_DATASETS");
    if (root == nullptr) {
        WARN("EMBERLINE_DATASETS is not set: Landolt's table is not tried.");
        return;
    }
    // Landolt 1992, AJ 104, 340, as compiled in catalogues/landolt_all.csv (its README names the source).
    const auto table = read_table(std::string(root) + "/catalogues/landolt_all.csv");
    REQUIRE(table);
    const auto field = [&](const TableRow& row, const char* name) {
        return row.fields[*table->column(name)];
    };
    std::vector<StandardStar> stars;
    std::map<std::size_t, std::string> names;
    for (const TableRow& row : table->rows) {
        const auto v = parse_number(field(row, "V")), b_minus_v = parse_number(field(row, "B-V"));
        const auto ra = parse_right_ascension(field(row, "RA"));
        const auto dec = parse_declination(field(row, "DEC"));
        if (!v || !b_minus_v || !ra || !dec) continue;
        const double err = std::max(parse_number(field(row, "e_V")).value_or(0.02), 0.001);
        StandardStar star;
        star.label = field(row, "Name");
        star.position = {*ra, *dec};
        star.magnitudes[band_v] = {*v, err};
        star.magnitudes[band_b] = {*v + *b_minus_v, std::hypot(err, 0.003)};
        star.row = row.line;
        stars.push_back(star);
    }
    REQUIRE(stars.size() > 900);
    // The middle of SA 98, as if a transient were there.
    auto settings = usual_settings();
    settings.transient = {parse_right_ascension("06:52:05").value(), parse_declination("-00:20:00").value()};
    settings.field.radius_arcmin = 15.0;
    settings.wanted = 40;
    settings.transient_colour = 1.0;
    settings.most_colour_difference = 1.5;
    settings.brightest_mag = 8.0;
    settings.faintest_mag = 17.0;
    settings.isolation_arcsec = 5.0;
    settings.former = {};
    const auto choice = choose_sequence(stars, lights_of(stars), settings);
    if (!choice) FAIL(one_line(choice.error()));
    REQUIRE(choice->chosen.size() >= 15);
    for (std::size_t i = 0; i < choice->chosen.size(); ++i) {
        const StandardStar& star = stars[choice->chosen[i].index];
        CAPTURE(star.label);
        CHECK_THAT(star.label, Catch::StartsWith("SA 98-"));
        // Brightest first, called by its own V.
        if (i > 0)
            CHECK(choice->sequence.stars[i].magnitude(band_v)->value >=
                  choice->sequence.stars[i - 1].magnitude(band_v)->value);
        const long tenths = std::lround(10.0 * star.magnitudes.at(band_v).value);
        CHECK_THAT(choice->chosen[i].label, Catch::StartsWith(std::to_string(tenths)));
    }
    // Read back, it says the same.
    const auto read = parse_sequence(write_sequence(choice->sequence), "comparison.csv");
    REQUIRE(read);
    CHECK(read->stars.size() == choice->chosen.size());
}
