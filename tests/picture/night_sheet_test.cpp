// SPDX-License-Identifier: MIT
#include "picture/night_sheet.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "quantities/delimited_table.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using picture::NightSheet;

namespace {

constexpr const char* hostile = "SN <script>alert(\"x\")</script> & 'ever'";

night::NightMeasurement measured(const std::string& band, bool limit) {
    night::NightMeasurement m;
    m.night = "2024-04-03";
    m.band = parse_band(band).value();
    m.instrument = "main";
    m.jd_utc = 2460404.36114;
    m.bjd_tdb = 2460404.36616;
    m.exposure_s = 480.0;
    m.airmass = 1.39;
    m.is_limit = limit;
    if (!limit) {
        m.magnitude_mag = 14.532;
        m.random_err_mag = 0.006;
        m.common_err_mag = 0.014;
    }
    m.limit_mag = limit ? 18.917 : 19.32;
    m.n_frames = 8;
    m.n_comparison = 2;
    m.method = "aperture";
    m.aperture_arcsec = 7.14;
    m.caveats = {Caveat::spectrum_not_stellar};
    return m;
}

picture::SheetBand band(const std::string& name, bool limit) {
    picture::SheetBand out{.measured = measured(name, limit)};
    out.stars.push_back({.label = "<b>117",
                         .catalogue_mag = {11.741, 0.030},
                         .measured_mag = 11.745,
                         .residual_mag = 0.004,
                         .err_mag = 0.001,
                         .frames = 8});
    out.stars.push_back({.label = "132",
                         .mark = picture::StarMark::check,
                         .catalogue_mag = {13.199, 0.030},
                         .measured_mag = 13.193,
                         .residual_mag = -0.006,
                         .err_mag = 0.003,
                         .frames = 8});
    out.stars.push_back({.label = "149",
                         .mark = picture::StarMark::unused,
                         .catalogue_mag = {14.939, 0.030},
                         .remark = "not on the frames"});
    if (!limit) out.fades_mag_per_day = ValueWithError{0.05021, 0.00026};
    return out;
}

picture::GreyPicture sky(int size) {
    return {size, size,
            std::vector<std::uint8_t>(static_cast<std::size_t>(size) * static_cast<std::size_t>(size), 200)};
}

picture::CurvePicture curve_of_two_bands() {
    picture::CurvePicture curve;
    for (const char* name : {"B", "V"}) {
        picture::CurveOnPaper paper;
        paper.curve.band = parse_band(name).value();
        for (int i = 0; i < 5; ++i) {
            lightcurve::Point p;
            p.bjd_tdb = 2460388.36616 + 4.0 * i;
            p.jd_utc = p.bjd_tdb - 0.005;
            p.magnitude_mag = 13.7 + 0.2 * i;
            p.random_err_mag = 0.01;
            paper.curve.points.push_back(p);
        }
        curve.bands.push_back(std::move(paper));
    }
    return curve;
}

NightSheet full_sheet() {
    NightSheet sheet;
    sheet.title = hostile;
    sheet.night = "2024-04-03";
    sheet.observer = "A. Observer (XYZ) \x01\xff";
    sheet.bands = {band("B", true), band("V", false)};
    sheet.curve = curve_of_two_bands();
    sheet.finder.stars = {{.label = "<b>117", .place = {-200.0, 150.0}},
                          {.label = "132", .place = {30.0, 100.0}, .mark = picture::StarMark::check}};
    sheet.finder.nucleus = picture::FieldPlace{10.0, -5.0};
    sheet.finder.aperture = picture::FieldAperture{6.7, 15.0, 26.2, false};
    picture::choose_fields(sheet.finder);
    sheet.finder.pictures = picture::FieldPictures{sky(24), sky(12)};
    sheet.finder_words = "frames/<V>&.fits";
    for (int i = 0; i < 4; ++i) {
        picture::SheetFrame frame;
        frame.judged.frame = "frames/\"V\"_00" + std::to_string(i) + ".fits";
        frame.judged.band = parse_band("V").value();
        frame.judged.jd_utc = 2460404.36 + 0.002 * i;
        frame.judged.transparency = 1.0 - 0.1 * i;
        frame.judged.fwhm_arcsec = 4.0;
        frame.judged.sky_mag_arcsec2 = 20.0;
        frame.judged.used = i != 3;
        frame.judged.reason = i == 3 ? "Its stars are trailed." : "";
        frame.exposure_s = 60.0;
        frame.fingerprint = "0123456789abcdef0123456789abcdef";
        sheet.frames.push_back(frame);
    }
    sheet.place = {{"this night", "13:25:21.120 +37:16:11.99"}};
    sheet.settings = {{"annulus", "4 to 7 FWHM"}};
    sheet.provenance = {{"software", "emberline"}, {"ledger", "solution 3"}};
    sheet.remarks = {"5 < 6 & 7 > 6."};
    return sheet;
}

// The first thing that keeps the text from being well-formed XML, beyond its document type; empty: nothing.
std::string broken_xml(const std::string& text) {
    std::vector<std::string> open;
    for (std::size_t at = text.find('>') + 1; at < text.size();) {
        if (text[at] == '&') {
            const std::size_t end = text.find(';', at);
            const std::string name = text.substr(at + 1, end - at - 1);
            if (name != "amp" && name != "lt" && name != "gt" && name != "quot" && name != "#39")
                return "entity " + name;
            at = end + 1;
        } else if (text[at] == '<') {
            const std::size_t end = text.find('>', at);
            if (end == std::string::npos) return "an open tag";
            const std::string tag = text.substr(at + 1, end - at - 1);
            at = end + 1;
            if (tag.find('<') != std::string::npos) return "tag in a tag: " + tag;
            if (std::count(tag.begin(), tag.end(), '"') % 2 != 0) return "quotes: " + tag;
            const std::string name = tag.substr(0, tag.find_first_of(" \n/", 1));
            if (tag.front() == '/') {
                if (open.empty() || open.back() != tag.substr(1)) return "closes what is not open: " + tag;
                open.pop_back();
            } else if (tag.back() != '/') {
                open.push_back(name);
            }
        } else {
            if (static_cast<unsigned char>(text[at]) < 0x20 && text[at] != '\n') return "a control character";
            ++at;
        }
    }
    return open.empty() ? std::string() : "open at the end: " + open.back();
}

std::size_t count(const std::string& text, const std::string& what) {
    std::size_t n = 0;
    for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + what.size()))
        ++n;
    return n;
}

photometry::StarFlux star_at(const std::string& label, const SkyPosition& place, double x, double y) {
    photometry::StarFlux star;
    star.label = label;
    star.place = place;
    star.position = {x, y};
    return star;
}

}  // namespace

TEST_CASE("a night's page is well-formed, fetches nothing and holds no script, whatever names it is given",
          "[night-sheet]") {
    const std::string html = picture::night_sheet_html(full_sheet());
    CHECK(broken_xml(html) == "");
    CHECK_THAT(html, !Contains("<script") && !Contains("://") && !Contains("@import") && !Contains("<b>"));
    // Pictures are in the page, and the one thing referred to is its own filter.
    CHECK(count(html, "href=") == count(html, "href=\"data:image/png;base64,"));
    CHECK(count(html, "url(") == count(html, "url(#night)"));
    CHECK(count(html, "src=") == 0);
    CHECK_THAT(html, Contains("default-src 'none'"));
    CHECK_THAT(html, Contains("&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt; &amp; &#39;ever&#39;"));
    CHECK_THAT(html, Contains("\uFFFD"));  // what was no text
    CHECK_THAT(html, Contains("5 &lt; 6 &amp; 7 &gt; 6."));
}

TEST_CASE("the number comes first, with both parts of its error", "[night-sheet]") {
    const std::string html = picture::night_sheet_html(full_sheet());
    // The total is hypot(0.006, 0.014) = 0.0152.
    CHECK_THAT(html, Contains("14.532 <small>± 0.015 mag</small>") && Contains("random 0.006, common 0.014"));
    CHECK_THAT(html, Contains("<small>fainter than</small> 18.92"));
    CHECK_THAT(html, Contains("V fades by 0.05021 ± 0.00026 mag a day"));
    CHECK_THAT(html, Contains("+0.004") && Contains("−0.006") && Contains("11.741 ± 0.030"));
    CHECK_THAT(html, Contains("spectrum-not-stellar") &&
                         Contains(std::string(sentence(Caveat::spectrum_not_stellar))));
    CHECK_THAT(html, Contains("Not used: Its stars are trailed."));
    CHECK_THAT(html, Contains("0123456789") && !Contains("0123456789a"));
    CHECK(html.find("14.532") < html.find("The light curve"));
}

TEST_CASE("a night's page says in words what its pictures show, and has both looks", "[night-sheet]") {
    const std::string html = picture::night_sheet_html(full_sheet());
    CHECK_THAT(html, Contains("<html lang=\"en\">") && Contains("charset=\"utf-8\""));
    // Curve, finder, two bands of residuals, the air; marks beside a heading are for the eye alone.
    CHECK(count(html, "<figure>") == 5);
    CHECK(count(html, "role=\"img\" aria-label=\"\"") == count(html, "<span aria-hidden=\"true\"><svg"));
    CHECK(count(html, "<th scope=\"col\"") == 2 * 8 + 10);
    CHECK(count(html, "<th scope=\"row\"") == 2 * 3 + 4);
    CHECK(count(html, "<caption>") == 3);
    CHECK_THAT(html, Contains("@media screen and (prefers-color-scheme:dark)") && Contains("@media print"));
}

TEST_CASE("a night with nothing but refused frames still makes a page", "[night-sheet]") {
    NightSheet sheet;
    sheet.title = "DEMO SN 1";
    sheet.night = "2024-04-03";
    const std::string html = picture::night_sheet_html(sheet);
    CHECK(broken_xml(html) == "");
    CHECK_THAT(html, Contains("no magnitude") && Contains("DEMO SN 1"));
    NightSheet one = full_sheet();
    one.curve.reset();
    one.bands.resize(1);
    one.frames.resize(1);
    one.finder.pictures.reset();
    CHECK(broken_xml(picture::night_sheet_html(one)) == "");
    CHECK_THAT(picture::night_sheet_html(one), !Contains("<image") && Contains("drawn from their positions"));
}

TEST_CASE("a night without any light, or stars to be wide, has axes all the same", "[night-sheet]") {
    // An axis from 0 to 0 put every mark at "nan".
    NightSheet sheet = full_sheet();
    for (picture::SheetFrame& frame : sheet.frames) {
        frame.judged.transparency = 0.0;
        frame.judged.fwhm_arcsec = 0.0;
    }
    const std::string html = picture::night_sheet_html(sheet);
    for (const char* no_place :
         {",nan", ",-nan", ",inf", ",-inf", "=\"nan", "=\"-nan", "=\"inf", "=\"-inf"}) {
        INFO(no_place);
        CHECK(html.find(no_place) == std::string::npos);
    }
}

TEST_CASE("the same night on paper is a PDF of some pages", "[night-sheet]") {
    const TemporaryFolder folder;
    NightSheet sheet = full_sheet();
    const auto first = sheet.frames.front();
    sheet.frames.insert(sheet.frames.end(), 150, first);  // a long table goes on over pages
    const auto drawn = picture::draw_night_sheet(sheet, folder / "night.pdf");
    if (!drawn) FAIL(one_line(drawn.error()));
    const auto pdf = read_text_file(folder / "night.pdf");
    REQUIRE(pdf);
    CHECK(pdf->starts_with("%PDF-"));
    const std::size_t at = pdf->find("/Count ");
    REQUIRE(at != std::string::npos);
    const int pages = std::stoi(pdf->substr(at + 7));
    CHECK(pages >= 4);
    CHECK(pages <= 7);
    CHECK(folder.names() == std::vector<std::string>{"night.pdf"});
}

TEST_CASE("words are broken between words, and a long one is cut", "[night-sheet]") {
    CHECK(picture::lines_of("", 10.0, 100.0).empty());
    const auto lines = picture::lines_of("one two three four five", 10.0, 70.0);
    CHECK(lines.size() > 1);
    std::string joined;
    for (const std::string& line : lines) {
        CHECK(picture::width_of(line, 10.0) <= 70.0);
        joined += (joined.empty() ? "" : " ") + line;
    }
    CHECK(joined == "one two three four five");
    const auto cut = picture::lines_of("ääääääääääääääääääää", 10.0, 50.0);
    CHECK(cut.size() > 1);
    for (const std::string& line : cut)
        CHECK(line.size() % 2 == 0);  // letters of two bytes stay whole
}

TEST_CASE("between sky and pixels by the stars' own places, whichever way the frame lies", "[finder-image]") {
    const SkyPosition here{Angle::degrees(201.338), Angle::degrees(37.27)};
    const auto place = [&](double e, double n) {
        return displaced(here, {Angle::arcseconds(e), Angle::arcseconds(n)});
    };
    const double turn = Angle::degrees(33.0).radians();
    for (const double hand : {1.0, -1.0}) {
        // Position angle of +y is 33°: FITS' usual sense (hand 1) has east left of north.
        const auto x = [&](double e, double n) {
            return 400.0 + (-hand * std::cos(turn) * e + hand * std::sin(turn) * n) / 1.2;
        };
        const auto y = [&](double e, double n) {
            return 300.0 + (std::sin(turn) * e + std::cos(turn) * n) / 1.2;
        };
        photometry::FrameFluxes frame;
        frame.scale_arcsec_per_px = 1.2;
        frame.rotation_deg = 33.0;
        frame.mirrored = hand < 0.0;
        CHECK_FALSE(picture::FieldMap::of(frame));
        frame.stars.push_back(star_at("transient", here, 400.0, 300.0));
        for (const std::size_t stars : {std::size_t{0}, std::size_t{3}}) {
            if (stars > 0) {
                for (const auto& [e, n] : {std::pair{120.0, 30.0}, {-80.0, 200.0}, {10.0, -150.0}})
                    frame.stars.push_back(star_at("s", place(e, n), x(e, n), y(e, n)));
                frame.rotation_deg = 0.0;  // not needed any more
            }
            const auto map = picture::FieldMap::of(frame);
            REQUIRE(map);
            const auto pixel = map->pixel({50.0, 70.0});
            CHECK(pixel.x == Approx(x(50.0, 70.0)).margin(0.01));
            CHECK(pixel.y == Approx(y(50.0, 70.0)).margin(0.01));
            const auto back = map->place(pixel);
            CHECK(back.east_arcsec == Approx(50.0).margin(1e-9));
            CHECK(back.north_arcsec == Approx(70.0).margin(1e-9));
            CHECK(map->scale_arcsec_per_px() == Approx(1.2).epsilon(1e-4));
        }
    }
}
