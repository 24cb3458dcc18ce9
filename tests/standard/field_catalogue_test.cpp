// SPDX-License-Identifier: MIT
// catalogues/ holds twelve invented stars as astropy 5.2.1 writes them, in every form that it has.
#include "standard/field_catalogue.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>

using namespace emberline;

namespace {

class Folder {
  public:
    Folder() {
        std::string name = (std::filesystem::temp_directory_path() / "emberline-catalogue-XXXXXX").string();
        if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no folder for the test");
        folder_ = name;
    }
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(folder_, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    [[nodiscard]] std::string file(const std::string& name, std::string_view bytes) const {
        std::ofstream(folder_ + "/" + name, std::ios::binary) << bytes;
        return folder_ + "/" + name;
    }

  private:
    std::string folder_;
};

std::string sample(const std::string& name) {
    return std::string(EMBERLINE_TEST_DATA) + "/standard/catalogues/" + name;
}
std::string bytes_of(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    REQUIRE(in);
    return {std::istreambuf_iterator<char>(in), {}};
}
std::string replaced(std::string text, const std::string& what, const std::string& with) {
    const auto at = text.find(what);
    INFO(what);
    REQUIRE(at != std::string::npos);
    return text.replace(at, what.size(), with);
}

standard::FieldCatalogue read(const std::string& path, std::optional<double> epoch = std::nullopt) {
    auto catalogue = standard::read_field_catalogue(path, epoch);
    INFO(path);
    if (!catalogue) FAIL(one_line(catalogue.error()));
    return *catalogue;
}
standard::FieldCatalogue read_text(std::string_view text) {
    const Folder folder;
    return read(folder.file("stars.csv", text));
}

double apart_mas(const SkyPosition& a, const SkyPosition& b) {
    return separation(a, b).arcseconds() * 1000.0;
}
SkyPosition degrees(double ra, double dec) {
    return {Angle::degrees(ra), Angle::degrees(dec)};
}

bool remarked(const standard::FieldCatalogue& catalogue, const std::string& words) {
    return std::any_of(catalogue.remarks.begin(), catalogue.remarks.end(), [&](const std::string& remark) {
        CHECK(remark.ends_with('.'));
        return remark.find(words) != std::string::npos;
    });
}

// The file is refused in whole sentences that say what and where.
void check_refused(const std::string& path, const std::string& saying, const std::string& place = "") {
    const auto catalogue = standard::read_field_catalogue(path);
    INFO(path << ", expected: " << saying);
    REQUIRE_FALSE(catalogue);
    INFO(one_line(catalogue.error()));
    CHECK(catalogue.error().what.find(saying) != std::string::npos);
    CHECK(catalogue.error().what.ends_with('.'));
    CHECK(catalogue.error().where.find(path) != std::string::npos);
    CHECK(catalogue.error().where.find(place) != std::string::npos);
    CHECK(catalogue.error().mend.ends_with('.'));
}
void check_text_refused(std::string_view text, const std::string& saying, const std::string& place = "") {
    const Folder folder;
    check_refused(folder.file("stars.txt", text), saying, place);
}

// A VOTable of one table, its fields and its cells.
std::string votable(const std::string& fields, const std::string& data, const std::string& before = "") {
    return "<?xml version=\"1.0\"?>\n<VOTABLE version=\"1.4\" "
           "xmlns=\"http://www.ivoa.net/xml/VOTable/v1.3\">\n"
           "<RESOURCE type=\"results\">" +
           before + "<TABLE>\n" + fields + "\n<DATA>" + data + "</DATA></TABLE></RESOURCE></VOTABLE>\n";
}
const std::string two_fields =
    "<FIELD name=\"ra\" datatype=\"double\" unit=\"deg\"/>"
    "<FIELD name=\"dec\" datatype=\"double\" unit=\"deg\"/>";
std::string tabledata(const std::string& rows) {
    return "<TABLEDATA>" + rows + "</TABLEDATA>";
}

}  // namespace

TEST_CASE("the same stars come out of every form that another program writes", "[field_catalogue]") {
    const auto expected = read(sample("invented_stars.csv"));
    REQUIRE(expected.stars.size() == 12);
    // 1e-9 degrees, as the text has them, are 0.004 mas; of single floats in the file only magnitudes are.
    for (const char* name : {"written_tabledata.vot", "written_binary.vot", "written_binary2.vot",
                             "written.ecsv", "written_comma.ecsv", "written.fits"}) {
        INFO(name);
        const auto catalogue = read(sample(name));
        REQUIRE(catalogue.stars.size() == 12);
        CHECK(catalogue.source == sample(name));
        CHECK(catalogue.epoch_jyear == 2016.0);
        for (std::size_t i = 0; i < 12; ++i) {
            const auto& star = catalogue.stars[i];
            const auto& original = expected.stars[i];
            INFO(original.label);
            CHECK(apart_mas(star.position, original.position) < 1e-4);
            CHECK(star.label == original.label);
            REQUIRE(star.motion.has_value() == original.motion.has_value());
            REQUIRE(star.magnitude_mag.has_value() == original.magnitude_mag.has_value());
            if (star.motion) {
                CHECK(star.motion->ra_mas_per_year == Approx(original.motion->ra_mas_per_year));
                CHECK(star.motion->dec_mas_per_year == Approx(original.motion->dec_mas_per_year));
                CHECK(star.motion->parallax_mas == Approx(original.motion->parallax_mas));
            }
            if (star.magnitude_mag)
                CHECK(*star.magnitude_mag == Approx(*original.magnitude_mag).margin(1e-5));
        }
        CHECK(catalogue.remarks.empty());
    }
    CHECK_FALSE(expected.stars[5].motion);
    CHECK_FALSE(expected.stars[7].magnitude_mag);
    // Nineteen digits, which a double loses.
    CHECK(expected.stars[0].label == "3000000000000000001");
    // A CSV says nothing of units and epochs.
    CHECK_FALSE(expected.epoch_jyear);
    CHECK(remarked(expected, "not the epoch"));
    CHECK(remarked(expected, "milliarcseconds a year are taken"));
}

TEST_CASE("hours, radians, sexagesimal text and sky objects are the same places", "[field_catalogue]") {
    const auto expected = read(sample("invented_stars.csv"));
    const auto radians = read(sample("written_radians.fits"));
    const auto words = read(sample("written_sexagesimal.csv"));
    const auto objects = read(sample("written_skycoord.ecsv"));
    const auto old = read(sample("written_b1950.ecsv"));
    CHECK(remarked(radians, "are in radians"));
    CHECK(remarked(old, "B1950"));
    CHECK(objects.stars[4].label == "INV 04");
    for (std::size_t i = 0; i < 12; ++i) {
        INFO(i);
        const SkyPosition& place = expected.stars[i].position;
        CHECK(apart_mas(radians.stars.at(i).position, place) < 1e-4);
        CHECK(apart_mas(words.stars.at(i).position, place) < 0.01);
        CHECK(apart_mas(objects.stars.at(i).position, place) < 1e-4);
        // Two ways from FK4 to ICRS differ by some 0.1″.
        CHECK(apart_mas(old.stars.at(i).position, place) < 200.0);
    }
    CHECK(words.stars[0].magnitude_mag == Approx(11.88).margin(1e-6));
    const auto hours = read_text("ra_hours,dec_deg\n2.5,42\n");
    CHECK(hours.stars[0].position.ra.degrees() == Approx(37.5));
    const auto bracketed = read_text("RA [h];Dec [deg];B mag\n2.5;42;9\n");
    CHECK(bracketed.stars[0].position.ra.degrees() == Approx(37.5));
}

TEST_CASE("a service's lines of units and dashes are understood", "[field_catalogue]") {
    // The shape of lists that a large library of catalogues hands out: notes, names, units, dashes.
    const auto catalogue = read_text(
        "#\n#  a service's notes\n#Column\tRA_ICRS\n\n"
        "RA_ICRS\tDE_ICRS\te_RA_ICRS\te_DE_ICRS\tpmRA\tpmDE\tGmag\t_RAJ2000\n"
        "deg\tdeg\tmas\tmas\tarcsec/yr\tarcsec/yr\tmag\t\"h:m:s\"\n"
        "------\t------\t-----\t-----\t-----\t-----\t-----\t-----\n"
        "37.5\t+42.25\t20.0\t35.0\t0.010\t-0.200\t12.5\t02 30 00\n"
        "37.6\t+42.35\t     \t     \t     \t      \t    \t02 30 24\n");
    REQUIRE(catalogue.stars.size() == 2);
    const auto& star = catalogue.stars[0];
    CHECK(star.position.ra.degrees() == Approx(37.5).epsilon(1e-12));
    CHECK(star.err_arcsec == Approx(0.035));
    CHECK(star.motion->dec_mas_per_year == Approx(-200.0));
    CHECK(star.magnitude_mag == 12.5);
    CHECK_FALSE(catalogue.stars[1].motion);
    CHECK(catalogue.stars[1].err_arcsec == 0.1);
    // "J2000" in a name is the equinox: it says nothing of when the stars stood there.
    CHECK_FALSE(catalogue.epoch_jyear);
}

TEST_CASE("the catalogue's own main position is taken, not a derived one", "[field_catalogue]") {
    const Folder folder;
    const std::string fields =
        "<FIELD name=\"RAJ2000\" datatype=\"double\" unit=\"deg\" ucd=\"pos.eq.ra\"/>"
        "<FIELD name=\"DEJ2000\" datatype=\"double\" unit=\"deg\" ucd=\"pos.eq.dec\"/>"
        "<FIELD name=\"x\" datatype=\"double\" unit=\"deg\" ucd=\"pos.eq.ra;meta.main\"/>"
        "<FIELD name=\"y\" datatype=\"double\" unit=\"deg\" ucd=\"pos.eq.dec;meta.main\"/>"
        "<FIELD name=\"bright\" datatype=\"float\" ucd=\"phot.mag;em.opt.V\"/>";
    const auto catalogue = read(folder.file(
        "a.vot", votable(fields, tabledata("<TR><TD>1</TD><TD>2</TD><TD>3</TD><TD>4</TD><TD>5</TD></TR>"))));
    CHECK(catalogue.stars[0].position.ra.degrees() == Approx(3.0));
    CHECK(catalogue.stars[0].magnitude_mag == 5.0);
}

TEST_CASE("epochs: given, of the file, of each row; never the equinox", "[field_catalogue]") {
    const Folder folder;
    const std::string text = "ra,dec,pmra,pmdec,ref_epoch\n10,20,1000,0,2015.5\n11,20,1000,0,2015.5\n";
    const auto shared = read_text(text);
    CHECK(shared.epoch_jyear == 2015.5);
    CHECK_FALSE(shared.stars[0].epoch_jyear);
    const auto own = read_text(replaced(text, "2015.5\n11", "1991.25\n11"));
    CHECK_FALSE(own.epoch_jyear);
    CHECK(own.stars[0].epoch_jyear == 1991.25);
    const std::string path = folder.file("stars.csv", text);
    CHECK(read(path, 2000.0).epoch_jyear == 2000.0);

    const auto in_days = read_text("ra,dec,Epoch [d]\n10,20,48349.0625\n");
    CHECK(in_days.epoch_jyear == Approx(1991.25).margin(1e-6));

    // Equinox J2000, epoch 1991.25: the two attributes of one element.
    const auto catalogue = read(folder.file(
        "a.vot", votable(two_fields, tabledata("<TR><TD>1</TD><TD>2</TD></TR>"),
                         "<COOSYS ID=\"s\" system=\"eq_FK5\" equinox=\"J2000\" epoch=\"J1991.25\"/>")));
    CHECK(catalogue.epoch_jyear == 1991.25);
    const auto equinox_only =
        read(folder.file("b.vot", votable(two_fields, tabledata("<TR><TD>1</TD><TD>2</TD></TR>"),
                                          "<COOSYS ID=\"s\" system=\"eq_FK5\" equinox=\"J2000\"/>")));
    CHECK_FALSE(equinox_only.epoch_jyear);

    for (const double wrong : {15.5, 51544.5, 2451545.0, -2000.0}) {
        const auto refused = standard::read_field_catalogue(path, wrong);
        REQUIRE_FALSE(refused);
        CHECK(refused.error().what.find("no epoch that a catalogue of stars can have") != std::string::npos);
    }
    check_text_refused(replaced(text, "2015.5", "57205"), "57205 is no epoch", "line 2, column 'ref_epoch'");
    check_text_refused(replaced(text, "2015.5", "last year"), "'last year' is no epoch", "line 2");
}

TEST_CASE("references stand where the stars are at the frame's time", "[field_catalogue]") {
    const auto catalogue = read_text(
        "ra,dec,pmra,pmdec,ref_epoch,V,name\n10,20,1000,-500,2000,9.5,quick\n"
        "11,20,,,2000,10.5,unknown\n");
    const auto references = standard::references_at(catalogue, 2024.0);
    REQUIRE(references.size() == 2);
    // 24 years of 1″ on a small circle of declination 20°, to second order in 1e-4 radians.
    CHECK(references[0].position.ra.degrees() ==
          Approx(10.0 + 24.0 / 3600.0 / std::cos(20.0 * 3.14159265358979 / 180.0)).margin(1e-6));
    CHECK(references[0].position.dec.degrees() == Approx(20.0 - 12.0 / 3600.0).margin(1e-6));
    CHECK(references[0].err_arcsec == 0.1);
    CHECK(references[0].label == "quick");
    CHECK(references[0].magnitude_mag == 9.5);
    // The usual 10 mas a year over 24 years: 0.24″ more.
    CHECK(references[1].err_arcsec == Approx(std::hypot(0.1, 0.24)));
    CHECK(references[1].position.ra.degrees() == Approx(11.0).epsilon(1e-12));

    // Without an epoch the motion cannot be carried on: its size since 2000 goes into the error.
    const auto timeless = standard::references_at(read_text("ra,dec,pmra,pmdec\n10,20,300,-400\n"), 2020.0);
    CHECK(timeless[0].position.ra.degrees() == Approx(10.0).epsilon(1e-12));
    CHECK(timeless[0].err_arcsec == Approx(10.0).margin(0.01));
}

TEST_CASE("tables without magnitudes or with gaps are used, and it is said", "[field_catalogue]") {
    const auto bare = read_text("ra,dec\n10,20\n11,20\n");
    CHECK(bare.stars.size() == 2);
    CHECK(remarked(bare, "no magnitudes"));
    const auto gaps =
        read_text("name,ra,dec,V\na,10,20,9\nb,,,10\nc,11,20,--\nd,12,20,99.99\ne,13,20,bright\n");
    CHECK(gaps.stars.size() == 4);
    CHECK(remarked(gaps, "1 rows without a position"));
    CHECK(remarked(gaps, "1 cells are no numbers"));
    CHECK(gaps.stars[1].label == "c");
    CHECK_FALSE(gaps.stars[1].magnitude_mag);
    CHECK_FALSE(gaps.stars[2].magnitude_mag);
    CHECK(read_text("ra,dec,V\n").stars.empty());
    const auto wrong_unit = read_text("ra,dec,pmra [s/yr],pmdec [arcsec/yr]\n10,20,1,1\n");
    CHECK(remarked(wrong_unit, "proper motions"));
    CHECK_FALSE(wrong_unit.stars[0].motion);
    const auto too_fast = read_text("ra,dec,pmra [deg/yr],pmdec [deg/yr]\n10,20,1,1\n");
    CHECK(remarked(too_fast, "1 proper motions are impossible"));
}

TEST_CASE("what could be radians is said to be so, and taken as degrees", "[field_catalogue]") {
    const std::string text = "ra,dec,V\n0.657,0.737,9\n0.658,0.738,10\n0.659,0.739,11\n";
    const auto unsaid = read_text(text);
    CHECK(unsaid.stars[0].position.ra.degrees() == Approx(0.657).epsilon(1e-12));
    CHECK(remarked(unsaid, "as radians would"));
    const auto said = read_text(replaced(text, "ra,dec", "ra (rad),dec (rad)"));
    CHECK(said.stars[0].position.ra.radians() == Approx(0.657));
    CHECK(remarked(said, "are in radians"));
    CHECK_FALSE(remarked(read_text(text + "100,20,9\n"), "as radians would"));
}

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
    check_refused(folder.file("packed.csv.gz", "\x1f\x8b\x08nothing"), "FITS");
    check_refused(folder.file("", ""), "folder");
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

TEST_CASE("published catalogues of real fields are read right", "[field_catalogue]") {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder == nullptr || *folder == '\0') {
        WARN("SKIPPED: EMBERLINE_DATASETS is not set, so no published catalogue was read.");
        return;
    }
    const std::string catalogues = std::string(folder) + "/catalogues/";
    // Tycho-2 (Høg et al. 2000, A&A 355, L27): lines of the files as they stand.
    const auto hat = read(catalogues + "tycho2_hatp32_field.csv");
    CHECK(hat.stars.size() == 96);
    CHECK(hat.stars[0].position.ra.degrees() == Approx(30.583378).epsilon(1e-12));
    CHECK(hat.stars[0].position.dec.degrees() == Approx(46.842506).epsilon(1e-12));
    CHECK(hat.stars[0].magnitude_mag == 7.066);
    CHECK(read(catalogues + "tycho2_ngc946_field.csv").stars.size() == 53);
    CHECK(read(catalogues + "tycho2_panoptes_field.csv").stars.size() == 573);
    // TPhe A: 00 30 09.594 −46 31 28.91, V 14.651 (Landolt 1992, AJ 104, 340; Landolt 2009, AJ 137, 4186).
    const auto standards = read(catalogues + "landolt_all.csv");
    CHECK(standards.stars.size() == 930);
    const auto tphe = std::find_if(standards.stars.begin(), standards.stars.end(),
                                   [](const auto& star) { return star.label == "TPhe A"; });
    REQUIRE(tphe != standards.stars.end());
    CHECK(apart_mas(tphe->position,
                    {*parse_right_ascension("00:30:09.594"), *parse_declination("-46:31:28.91")}) < 1.0);
    CHECK(tphe->magnitude_mag == 14.651);
    CHECK(apart_mas(read(catalogues + "sn2011fe_field_comparison_stars.csv").stars[0].position,
                    degrees(210.95775, 54.15161)) < 1e-3);
}
