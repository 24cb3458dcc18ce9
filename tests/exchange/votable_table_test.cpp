// SPDX-License-Identifier: MIT
// The light curve as VOTable 1.4: what outside readers say of it, and all that can be wrong with XML.
#include <catch2/catch.hpp>
#include <sstream>

#include "exchange/outside_reader.hpp"
#include "exchange/series.hpp"
#include "exchange/table_samples.hpp"
#include "exchange/xml_reader.hpp"

namespace emberline::exchange {
namespace {

using test::InventedCurve;
using test::read_back;
using test::said;
using test::say;
using test::table_of;

// Three bands, limits, transformed and untransformed nights, hostile texts; one band; no row.
struct Sample {
    std::string name, text;
    std::size_t rows;
};
std::vector<Sample> samples() {
    auto limit = test::as_limit(test::sample_night("2024-02-04", "V"));
    auto transformed = test::sample_night("2024-02-05", "B");
    transformed.transformed = true;
    transformed.caveats = Caveats{Caveat::cloud, Caveat::no_check_star};
    auto red = test::sample_night("2024-02-05", "g");
    red.airmass.reset();
    InventedCurve invented(7);
    const std::vector<std::string> many{"B", "V", "Rc", "g", "TG", "CV"};
    auto bare = test::sample_meta({"V"});
    bare.position.reset();
    bare.transient = "SN <&> \"1\"";
    return {
        {"three_bands",
         table_of<night::NightMeasurement>({test::sample_night(), limit, transformed, red},
                                           TableFormat::votable, test::sample_meta({"B", "V", "g"})),
         4},
        {"one_band", table_of<night::NightMeasurement>({test::sample_night()}, TableFormat::votable, bare),
         1},
        {"frames", table_of(invented.frames(40), TableFormat::votable, test::sample_meta(many)), 40},
        {"nights", table_of(invented.nights(40), TableFormat::votable, test::sample_meta(many)), 40},
        {"empty", table_of<night::NightMeasurement>({}, TableFormat::votable, test::sample_meta({"J", "K"})),
         0},
    };
}

TEST_CASE("The validator of VOTables finds neither errors nor warnings", "[tables][votable]") {
    if (say("stilts -version").status != 0) {
        WARN("SKIPPED: stilts is not installed, so that votlint has not seen the tables.");
        return;
    }
    const test::ScratchFolder folder;
    for (const Sample& sample : samples()) {
        const auto verdict = say("stilts votlint " + folder.file(sample.name + ".vot", sample.text));
        INFO(sample.name << "\n" << verdict.out);
        CHECK(verdict.status == 0);
        CHECK(verdict.out.empty());
    }
}

TEST_CASE("xmllint finds the tables well formed", "[tables][votable]") {
    if (say("xmllint --version").status != 0) {
        WARN("SKIPPED: xmllint is not installed.");
        return;
    }
    const test::ScratchFolder folder;
    for (const Sample& sample : samples()) {
        const auto verdict = say("xmllint --noout " + folder.file(sample.name + ".vot", sample.text));
        INFO(sample.name << "\n" << verdict.out);
        CHECK(verdict.status == 0);
        CHECK(verdict.out.empty());
    }
}

TEST_CASE("astropy reads the tables without a warning, times and systems included", "[tables][votable]") {
    if (!test::has_astropy()) {
        WARN("SKIPPED: astropy is not installed, so that it has not read the VOTables.");
        return;
    }
    const test::ScratchFolder folder;
    const std::string script = folder.file("check.py", R"(import sys, warnings
warnings.simplefilter('error')
from astropy.io.votable import parse
for path, rows in zip(sys.argv[1::2], sys.argv[2::2]):
    whole = parse(path, verify='exception')
    table = whole.get_first_table()
    assert len(table.array) == int(rows), (path, len(table.array))
    systems = {t.ID: (t.timescale, t.refposition, t.timeorigin) for t in whole.iter_timesys()}
    field = table.get_field_by_id('bjd_tdb')
    assert systems[field.ref] == ('TDB', 'BARYCENTER', 'JD-origin'), systems
    assert systems[table.get_field_by_id('jd_utc').ref] == ('UTC', 'TOPOCENTER', 'JD-origin'), systems
    assert str(field.unit) == 'd' and field.ucd == 'time.epoch;meta.main'
    if 'three' in path:
        t = table.to_table()
        assert abs(t['jd_utc'][0] - 2460344.51234568) < 1e-8
        assert list(t['night']) == ['2024-02-03', '2024-02-04', '2024-02-05', '2024-02-05']
        assert list(t['is_limit']) == [False, True, False, False]
        assert t['mag'][1] == 19.5 and t['mag_err'].mask[1] and t['airmass'].mask[3]
        assert t['n_frames'][0] == 12 and t['flags'][2] == 'cloud;no-check-star'
        ra = [p for p in table.params if p.name == 'ra'][0]
        assert abs(ra.value - 201.338) < 1e-8 and ra.ucd == 'pos.eq.ra;meta.main', ra
        assert [c.system for c in whole.iter_coosys()] == ['ICRS']
        bands = {g.name: g for g in table.groups}
        assert list(bands) == ['B', 'V', 'g'], bands
        words = {e.utype: e.value for e in bands['g'].entries if hasattr(e, 'value')}
        assert words['photdm:PhotCal.magnitudeSystem.type'] == 'ABMag', words
        assert words['photdm:PhotCal.identifier'] == 'Emberline/g/g/AB', words
        refs = [e.ref for e in bands['g'].entries if not hasattr(e, 'value')]
        assert 'mag' in refs and 'band' in refs, refs
        assert table.get_field_by_id('mag').ucd == 'phot.mag;em.opt;meta.main'
        infos = {i.name: i.value for i in whole.resources[0].infos}
        assert infos['transient'] == 'DEMO SN 1' and infos['solution'] == 'campaign.ledger, solution 3', infos
        assert whole.resources[0].links[0].href == 'campaign.ledger'
    if 'one' in path:
        assert table.get_field_by_id('mag').ref == 'photometry_V'
        assert table.get_field_by_id('mag').ucd == 'phot.mag;em.opt.V;meta.main'
        assert {i.name: i.value for i in whole.resources[0].infos}['transient'] == 'SN <&> "1"'
)");
    std::string command = std::string(test::python) + " " + script;
    for (const Sample& sample : samples())
        command += " " + folder.file(sample.name + ".vot", sample.text) + " " + std::to_string(sample.rows);
    const auto verdict = say(command);
    INFO(verdict.out);
    CHECK(verdict.status == 0);
}

TEST_CASE("astropy reads the same values from VOTable and ECSV, whatever the texts hold",
          "[tables][votable]") {
    if (!test::has_astropy()) {
        WARN("SKIPPED: astropy is not installed, so that it has not compared the formats.");
        return;
    }
    const test::ScratchFolder folder;
    const auto frames = InventedCurve(12).frames(200);
    const std::string script = folder.file("compare.py", R"(import sys
import numpy as np
from astropy.table import Table
from astropy.io.votable import parse
a = parse(sys.argv[1], verify='exception').get_first_table().to_table(use_names_over_ids=True)
b = Table.read(sys.argv[2], format='ascii.ecsv')
assert len(a) == len(b) == 200 and a.colnames == b.colnames
for name in a.colnames:
    x, y = np.ma.masked_array(a[name]), np.ma.masked_array(b[name])
    if x.dtype.kind in 'OUS':
        x = [str(v) for v in x.filled('')]
        y = [str(v) for v in y.filled('')]
        assert x == y, [(p, q) for p, q in zip(x, y) if p != q][:3]
    else:
        mask = np.ma.getmaskarray(x) | (np.isnan(x.data) if x.dtype.kind == 'f' else False)
        assert (mask == np.ma.getmaskarray(y)).all(), name
        assert (x.data[~mask] == y.data[~mask]).all(), name
)");
    const auto verdict = say(std::string(test::python) + " " + script + " " +
                             folder.file("frames.vot", table_of(frames, TableFormat::votable)) + " " +
                             folder.file("frames.ecsv", table_of(frames, TableFormat::ecsv)));
    INFO(verdict.out);
    CHECK(verdict.status == 0);
}

TEST_CASE("An exported VOTable is a series that can be read again, by its TIMESYS",
          "[tables][votable][series]") {
    const auto series = parse_series(samples().front().text, "nights.vot");
    INFO((series ? std::string() : one_line(series.error())));
    REQUIRE(series);
    REQUIRE(series->curves.size() == 3);
    CHECK(series->curves[1].points.size() == 2);
    CHECK(series->curves[1].points[0].bjd_tdb ==
          Approx(test::sample_night().bjd_tdb).margin(5e-9).epsilon(0));
}

std::string good_text() {
    auto later = test::sample_night("2024-02-05");
    later.jd_utc += 2.0;
    later.bjd_tdb += 2.0;
    return table_of<night::NightMeasurement>({test::sample_night(), later}, TableFormat::votable);
}
std::string replaced(std::string text, std::string_view from, std::string_view to) {
    const auto at = text.find(from);
    INFO(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
}
std::string replaced_all(std::string text, std::string_view from, std::string_view to) {
    for (auto at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
        text.replace(at, from.size(), to);
    return text;
}

TEST_CASE("The same document written otherwise is the same table", "[tables][votable]") {
    const std::string good = good_text();
    const auto truth = read_back(good).rows;
    REQUIRE(truth.size() == 2);
    const std::vector<std::string> others{
        replaced_all(good, "<TD>", "\n   <TD\n>"),
        replaced_all(good, "<TR>", "<!-- a > row <TR> --><?mine?><TR ID='r'  >"),
        replaced_all(replaced_all(good, "<TD>aperture</TD>", "<TD><![CDATA[aperture]]></TD>"), "</TD>",
                     "</TD >"),
        replaced_all(good, "<TD>aperture</TD>", "<TD>ape<!-- -->r&#116;&#x75;<![CDATA[]]>re</TD>"),
        replaced_all(good, "<TD></TD>", "<TD/>"),
        replaced_all(good, "true", "T"),
        replaced_all(good, "false", "0"),
        replaced_all(good, "\n", "\r\n"),
        replaced_all(replaced_all(good, "unit=\"pixel\"", "unit='pix'"), "count", "ct"),
        replaced(replaced_all(replaced_all(replaced_all(good, "<", "<v:"), "<v:/", "</v:"), "<v:?", "<?"),
                 "xmlns=", "xmlns:v="),
        replaced(good, "<RESOURCE",
                 "<RESOURCE><TABLE name='other'><FIELD name='x' datatype='int'/><DATA><TABLEDATA>"
                 "<TR><TD>1</TD></TR></TABLEDATA></DATA></TABLE></RESOURCE><RESOURCE"),
    };
    for (const std::string& text : others) {
        const auto read = read_back(text);
        INFO(said(read.checked) << "\n" << text.substr(0, 600));
        CHECK(read.checked.findings.empty());
        CHECK(read.rows == truth);
    }
    const auto marked = read_back("\xEF\xBB\xBF" + good);
    CHECK(marked.checked.valid());
    CHECK(marked.checked.findings.size() == 1);
    CHECK(marked.rows == truth);
}

TEST_CASE("A VOTable damaged in every way says so", "[tables][votable]") {
    const std::string good = good_text();
    struct Case {
        std::string text;
        std::string_view says;
    };
    const std::string bomb =
        "<?xml version=\"1.0\"?>\n<!DOCTYPE lolz [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]>\n";
    const std::vector<Case> cases{
        {good.substr(0, good.size() / 2), "it was cut"},
        {good.substr(0, good.rfind("<TD>") + 6), "The file ends inside <TD>"},
        {good.substr(0, good.rfind("</VOTABLE>")), "The file ends inside <VOTABLE>"},
        {good.substr(0, good.rfind("</VOTABLE>") + 4), "it was cut"},
        {"<?xml version=\"1.0\"?>\n", "holds no element"},
        {bomb + good.substr(good.find('\n') + 1), "A document type is declared"},
        {replaced(good, "<TD>aperture", "<TD>&mine;"), "begins no reference"},
        {replaced(good, "<TD>aperture", "<TD>&#0;"), "begins no reference"},
        {replaced(good, "<TD>aperture", "<TD>R&D "), "begins no reference"},
        {replaced(good, "<TD>aperture", "<TD>a < b"), "no element begins"},
        {replaced(good, "</TD></TR>", "</TR></TD>"), "</TR> stands where </TD> is due"},
        {replaced(good, "<TR><TD>", "<TR><TD><TD>"), "stands within a field"},
        {replaced(good, "<TR><TD>", "<TR><TD>x</TD><TD>"), "has 16 fields where the table has 15 columns"},
        {replaced(good, "<TD>aperture</TD>", ""), "has 14 fields"},
        {replaced(good, "<TR><TD>", "<TR><B/><TD>"), "stands among the rows"},
        {replaced(good, "name=\"mag\"", "name=\"mag\" name=\"mag\""), "stands twice in one tag"},
        {replaced(good, "name=\"mag\"", "name=mag"), "has no value"},
        {replaced(good, "name=\"mag\"", "name=\"mag"), "holds"},
        {replaced(good, "UTF-8", "ISO-8859-1"), "ISO-8859-1. Save it as UTF-8"},
        {replaced(good, "<TD>aperture", "<TD>\xe9\x70"), "bytes that are not text"},
        {"\xFF\xFE<\0", "not text"},
        {good + "<more/>", "A second element"},
        {good + "more", "outside the document's element"},
        {replaced(good, "<TABLE ", replaced_all(std::string(100, '.'), ".", "<G>") + "<TABLE "),
         "nest deeper"},
        {replaced(good, "version=\"1.4\"", "version=\"1.1\""), "times need 1.4 or 1.5"},
        {replaced(good, "VOTable/v1.3", "VOTable/v9"), "The namespace must be"},
        {replaced(good, "<VOTABLE", "<TABLES"), "</VOTABLE> stands where </TABLES> is due"},
        {"<html><body>no table</body></html>", "The document is <html>"},
        {replaced(good, " ref=\"tdb\"", ""), "No TIMESYS is referred to"},
        {replaced(good, "timescale=\"TDB\"", "timescale=\"TT\""), "should be TDB at BARYCENTER"},
        {replaced(good, "refposition=\"TOPOCENTER\"", "refposition=\"GEOCENTER\""),
         "should be UTC at TOPOCENTER"},
        {replaced(good, "timeorigin=\"JD-origin\"", "timeorigin=\"MJD-origin\""), "count from 0"},
        {replaced(good, "unit=\"d\"", "unit=\"s\""), "should be 'd'"},
        {replaced(good, "name=\"mag\" datatype=\"double\"", "name=\"mag\" datatype=\"char\" arraysize=\"*\""),
         "does not fit"},
        {replaced(good, "name=\"jd_utc\" datatype=\"double\"", "name=\"jd_utc\" datatype=\"float\""),
         "a quarter of a day"},
        {replaced(good, "name=\"band\" datatype=\"char\" arraysize=\"*\"", "name=\"band\" datatype=\"char\""),
         "no arraysize"},
        {replaced(replaced(good, "<TABLEDATA>", "<BINARY2><STREAM>"), "</TABLEDATA>", "</STREAM></BINARY2>"),
         "only TABLEDATA is read"},
        {replaced(good, "name=\"mag_err\"", "name=\"mag_error\""), "The column is missing"},
        {replaced(good, "<TD>aperture", "<TD>" + std::string(200000, 'a')), "A field is longer than"},
    };
    for (const Case& one : cases) {
        const auto read = read_back(one.text);
        INFO(one.says << "\n" << said(read.checked));
        CHECK_FALSE(read.checked.valid());
        CHECK(std::any_of(read.checked.findings.begin(), read.checked.findings.end(), [&](const Finding& f) {
            return f.error && f.what.find(one.says) != std::string::npos;
        }));
    }
}

TEST_CASE("A cut is named by its line, and the rows before it are read", "[tables][votable]") {
    const std::string good = good_text();
    const auto second = good.find("<TR>", good.find("<TR>") + 1);
    const auto read = read_back(good.substr(0, second + 40));
    CHECK(read.rows.size() == 1);
    REQUIRE(read.checked.findings.size() == 1);
    const auto lines = std::count(good.begin(), good.begin() + static_cast<long>(second), '\n');
    CHECK(read.checked.findings[0].line == static_cast<std::size_t>(lines) + 1);
}

TEST_CASE("A long CDATA section comes in pieces, whatever its letters are", "[votable]") {
    // Brackets alone, of which two begin the section's end, were kept until it came: a file from a stranger
    // filled the memory.
    constexpr std::size_t letters = std::size_t{1} << 20U;
    for (const std::string& inside :
         {std::string(letters, ']'), std::string(letters, 'a'), std::string(letters, 'a') + "]]"}) {
        std::istringstream in("<A><![CDATA[" + inside + "]]></A>");
        XmlReader xml(in);
        CHECK(xml.next() == XmlReader::Kind::open);
        std::string all;
        std::size_t longest = 0;
        XmlReader::Kind kind = xml.next();
        for (; kind == XmlReader::Kind::text; kind = xml.next()) {
            longest = std::max(longest, xml.text().size());
            all += xml.text();
        }
        CHECK(kind == XmlReader::Kind::close);
        CHECK(all == inside);
        CHECK(longest <= std::size_t{1} << 16U);
    }
}

}  // namespace
}  // namespace emberline::exchange
