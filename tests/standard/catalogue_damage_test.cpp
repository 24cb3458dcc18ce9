// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "catalogue_files.hpp"
#include "standard/field_catalogue.hpp"
#include "standard/photometric_catalogue.hpp"

using namespace emberline;
using test::bytes_of;
using test::check_refused;
using test::check_text_refused;
using test::degrees;
using test::Folder;
using test::read;
using test::remarked;
using test::replaced;
using test::sample;
using test::tabledata;
using test::two_fields;
using test::votable;

TEST_CASE("positions that are none are refused with their line", "[field_catalogue]") {
    check_text_refused("id,mag,x\n1,2,3\n", "no columns of right ascension and declination", "'mag'");
    check_text_refused("ra,dec\n10,20\n400,20\n", "The right ascension of 400 degrees is outside 0 to 360.",
                       "line 3, column 'ra'");
    check_text_refused("ra,dec\n10,20\n\n10,-95\n", "The declination of -95 degrees is outside ±90.",
                       "line 4, column 'dec'");
    check_text_refused("ra_rad,dec_rad\n10,0.1\n", "outside 0 to 360", "column 'ra_rad'");
    check_text_refused("ra,dec\nhere,20\n", "'here' is not a right ascension.", "line 2, column 'ra'");
    check_text_refused("ra,dec\n10:70:00,20\n", "not a right ascension", "line 2");
    check_text_refused("ra [deg],dec [deg]\n02:30:00,20\n", "not written in the unit '", "line 2");
    check_text_refused("ra [furlong],dec\n10,20\n", "none that positions are given in",
                       "column 'ra [furlong]'");
    check_text_refused("ra,ra,dec\n10,10,20\n", "appears twice", "line 1");
    check_text_refused("ra,RA,dec\n10,10,20\n", "The columns 'ra' and 'RA' have one name between them.",
                       "columns 1 and 2");
    check_text_refused("ra,dec\n10,20\n10\n", "1 fields", "line 3");
    check_text_refused("GLON,GLAT\n10,20\n", "no columns of right ascension");
}

TEST_CASE("what is no catalogue is refused in a sentence that says what it is", "[field_catalogue]") {
    const Folder folder;
    check_refused(folder.file("page.vot", "<!DOCTYPE html>\n<html><body>503</body></html>"), "a web page");
    check_refused(folder.file("page2.vot", "<?xml version='1.0'?><html xmlns='x'/>"), "a web page");
    check_refused(folder.file("empty.csv", ""), "The file is empty.");
    check_refused(folder.file("blank.csv", "\n \n"), "The file is empty.");
    check_refused(folder.file("notes.csv", "# only notes\n"), "The table is empty.");
    check_refused(folder.file("a.json", "{\"ra\": [1]}"), "This is JSON");
    check_refused(folder.file("latin.csv", "name,ra,dec\nBl\xE4ul,1,2\n"), "not text", "line 2");
    check_refused(folder.file("binary.csv", std::string("ra,dec\n1,2\0\n", 12)), "not text", "line 2");
    check_refused(folder.file("wide.csv", std::string("\xFF\xFEr\0a\0,\0", 8)), "not text", "line 1");
    check_refused(folder.file("words.fits", "SIMPLE  = but no more"), "FITS");
    check_refused(folder.file("packed.csv.gz", "\x1f\x8b\x08nothing"), "gzipped file is cut short");
    check_refused(folder.path(), "folder");
    check_refused(folder.file("feed.xml", "<?xml version='1.0'?><rss/>"), "no VOTable: it begins with 'rss'");
    check_refused(std::string("no/such/file.csv"), "cannot be read");
}

TEST_CASE("a damaged VOTable is refused, and what the service says is passed on", "[field_catalogue]") {
    const Folder folder;
    const std::string whole = bytes_of(sample("written_tabledata.vot"));
    check_refused(folder.file("cut.vot", whole.substr(0, whole.size() / 2)),
                  "The XML is cut short or damaged", "line ");
    check_refused(folder.file("e.vot", votable(two_fields, "",
                                               "<INFO name=\"QUERY_STATUS\" value=\"ERROR\">"
                                               "Field too large</INFO>")),
                  "\"Field too large\"");
    check_refused(folder.file("cells.vot", votable(two_fields, tabledata("<TR><TD>1</TD></TR>"))),
                  "Row 1 has 1 cells where the table has 2 columns.");
    check_refused(folder.file("none.vot", "<VOTABLE><RESOURCE/></VOTABLE>"), "no table with rows");
    check_refused(folder.file("columns.vot", votable("<FIELD name=\"a\" datatype=\"int\"/>",
                                                     tabledata("<TR><TD>1</TD></TR>"))),
                  "no columns of right ascension");
    check_refused(
        folder.file("away.vot", votable(two_fields, "<BINARY><STREAM href=\"file:///etc/hosts\"/></BINARY>")),
        "outside the file");
    check_refused(folder.file("fits.vot", votable(two_fields, "<FITS><STREAM/></FITS>")), "a form not known");
    const auto cut_short =
        read(folder.file("o.vot", votable(two_fields, tabledata("<TR><TD>1</TD><TD>2</TD></TR>"),
                                          "<INFO name=\"QUERY_STATUS\" value=\"OVERFLOW\"/>")));
    CHECK(remarked(cut_short, "cut the list short"));
    for (const std::string system : {"galactic", "ecl_FK5", "supergalactic"}) {
        check_refused(folder.file("s.vot", votable(two_fields, tabledata("<TR><TD>1</TD><TD>2</TD></TR>"),
                                                   "<COOSYS ID=\"s\" system=\"" + system + "\"/>")),
                      "said to be in '" + system + "'");
    }
    check_refused(folder.file("q.vot", votable(two_fields, tabledata("<TR><TD>1</TD><TD>2</TD></TR>"),
                                               "<COOSYS ID=\"s\" system=\"eq_FK4\" equinox=\"B1875\"/>")),
                  "equinox B1875");
}

TEST_CASE("bytes in a VOTable may end anywhere", "[field_catalogue]") {
    const Folder folder;
    for (const char* name : {"written_binary.vot", "written_binary2.vot"}) {
        const std::string whole = bytes_of(sample(name));
        const auto start = whole.find("base64\">") + 8;
        const auto end = whole.find("</STREAM>");
        REQUIRE(end < whole.size());
        std::size_t fewer = 0;
        for (std::size_t length = 0; start + length < end; length += 37) {
            const auto catalogue = standard::read_field_catalogue(
                folder.file("cut.vot", whole.substr(0, start + length) + whole.substr(end)));
            if (!catalogue) {
                CHECK(catalogue.error().what.ends_with('.'));
            } else {
                CHECK(catalogue->stars.size() < 12);
                ++fewer;
            }
        }
        // Cut at the end of a row a table is a shorter table; hardly ever elsewhere.
        CHECK(fewer <= 4);
        check_refused(folder.file("cut.vot", whole.substr(0, start + 403) + whole.substr(end)), "cut short");
        check_refused(folder.file("row.vot", whole.substr(0, start + 409) + whole.substr(end)),
                      "end within row");
        check_refused(folder.file("letter.vot", replaced(whole, "AAAAAAAA", "AAA?AAAA")),
                      "not written as base64");
        check_refused(folder.file("type.vot", replaced(whole, "datatype=\"bit\"", "datatype=\"bot\"")),
                      "The type 'bot'");
        check_refused(
            folder.file("size.vot", replaced(whole, "arraysize=\"3\"", "arraysize=\"999999x999999\"")),
            "999999x999999");
    }
    // A text of 2³² − 1 letters is announced, and four bytes are there.
    check_refused(folder.file("long.vot",
                              votable("<FIELD name=\"n\" datatype=\"char\" arraysize=\"*\"/>" + two_fields,
                                      "<BINARY><STREAM encoding=\"base64\">/////0FCQ0Q=</STREAM></BINARY>")),
                  "end within row 1");
}

TEST_CASE("an array in a VOTable's bytes is no magnitude, whatever its meaning is said to be",
          "[photometric_catalogue]") {
    // IVOA VOTable 1.4, section 2.1: arraysize 2 is two values in a cell. They were read as one number, the
    // last, and sixteen bytes of short ones were shifted by more bits than a number has.
    const Folder folder;
    const std::string fields =
        two_fields +
        "<FIELD name=\"both\" datatype=\"double\" arraysize=\"2\" ucd=\"phot.mag;em.opt.B\"/>"
        "<FIELD name=\"V\" datatype=\"double\" unit=\"mag\"/>"
        "<FIELD name=\"counts\" datatype=\"short\" arraysize=\"8\"/>";
    // 201, 37, (13, 14), 12.5 and eight times 1, big-endian.
    const auto read = standard::read_photometric_catalogue(
        folder.file("array.vot", votable(fields,
                                         "<BINARY><STREAM encoding=\"base64\">"
                                         "QGkgAAAAAABAQoAAAAAAAEAqAAAAAAAAQCwAAAAAAABAKQAAAA"
                                         "AAAAABAAEAAQABAAEAAQABAAE="
                                         "</STREAM></BINARY>")));
    REQUIRE(read);
    REQUIRE(read->stars.size() == 1);
    CHECK(read->stars.front().native.at("V").value == 12.5);
    CHECK_FALSE(read->stars.front().native.contains("B"));
}

TEST_CASE("XML that would grow without end, or fetch what is not its own, does neither",
          "[field_catalogue]") {
    const Folder folder;
    // Ten entities of ten of the one before: 10¹⁰ letters if anybody followed them.
    std::string entities = "<!ENTITY a0 \"xxxxxxxxxx\">";
    for (int i = 1; i < 10; ++i) {
        entities += "<!ENTITY a" + std::to_string(i) + " \"";
        for (int k = 0; k < 10; ++k)
            entities += "&a" + std::to_string(i - 1) + ";";
        entities += "\">";
    }
    std::string text = votable("<FIELD name=\"name\" datatype=\"char\" arraysize=\"*\"/>" + two_fields,
                               tabledata("<TR><TD>&a9;</TD><TD>1</TD><TD>2</TD></TR>"));
    const auto grown =
        read(folder.file("grow.vot", replaced(text, "?>\n", "?>\n<!DOCTYPE VOTABLE [" + entities + "]>\n")));
    CHECK(grown.stars.at(0).label == "&a9;");
    const std::string secret = folder.file("secret", "not for strangers");
    const auto fetched = read(folder.file(
        "fetch.vot", replaced(replaced(text, "&a9;", "&e;"), "?>\n",
                              "?>\n<!DOCTYPE VOTABLE [<!ENTITY e SYSTEM \"file://" + secret + "\">]>\n")));
    CHECK(fetched.stars.at(0).label == "&e;");
    // Nested deeper than any stack.
    std::string deep = "<VOTABLE>";
    for (int i = 0; i < 200'000; ++i)
        deep += "<RESOURCE>";
    check_refused(folder.file("deep.vot", deep), "cut short or damaged");
    for (int i = 0; i < 200'000; ++i)
        deep += "</RESOURCE>";
    check_refused(folder.file("deeper.vot", deep + "</VOTABLE>"), "no table with rows");
}

TEST_CASE("a header of ECSV may be as wrong as it likes", "[field_catalogue]") {
    const Folder folder;
    const std::string whole = bytes_of(sample("written.ecsv"));
    check_refused(folder.file("a.ecsv", replaced(whole, "- {name: ra,", "- {name: ra")), "no YAML", "a.ecsv");
    check_refused(folder.file("b.ecsv", "# %ECSV 1.0\n# ---\nra dec\n1 2\n"), "describes no columns");
    check_refused(folder.file("c.ecsv", "# %ECSV 1.0\n# a: " + std::string(100'000, '[') + "\nra dec\n1 2\n"),
                  "no YAML");
    std::string dashes = "# ";
    for (int i = 0; i < 10'000; ++i)
        dashes += "- ";
    check_refused(folder.file("d.ecsv", "# %ECSV 1.0\n" + dashes + "x\nra dec\n1 2\n"), "no YAML");
    for (std::size_t length = 12; length < whole.size(); length += 19) {
        const auto catalogue =
            standard::read_field_catalogue(folder.file("cut.ecsv", whole.substr(0, length)));
        if (!catalogue) CHECK(catalogue.error().what.ends_with('.'));
    }
    // Blank lines before the header were not counted: the problem named a line too far up.
    check_refused(folder.file("blank.ecsv",
                              "\n\n# %ECSV 1.0\n# ---\n# datatype:\n# - {name: ra, datatype: float64}\n"
                              "# - {name: dec, datatype: float64}\nra dec\n10 20\n400 20\n"),
                  "outside 0 to 360", "line 10, column 'ra'");
    // Columns described a line each, as a large survey's archive does it; units from there.
    const auto described = read(folder.file(
        "lines.ecsv",
        "# %ECSV 1.0\n# ---\n# delimiter: ','\n# datatype:\n# -\n#   name: ra\n#   datatype: float64\n"
        "#   unit: rad\n#   description: >\n#     Barycentric right ascension: at epoch\n"
        "#   meta: {ucd: pos.eq.ra;meta.main}\n# - name: dec\n#   unit: rad\n#   datatype: float64\n"
        "# meta: {ref_epoch: J2016.0, frame: icrs}\nra,dec\n1.5,0.5\n"));
    CHECK(described.stars.at(0).position.ra.radians() == Approx(1.5));
    CHECK(described.epoch_jyear == 2016.0);
    // Capitals come from a FITS header, where EPOCH is the equinox.
    CHECK_FALSE(
        read(folder.file("e.ecsv", replaced(whole, "ref_epoch: 2016.0", "EPOCH: 2000.0"))).epoch_jyear);
    CHECK(remarked(read(folder.file("f.ecsv", replaced(whole, "ref_epoch: 2016.0", "equinox: 1950.0"))),
                   "B1950"));
}

TEST_CASE("a byte changed anywhere gives a catalogue or a sentence, never harm", "[field_catalogue]") {
    const Folder folder;
    constexpr unsigned seed = 20261126;
    INFO("seed " << seed);
    std::mt19937 random(seed);
    for (const char* name :
         {"written_tabledata.vot", "written_binary.vot", "written_binary2.vot", "written.ecsv",
          "written_skycoord.ecsv", "written.fits", "written_sexagesimal.csv"}) {
        INFO(name);
        const std::string whole = bytes_of(sample(name));
        for (int trial = 0; trial < 150; ++trial) {
            std::string bytes = whole;
            for (int k = 0; k < 1 + trial % 3; ++k)
                bytes[random() % bytes.size()] = static_cast<char>(random() % 256);
            const auto catalogue = standard::read_field_catalogue(folder.file("changed", bytes));
            if (!catalogue) {
                CHECK(catalogue.error().what.ends_with('.'));
                continue;
            }
            CHECK(catalogue->stars.size() <= 13);
            for (const auto& star : catalogue->stars) {
                CHECK(std::abs(star.position.dec.degrees()) <= 90.0 + 1e-9);
                CHECK(star.err_arcsec > 0.0);
            }
            CHECK(standard::references_at(*catalogue, 2024.0).size() == catalogue->stars.size());
        }
    }
}

TEST_CASE("more stars than a field can have are refused", "[field_catalogue]") {
    const Folder folder;
    std::string text = "ra,dec\n";
    for (int i = 0; i < 1'000'010; ++i)
        text += "1,2\n";
    check_refused(folder.file("many.csv", text), "The table has 1000010 rows; 1000000 are the most.");
}
