// SPDX-License-Identifier: MIT
// What a light curve's picture says, read from gnuplot's script and from the finished SVG.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "picture/curve_marks.hpp"
#include "picture/curve_page.hpp"
#include "picture/curve_picture.hpp"
#include "picture/curve_script.hpp"
#include "picture/printed_text.hpp"
#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using Catch::Contains;
using emberline::test::TemporaryFolder;
using picture::CurveOnPaper;
using picture::CurvePicture;

namespace {

constexpr double first_jd = 2460400.5;

lightcurve::Point point_at(double day, double mag, double err = 0.02) {
    lightcurve::Point point;
    point.bjd_tdb = point.jd_utc = first_jd + day;
    point.magnitude_mag = mag;
    point.random_err_mag = err;
    return point;
}

lightcurve::Point limit_at(double day, double mag) {
    lightcurve::Point point;
    point.bjd_tdb = point.jd_utc = first_jd + day;
    point.is_limit = true;
    point.limit_mag = mag;
    return point;
}

// Rises by half a magnitude to its maximum on day 10, then fades by 0.05 mag a day.
double shape(double day) {
    return day < 10.0 ? 0.005 * (10.0 - day) * (10.0 - day) : 0.05 * (day - 10.0);
}

CurveOnPaper band(const std::string& name, double peak_mag, int n = 40, double step_d = 1.0) {
    CurveOnPaper paper;
    paper.curve.band = parse_band(name).value();
    for (int i = 0; i < n; ++i)
        paper.curve.points.push_back(point_at(i * step_d, peak_mag + shape(i * step_d)));
    return paper;
}

std::string script_of(const CurvePicture& drawing, picture::PaperKind kind = picture::PaperKind::svg) {
    const auto script = picture::curve_script(drawing, kind);
    INFO((script ? std::string() : one_line(script.error())));
    REQUIRE(script);
    return *script;
}

std::string svg_of(const CurvePicture& drawing) {
    const TemporaryFolder folder;
    const auto drawn = picture::draw_curve(drawing, folder / "curve.svg");
    INFO((drawn ? std::string() : one_line(drawn.error())));
    REQUIRE(drawn);
    const auto text = read_text_file(folder / "curve.svg");
    REQUIRE(text);
    return *text;
}

std::size_t count(const std::string& text, const std::string& part) {
    std::size_t n = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
        ++n;
    return n;
}

// The rows of a data block of the script, "$m0s0".
std::size_t rows_of(const std::string& script, const std::string& block) {
    const std::size_t from = script.find(block + " << EOD\n");
    REQUIRE(from != std::string::npos);
    const std::size_t begin = script.find('\n', from) + 1;
    return count(script.substr(begin, script.find("EOD\n", begin) - begin), "\n");
}

// The two numbers of "set yrange [18.2:14.1]", the first of the script.
picture::Range y_range_of(const std::string& script) {
    const std::size_t at = script.find("set yrange [") + 12;
    const std::size_t colon = script.find(':', at);
    return {std::stod(script.substr(colon + 1)), std::stod(script.substr(at))};
}

}  // namespace

TEST_CASE("bands are drawn apart by half magnitudes, reddest above, V where it is", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1",
                         .bands = {band("B", 15.0), band("V", 15.0), band("Rc", 15.05), band("Ic", 15.1)}};
    picture::spread_bands(drawing);
    CHECK(drawing.bands[1].shift_mag == 0.0);
    const auto series = picture::series_of(drawing);
    for (std::size_t b = 0; b < 4; ++b) {
        CAPTURE(b, drawing.bands[b].shift_mag);
        CHECK(std::fmod(drawing.bands[b].shift_mag, 0.5) == 0.0);
        if (b == 0) continue;
        // Fainter by 0.1 mag or more everywhere, and never by a whole magnitude more than needed.
        const auto above = picture::marks_of(drawing.bands[b], series),
                   below = picture::marks_of(drawing.bands[b - 1], series);
        for (std::size_t i = 0; i < above.marks.size(); ++i) {
            const double apart = below.marks[i].mag - above.marks[i].mag;
            CHECK(apart > 0.1);
            CHECK(apart < 1.0);
        }
    }
    const std::string svg = svg_of(drawing);
    CHECK_THAT(svg, Contains("B + 0.5") && Contains("Rc − 0.5") && Contains("magnitude + shift (mag)"));
}

TEST_CASE("bands that are apart already, or of different nights, are not shifted", "[picture]") {
    CurvePicture apart{.bands = {band("V", 15.0), band("B", 16.0)}};
    picture::spread_bands(apart);
    CHECK(apart.bands[0].shift_mag == 0.0);
    CHECK(apart.bands[1].shift_mag == 0.0);
    CHECK_THAT(script_of(apart), Contains("magnitude (mag)") && !Contains("shift"));

    CurvePicture nights{.bands = {band("V", 15.0, 3), band("B", 15.0, 3)}};
    for (auto& point : nights.bands[1].curve.points)
        point.bjd_tdb += 100.0;
    picture::spread_bands(nights);
    CHECK(nights.bands[1].shift_mag == 0.0);

    CurvePicture none;
    picture::spread_bands(none);
    CurvePicture nameless{.bands = {{}, {}}};
    picture::spread_bands(nameless);
    CHECK(nameless.bands[0].shift_mag == 0.0);
}

TEST_CASE("days since maximum run above the panel, else the calendar", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("B", 15.0)}};
    const std::string calendar = svg_of(drawing);
    CHECK_THAT(calendar, Contains("date (UTC)") && Contains("2024") && !Contains("days since"));
    drawing.maximum_bjd_tdb = first_jd + 10.0;
    drawing.maximum_of = "B";
    CHECK_THAT(svg_of(drawing), Contains("days since B maximum (d)") && !Contains("date (UTC)"));
    // Padding of 4 % at both ends of 39 days: the axis runs from −11.56 to 30.56 days.
    CHECK_THAT(script_of(drawing), Contains("set x2range [-11.560000:30.560000]"));
    CHECK_THAT(script_of(drawing), Contains("JD (TDB, barycentric) − 2460300 (d)"));
    drawing.maximum_bjd_tdb = std::numeric_limits<double>::quiet_NaN();
    CHECK_THAT(svg_of(drawing), Contains("date (UTC)"));
}

TEST_CASE("each band's marks are ticks at its curve, their word stands once", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0), band("B", 16.0)}};
    drawing.bands[0].marks = {{first_jd + 10.0, 1.0, "maximum"}, {first_jd + 30.0, 0.5, "break"}};
    drawing.bands[1].marks = {{first_jd + 9.0, 0.4, "maximum"}};
    const std::string script = script_of(drawing);
    CHECK(count(script, "'maximum'") == 1);
    CHECK(count(script, "'break'") == 1);
    const CurvePicture bare{.title = "DEMO SN 1", .bands = {band("V", 15.0), band("B", 16.0)}};
    // Three ticks and three error bars, two leaders of two strokes each, a tick in the legend.
    CHECK(count(script, "set arrow") == count(script_of(bare), "set arrow") + 12);
    // Room for the words above all points.
    CHECK(y_range_of(script).low < y_range_of(script_of(bare)).low - 0.05);

    // Marks that are no numbers, or outside, leave no trace.
    drawing.bands[0].marks = {{std::numeric_limits<double>::quiet_NaN(), 1.0, "maximum"},
                              {first_jd + 900.0, 1.0, "break"}};
    drawing.bands[1].marks.clear();
    CHECK(script_of(drawing) == script_of(bare));
    drawing.bands[0].marks = {{first_jd + 10.0, std::numeric_limits<double>::infinity(), "maximum"}};
    CHECK_THAT(script_of(drawing), Contains("'maximum'") && !Contains("inf"));
}

TEST_CASE("boxes are moved apart as little as needed", "[picture]") {
    const std::vector<double> lengths{10.0, 10.0, 10.0};
    using Places = std::vector<double>;
    CHECK(picture::moved_apart(Places{20.0, 50.0, 80.0}, lengths, 0.0, 100.0) == Places{20.0, 50.0, 80.0});
    CHECK(picture::moved_apart(Places{50.0, 50.0, 80.0}, lengths, 0.0, 100.0) == Places{45.0, 55.0, 80.0});
    CHECK(picture::moved_apart(Places{99.0, 98.0, 1.0}, lengths, 0.0, 100.0) == Places{95.0, 85.0, 5.0});
    // In a space too small they start at its beginning.
    CHECK(picture::moved_apart(Places{5.0, 5.0, 5.0}, lengths, 0.0, 20.0) == Places{5.0, 15.0, 25.0});
}

TEST_CASE("limits are arrows, and a point far off stays at the edge with its value", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0)}};
    for (int i = 0; i < 5; ++i)
        drawing.bands[0].curve.points.push_back(limit_at(42.0 + i, 16.8));
    const std::string script = script_of(drawing);
    CHECK(rows_of(script, "$l0") == 5);
    CHECK_THAT(script, Contains("'limit'") && !Contains("'off scale'"));
    // The arrows end inside the panel.
    CHECK(y_range_of(script).high > 16.8 + 0.09 * (y_range_of(script).high - y_range_of(script).low) - 0.01);

    drawing.bands[0].curve.points[20].magnitude_mag = 20.5;
    const std::string far_off = script_of(drawing);
    CHECK(y_range_of(far_off).high == Approx(y_range_of(script).high).margin(0.3));
    CHECK(rows_of(far_off, "$m0s0") == 39);
    CHECK_THAT(far_off, Contains("'20.5'") && Contains("'off scale'"));
    CHECK(script_of(drawing, picture::PaperKind::pdf).size() > 1000);
}

TEST_CASE("strays are those apart from all others, not the ends of a long curve", "[picture]") {
    const auto range = [](std::vector<double> values) {
        return picture::range_without_strays(std::move(values), 1.0).value();
    };
    CHECK(range({15.0, 15.2, 15.4, 15.6, 20.0}).high == 15.6);
    CHECK(range({10.0, 15.2, 15.4, 15.6, 15.8}).low == 15.2);
    // Too few to tell; near enough; half of all.
    CHECK(range({15.0, 15.1, 15.2, 20.0}).high == 20.0);
    CHECK(range({15.0, 15.2, 15.4, 15.6, 16.5}).high == 16.5);
    CHECK(range({15.0, 15.1, 15.2, 20.0, 20.1, 20.2}).high == 20.2);
    // A steep rise.
    CHECK(range({17.0, 14.5, 13.0, 12.0, 11.5, 11.2, 11.0, 13.0, 15.0}).high == 17.0);
    CHECK_FALSE(picture::range_without_strays({}, 1.0));
    CHECK_FALSE(picture::range_without_strays({std::numeric_limits<double>::quiet_NaN()}, 1.0));
}

TEST_CASE("other observers' points are open, moved by their offset and named", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0)}};
    auto& paper = drawing.bands[0];
    paper.curve.series = {"own", "A. Watcher", "B. Watcher"};
    for (std::size_t i = 0; i < paper.curve.points.size(); ++i)
        paper.curve.points[i].series = i % 3;
    paper.series_offset_mag = {0.0, 0.25, -0.1};
    const std::string script = script_of(drawing);
    CHECK_THAT(script, Contains("'own points'") && Contains("'A. Watcher'") && Contains("'B. Watcher'") &&
                           Contains("'offsets between'"));
    CHECK(rows_of(script, "$m0s0") == 14);
    CHECK(rows_of(script, "$m0s1") == 13);
    CHECK(rows_of(script, "$m0s2") == 13);
    // V: filled circles of one's own, open ones of others.
    CHECK_THAT(script, Contains("$m0s0 using 1:2 with points pt 7") &&
                           Contains("$m0s1 using 1:2 with points pt 6") &&
                           Contains("$m0s2 using 1:2 with points pt 6"));
    const auto marks = picture::marks_of(paper, picture::series_of(drawing));
    CHECK(marks.marks[1].mag == Approx(15.0 + shape(1.0) - 0.25).margin(1e-12));
    CHECK(marks.marks[2].mag == Approx(15.0 + shape(2.0) + 0.1).margin(1e-12));
    // A series beyond the list, or an offset that is no number, is drawn as one's own and as measured.
    paper.curve.points[0].series = 7;
    paper.series_offset_mag[1] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THAT(svg_of(drawing), !Contains("nan"));
}

TEST_CASE("residuals are those of the fit, whatever shift and offset are drawn", "[picture]") {
    CurveOnPaper paper;
    paper.curve.band = parse_band("V").value();
    constexpr double scatter[] = {0.01, -0.02, 0.015, 0.0, -0.01, 0.02, -0.015};
    for (int i = 0; i < 7; ++i)
        paper.curve.points.push_back(point_at(i, 15.0 + 0.1 * i + scatter[i]));
    paper.fit = lightcurve::fit(paper.curve, lightcurve::straight_line()).value();
    const auto plain = picture::marks_of(paper, {"own"});
    paper.shift_mag = -1.5;
    const auto shifted = picture::marks_of(paper, {"own"});
    for (std::size_t i = 0; i < 7; ++i) {
        CHECK(*shifted.marks[i].residual_mag == Approx(*plain.marks[i].residual_mag));
        CHECK(*plain.marks[i].residual_mag == Approx(*paper.fit->points[i].residual_mag).margin(1e-12));
        CHECK(shifted.marks[i].mag == Approx(plain.marks[i].mag - 1.5));
    }
    CHECK(shifted.line.front().mag == Approx(plain.line.front().mag - 1.5));
    CHECK(picture::curve_at(shifted, first_jd + 3.0).value() ==
          Approx(paper.fit->prediction->magnitude(first_jd + 3.0).value - 1.5).margin(1e-3));
    CHECK_FALSE(picture::curve_at(shifted, first_jd + 30.0));
    CHECK_THAT(script_of({.bands = {paper}}), Contains("residual (mag)"));
}

TEST_CASE("colours have a panel that says what reddening is off", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("B", 16.0), band("V", 15.0)}};
    CHECK_THAT(script_of(drawing), !Contains("colour (mag)"));
    auto colours = lightcurve::colour_curve(drawing.bands[0].curve, drawing.bands[1].curve, 0.5, 0.1).value();
    const double off = colours.reddening_mag;
    REQUIRE(off > 0.0);
    drawing.colours = {colours};
    const std::string script = script_of(drawing);
    CHECK_THAT(script, Contains("colour (mag)") && Contains("'B−V'") &&
                           Contains(fmt::format("reddening taken off: B−V {:.3f} mag", off)));
    CHECK(rows_of(script, "$c0s0") == colours.points.size());
    drawing.colours[0].reddening_mag = 0.0;
    CHECK_THAT(script_of(drawing), !Contains("reddening"));
    // Empty colours, or points that are no numbers, make no panel.
    for (auto& point : drawing.colours[0].points)
        point.mag = std::numeric_limits<double>::quiet_NaN();
    CHECK_THAT(script_of(drawing), !Contains("colour (mag)"));
}

TEST_CASE("figures stand beside the panels, fourteen at most", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("B", 15.0)}};
    for (int i = 1; i <= 14; ++i)
        drawing.figures.push_back({fmt::format("figure {:02d}", i), fmt::format("{} ± 0.03 mag", i)});
    CHECK_THAT(svg_of(drawing),
               Contains("figure 01") && Contains("figure 14") && Contains("14 ± 0.03 mag") && !Contains("…"));
    drawing.figures.push_back({"figure 15", "15 mag"});
    CHECK_THAT(svg_of(drawing), Contains("figure 14") && !Contains("figure 15") && Contains("…"));
}

TEST_CASE("long words are cut between letters", "[picture]") {
    CHECK(picture::shortened("Δm15(B)", 7) == "Δm15(B)");
    CHECK(picture::shortened("Δm15(B)", 4) == "Δm1…");
    CHECK(picture::shortened("αβγ", 2) == "α…");
    CHECK(picture::letters("± σ") == 3);
    CHECK(picture::with_minus("Rc-Ic") == "Rc−Ic");
}

TEST_CASE("hostile names of series, marks and figures stay words", "[picture]") {
    for (const std::string hostile :
         {"<b>&amp;</b></text>", "x'; system('touch owned'); '", "a\nEOD\nset output 'owned'",
          "{/Symbol a}^2", "\xff\xfe", "@x `date`"}) {
        CAPTURE(hostile);
        CurvePicture drawing{.title = hostile, .bands = {band("V", 15.0), band("B", 15.0)}};
        picture::spread_bands(drawing);
        drawing.bands[0].curve.series = {hostile, hostile + "2"};
        drawing.bands[0].curve.points[3].series = 1;
        drawing.bands[0].marks = {{first_jd + 12.0, 1.0, hostile}};
        drawing.figures = {{hostile, hostile}};
        drawing.maximum_bjd_tdb = first_jd;
        drawing.maximum_of = hostile;
        const std::string svg = svg_of(drawing);
        CHECK_THAT(svg, Contains("</svg>") && !Contains("<b>"));
    }
}

TEST_CASE("nothing that is no number reaches the paper", "[picture]") {
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double inf = std::numeric_limits<double>::infinity();
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0), band("B", 16.0)}};
    auto& points = drawing.bands[0].curve.points;
    points[0].bjd_tdb = nan;
    points[1].magnitude_mag = inf;
    points[2].random_err_mag = nan;
    points[3].common_err_mag = {inf};
    points[4].random_err_mag = inf;
    points.push_back(limit_at(50.0, nan));
    points.push_back(limit_at(inf, 17.0));
    drawing.colours = {lightcurve::colour_curve(drawing.bands[1].curve, band("V", 15.0).curve).value()};
    drawing.colours[0].points[0].mag = nan;
    drawing.colours[0].points[1].random_err_mag = inf;
    picture::spread_bands(drawing);
    const std::string script = script_of(drawing), svg = svg_of(drawing);
    CHECK_THAT(script, !Contains("nan") && !Contains("NaN") && !Contains("inf"));
    CHECK_THAT(svg, !Contains("nan") && !Contains("NaN") && !Contains("inf"));
}

TEST_CASE("one point, one night, limits alone and huge errors are drawn", "[picture]") {
    const auto drawn = [](std::vector<lightcurve::Point> points) {
        CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0, 0)}};
        drawing.bands[0].curve.points = std::move(points);
        picture::spread_bands(drawing);
        CHECK_THAT(svg_of(drawing), Contains("</svg>") && !Contains("nan"));
        return y_range_of(script_of(drawing));
    };
    drawn({point_at(0.0, 15.0)});
    drawn({point_at(0.0, 15.0), point_at(0.1, 15.01), point_at(0.2, 15.02)});
    drawn({limit_at(0.0, 17.0)});
    const auto with_limits = drawn({point_at(0.0, 15.0), limit_at(5.0, 16.5), limit_at(8.0, 17.0)});
    CHECK(with_limits.low < 15.0);
    CHECK(with_limits.high > 17.0);
    // The only detection is no stray among many limits; a limit far off is one among detections.
    const auto lonely = drawn({point_at(0.0, 15.0), limit_at(5.0, 17.5), limit_at(6.0, 17.5),
                               limit_at(7.0, 17.6), limit_at(8.0, 17.6), limit_at(9.0, 17.7)});
    CHECK(lonely.low < 15.0);
    CHECK(lonely.high > 17.7);
    auto deep = band("V", 15.0).curve.points;
    deep.insert(deep.begin(), limit_at(-5.0, 22.0));
    CHECK(drawn(deep).high < 18.0);
    // Error bars of a hundred magnitudes are cut off at the panel's edge.
    CHECK(drawn({point_at(0.0, 15.0, 100.0), point_at(1.0, 15.2, 100.0), point_at(2.0, 15.4)}).span() < 3.0);
}

TEST_CASE("a hundred thousand points make a small picture that shows what they cover", "[picture]") {
    CurvePicture drawing{.title = "DEMO SN 1", .bands = {band("V", 15.0, 100000, 39.0 / 100000)}};
    auto& points = drawing.bands[0].curve.points;
    for (std::size_t i = 0; i < points.size(); ++i)
        points[i].magnitude_mag =
            *points[i].magnitude_mag + 0.1 * std::sin(static_cast<double>(i * i % 1009));
    const std::string svg = svg_of(drawing);
    CHECK(svg.size() < 3'000'000);
    CHECK_THAT(svg, Contains("of 100000") && Contains("points drawn"));

    const auto series = picture::series_of(drawing);
    std::vector<picture::BandMarks> bands{picture::marks_of(drawing.bands[0], series)};
    const auto all = bands;
    const auto ranges = picture::ranges_of(drawing, bands).value();
    CHECK(picture::thin_out(bands, ranges, 4000) == 100000);
    CHECK(bands[0].marks.size() <= 4000);
    CHECK(bands[0].marks.size() > 1000);
    // Every point has a drawn one close by: within 3 % of the panel's width and height.
    for (std::size_t i = 0; i < 100000; i += 997) {
        const auto& lost = all[0].marks[i];
        CHECK(std::any_of(bands[0].marks.begin(), bands[0].marks.end(), [&](const picture::Mark& kept) {
            return std::abs(kept.jd - lost.jd) < 0.03 * ranges.jd.span() &&
                   std::abs(kept.mag - lost.mag) < 0.03 * ranges.mag.span();
        }));
    }
}

TEST_CASE("bands look as ever where they can, and no two alike", "[picture]") {
    const std::vector<std::string> nine{"U", "B", "g", "V", "r", "Rc", "i", "Ic", "z"};
    const auto looks = picture::looks_of(nine);
    for (std::size_t i = 0; i < nine.size(); ++i) {
        for (std::size_t k = 0; k < i; ++k) {
            CAPTURE(nine[i], nine[k]);
            CHECK((looks[i].shape != looks[k].shape || looks[i].colour != looks[k].colour));
        }
    }
    // g is as blue as B, but V keeps its colour from it.
    CHECK(looks[3].colour == picture::looks_of({"V"})[0].colour);
    // Six bands differ by shape alone, for a grey print.
    const auto six = picture::looks_of({"U", "B", "V", "CV", "Rc", "Ic"});
    for (std::size_t i = 0; i < six.size(); ++i) {
        for (std::size_t k = 0; k < i; ++k)
            CHECK(six[i].shape != six[k].shape);
    }
}
