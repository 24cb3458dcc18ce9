// SPDX-License-Identifier: MIT
// catalogues/ holds twelve invented stars as astropy 5.2.1 writes them, in every form that it has.
#include "standard/field_catalogue.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "catalogue_files.hpp"

using namespace emberline;
using test::apart_mas;
using test::check_text_refused;
using test::degrees;
using test::Folder;
using test::read;
using test::read_text;
using test::remarked;
using test::replaced;
using test::sample;
using test::tabledata;
using test::two_fields;
using test::votable;

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
