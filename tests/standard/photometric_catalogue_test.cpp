// SPDX-License-Identifier: MIT
// Rows are invented, in the columns of the surveys' own archives and of the services that mirror them.
#include "standard/photometric_catalogue.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>

#include "catalogue_files.hpp"

using namespace emberline;
using namespace emberline::standard;
using emberline::test::Folder;

namespace {

std::string written(const std::string& name) {
    return std::string(EMBERLINE_TEST_DATA) + "/standard/photometric/" + name;
}

PhotometricCatalogue read(const std::string& path) {
    auto catalogue = read_photometric_catalogue(path);
    INFO(path);
    if (!catalogue) FAIL(one_line(catalogue.error()));
    return *catalogue;
}
PhotometricCatalogue read_text(std::string_view text) {
    const Folder folder;
    return read(folder.file("stars.csv", text));
}
Problem refused(std::string_view text) {
    const Folder folder;
    const auto catalogue = read_photometric_catalogue(folder.file("stars.csv", text));
    REQUIRE_FALSE(catalogue);
    CHECK(catalogue.error().what.ends_with('.'));
    CHECK(catalogue.error().mend.ends_with('.'));
    CHECK(catalogue.error().where.find("stars.csv") != std::string::npos);
    return catalogue.error();
}

bool remarked(const std::vector<std::string>& remarks, const std::string& words) {
    return std::any_of(remarks.begin(), remarks.end(),
                       [&](const std::string& r) { return r.find(words) != std::string::npos; });
}

Band band(const char* name) {
    return *parse_band(name);
}
// The one star of a table on one band.
std::optional<ValueWithError> only(const PhotometricCatalogue& catalogue, const char* name) {
    REQUIRE(catalogue.stars.size() == 1);
    const auto stars = on_bands(catalogue, {band(name)}, 2026.5);
    if (stars.stars.empty()) return std::nullopt;
    return stars.stars.front().magnitudes.at(band(name));
}
std::string by(const PhotometricCatalogue& catalogue, const char* name) {
    const auto stars = on_bands(catalogue, {band(name)}, 2026.5);
    REQUIRE_FALSE(stars.stars.empty());
    return stars.stars.front().by.at(band(name));
}

}  // namespace

TEST_CASE("Gaia DR3 in four kinds of file, written by astropy 5.2.1, is one catalogue",
          "[standard][surveys]") {
    for (const char* name : {"gaia.csv", "gaia.ecsv", "gaia.vot", "gaia.fits"}) {
        const auto catalogue = read(written(name));
        INFO(name);
        CHECK(catalogue.survey == "Gaia DR3");
        CHECK(catalogue.system == "gaia-dr3");
        REQUIRE(catalogue.epoch_jyear);
        CHECK(*catalogue.epoch_jyear == 2016.0);
        REQUIRE(catalogue.stars.size() == 4);
        const PhotometricStar& first = catalogue.stars[0];
        CHECK(first.star.label == "3400000000000000101");  // beyond what a double keeps
        CHECK(first.row == 1);
        CHECK(first.native.at("G").value == 13.0);
        // 1.0857362 / 2000 = 0.00054287, with the floor of 0.003: 0.0030487.
        CHECK(first.native.at("G").err == Approx(0.0030487).margin(1e-7));
        // 1.0857362 / 200 = 0.0054287, with the floor: 0.0062025.
        CHECK(first.native.at("BP").err == Approx(0.0062025).margin(1e-7));
        CHECK_FALSE(first.marks.any());
        CHECK(catalogue.stars[1].marks.variable);
        CHECK_FALSE(catalogue.stars[1].marks.several);  // RUWE 1.39
        CHECK(catalogue.stars[2].marks.several);        // 1.41
        CHECK(catalogue.stars[2].marks.why.find("1.4") != std::string::npos);
        CHECK(catalogue.stars[3].native.size() == 1);  // BP and RP are masked

        const auto stars = on_bands(catalogue, {band("V"), band("TG"), band("B")}, 2026.5);
        REQUIRE(stars.stars.size() == 3);  // without the one that has no colour
        // 10.5 years of 350 and −420 mas a year: astropy 5.2.1, SkyCoord.apply_space_motion.
        CHECK(test::apart_mas(stars.stars[0].position,
                              test::degrees(150.00108633968895, 19.998774996690443)) < 0.1);
        const ValueWithError v = stars.stars[0].magnitudes.at(band("V"));
        CHECK(v.value == Approx(13.1524701).epsilon(0).margin(1e-7));
        // BP − RP = 0.82, slope −0.01424 + 0.4312 · 0.82 − 0.04278 · 0.82² = 0.310579; its error, of
        // 0.0062025 and 0.0052783, 0.0081442: √(0.0030487² + (0.310579 · 0.0081442)² + 0.03017²) = 0.030429.
        CHECK(v.err == Approx(0.030429).margin(1e-6));
        CHECK(stars.stars[0].by.at(band("V")) == "Riello V");
        CHECK(stars.stars[0].magnitudes.size() == 1);  // TG is put on V, and no relation leads to B
        CHECK(stars.stars[1].marks.variable);
        CHECK(remarked(stars.remarks, "V of 1 star: none. BP is missing"));
        CHECK(remarked(stars.remarks, "B of 4 stars: none. No published relation"));
    }
}

TEST_CASE("Gaia as a mirror writes it: units and dashes below the names, fluxes, flags",
          "[standard][surveys]") {
    const std::string head =
        "#RESOURCE=invented\n"
        "RA_ICRS\tDE_ICRS\tSource\tRUWE\tFG\te_FG\tGmag\te_BPmag\tBPmag\tRPmag\te_"
        "RPmag\tDup\tVarFlag\tNSS\tGal\t"
        "E_BP_RP\n"
        "deg\tdeg\t \t \te-/s\te-/s\tmag\tmag\tmag\tmag\tmag\t \t \t \t \t \n"
        "---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\t---\n";
    const auto star = [](const std::string& dec, const std::string& rest) {
        return "150.0\t" + dec + "\t34\t1.0\t1000\t5\t13.0\t0.004\t13.35\t12.53\t0.004\t" + rest + "\n";
    };
    // At BP − RP = 0.82 a star's factor is 1.162004 + 0.0094 + 0.033119 − 0.003242 = 1.201282, and at G = 13
    // its scatter 0.0059898 + 8.817481e-12 · 13^7.618399 = 0.00869 (Riello 2021, from memory): five are
    // 0.0435.
    const auto catalogue = read_text(
        head + star("20.0", "0\tNOT_AVAILABLE\t0\t0\t1.240") + star("20.1", "1\tNOT_AVAILABLE\t0\t0\t1.201") +
        star("20.2", "0\tVARIABLE\t0\t0\t1.201") + star("20.3", "0\tNOT_AVAILABLE\t1\t0\t1.201") +
        star("20.4", "0\tNOT_AVAILABLE\t0\t1\t1.201") + star("20.5", "0\tNOT_AVAILABLE\t0\t0\t1.250"));
    REQUIRE(catalogue.stars.size() == 6);
    CHECK(catalogue.survey == "Gaia DR3");
    // 1.0857362 · 5 / 1000 = 0.0054287, with the floor 0.0062025.
    CHECK(catalogue.stars[0].native.at("G").err == Approx(0.0062025).margin(1e-7));
    CHECK_FALSE(catalogue.stars[0].marks.any());
    CHECK(catalogue.stars[1].marks.several);
    CHECK(catalogue.stars[2].marks.variable);
    CHECK(catalogue.stars[3].marks.several);
    CHECK(catalogue.stars[4].marks.extended);
    CHECK(catalogue.stars[5].marks.doubtful);
    const auto second = read_text(
        "ra,dec,ref_epoch,phot_g_mean_mag,phot_bp_mean_mag,phot_rp_mean_mag\n150,20,2015.5,13,13.4,12.5\n");
    CHECK(remarked(second.remarks, "second release"));
    CHECK(remarked(second.remarks, "3 magnitudes have no error: 0.05 mag is taken"));
}

TEST_CASE("Pan-STARRS in its own names and a mirror's", "[standard][surveys]") {
    const std::string head =
        "objID,raMean,decMean,nDetections,qualityFlag,objInfoFlag,gMeanPSFMag,gMeanPSFMagErr,rMeanPSFMag,"
        "rMeanPSFMagErr,iMeanPSFMag,iMeanPSFMagErr,iMeanKronMag\n";
    const std::string mags = "15.234,0.003,14.789,0.004,14.621,0.005,";
    const auto own = read_text(
        head + "1,150.0,20.0,40,52,436486144," + mags + "14.640\n" + "2,150.0,20.1,40,52,436486144," + mags +
        "14.540\n" + "3,150.0,20.2,2,52,436486144," + mags + "-999\n" + "4,150.0,20.3,40,53,436486144," +
        mags + "14.640\n" + "5,150.0,20.4,40,52,8388608," + mags + "14.640\n" + "6,150.0,20.5,40,52,128," +
        mags + "14.640\n" + "7,150.0,20.6,40,52,0,-999,-999,14.789,0.004,14.621,0.005,14.640\n");
    CHECK(own.survey == "Pan-STARRS DR1");
    REQUIRE(own.stars.size() == 7);
    CHECK_FALSE(own.stars[0].marks.extended);  // Kron fainter than the point's
    CHECK(own.stars[1].marks.extended);        // 0.081 brighter
    CHECK(own.stars[2].marks.doubtful);
    CHECK_FALSE(own.stars[2].marks.extended);  // no Kron magnitude: -999
    CHECK(own.stars[3].marks.extended);
    CHECK(own.stars[4].marks.extended);
    CHECK(own.stars[5].marks.variable);
    CHECK_FALSE(own.stars[6].native.contains("gP1"));
    const auto stars = on_bands(own, {band("B"), band("V"), band("Rc"), band("Ic"), band("g")}, 2026.5);
    REQUIRE(stars.stars.size() == 6);
    const StandardStar& first = stars.stars[0];
    // Tonry et al. 2012, table 6: the worked point; the scatter is from memory.
    CHECK(first.magnitudes.at(band("B")).value == Approx(15.708215).margin(1e-9));
    CHECK(first.magnitudes.at(band("V")).value == Approx(15.005930).margin(1e-9));
    CHECK(first.magnitudes.at(band("Rc")).value == Approx(14.592705).margin(1e-9));
    CHECK(first.magnitudes.at(band("Ic")).value == Approx(14.187695).margin(1e-9));
    CHECK(first.by.at(band("V")) == "Tonry V");
    // The survey's g is not SDSS's: 15.234 + 0.013 + 0.145 · 0.445 + 0.019 · 0.445² (from memory).
    CHECK(first.magnitudes.at(band("g")).value == Approx(15.315287475).margin(1e-9));
    CHECK(first.by.at(band("g")) == "Tonry g");

    // Brighter than 14 in one of its bands.
    const auto bright = read_text(head + "1,150.0,20.0,40,52,0,14.4,0.003,13.99,0.004,14.0,0.005,14.0\n");
    CHECK(bright.stars[0].marks.doubtful);
    CHECK(bright.stars[0].marks.why.find("saturates") != std::string::npos);

    const auto mirror = read_text(
        "RAJ2000;DEJ2000;objID;Qual;Nd;gmag;e_gmag;rmag;e_rmag;imag;e_imag;zmag;e_zmag;ymag;e_ymag\n"
        "150.0;20.0;1;52;30;15.234;0.003;14.789;0.004;14.621;0.005;14.5;0.01;14.4;0.01\n");
    CHECK(mirror.survey == "Pan-STARRS DR1");
    CHECK(only(mirror, "V")->value == Approx(15.005930).margin(1e-9));
    CHECK(mirror.stars[0].native.at("yP1").value == 14.4);
    // Three columns that both surveys have: said so.
    const std::string three = "150.0,20.0,15.234,0.003,14.789,0.004,14.621,0.005";
    const auto either = read_text("RAJ2000,DEJ2000,gmag,e_gmag,rmag,e_rmag,imag,e_imag\n" + three + "\n");
    CHECK(either.survey == "a table of magnitudes");
    CHECK(remarked(either.remarks, "SDSS's or Pan-STARRS's"));
    const auto told =
        read_text("RAJ2000,DEJ2000,gmag,e_gmag,rmag,e_rmag,imag,e_imag,Qual\n" + three + ",52\n");
    CHECK(told.survey == "Pan-STARRS DR1");
    CHECK_FALSE(remarked(told.remarks, "SDSS's or Pan-STARRS's"));
}

TEST_CASE("SDSS: magnitudes of points, galaxies, what is not clean", "[standard][surveys]") {
    const std::string head =
        "objID,ra,dec,type,clean,psfMag_u,psfMagErr_u,psfMag_g,psfMagErr_g,psfMag_r,psfMagErr_r,psfMag_i,"
        "psfMagErr_i,"
        "psfMag_z,psfMagErr_z,modelMag_r\n";
    const std::string mags = "16.48,0.01,15.234,0.006,14.789,0.008,14.621,0.01,14.55,0.01,";
    const auto own =
        read_text(head + "1,150.0,20.0,6,1," + mags + "14.78\n" + "2,150.0,20.1,3,1," + mags + "14.78\n" +
                  "3,150.0,20.2,6,0," + mags + "14.78\n" + "4,150.0,20.3,6,1," + mags + "14.60\n" +
                  "5,150.0,20.4,6,1,16.48,0.01,15.234,0.006,-9999,-9999,14.621,0.01,14.55,0.01,-9999\n");
    CHECK(own.survey == "SDSS");
    REQUIRE(own.stars.size() == 5);
    CHECK_FALSE(own.stars[0].marks.any());
    CHECK(own.stars[1].marks.extended);
    CHECK(own.stars[2].marks.doubtful);
    CHECK(own.stars[3].marks.extended);  // 0.189 brighter than a point
    const auto stars =
        on_bands(own, {band("V"), band("B"), band("Rc"), band("Ic"), band("g"), band("r")}, 2026.5);
    REQUIRE(stars.stars.size() == 5);
    const StandardStar& first = stars.stars[0];
    CHECK(first.magnitudes.at(band("V")).value == Approx(14.972812).margin(1e-9));  // Lupton 2005
    // The floor of 0.01 first: g 0.011662, r 0.012806. g 1 − 0.5784 = 0.4216, r 0.5784:
    // √((0.4216 · 0.011662)² + (0.5784 · 0.012806)² + 0.0054²) = 0.010401.
    CHECK(first.magnitudes.at(band("V")).err == Approx(0.010401).margin(2e-6));
    CHECK(first.by.at(band("g")) == "catalogue");
    CHECK(first.magnitudes.at(band("g")).value == 15.234);
    // Without r the second relation: V = g − 0.2906 (u − g) + 0.0885 = 15.234 − 0.2906 · 1.246 + 0.0885.
    CHECK(stars.stars[4].by.at(band("V")) == "Lupton V (u-g)");
    CHECK(stars.stars[4].magnitudes.at(band("V")).value == Approx(14.9604124).margin(1e-9));
    CHECK(stars.stars[4].by.at(band("Ic")) == "Lupton I (i-z)");
    CHECK_FALSE(stars.stars[4].magnitudes.contains(band("r")));

    const auto mirror = read_text(
        "RA_ICRS,DE_ICRS,class,Q,umag,e_umag,gmag,e_gmag,rmag,e_rmag,imag,e_imag,zmag,e_zmag\n"
        "150.0,20.0,6,3,16.48,0.01,15.234,0.006,14.789,0.008,14.621,0.01,14.55,0.01\n"
        "150.0,20.1,3,3,16.48,0.01,15.234,0.006,14.789,0.008,14.621,0.01,14.55,0.01\n"
        "150.0,20.2,6,1,16.48,0.01,15.234,0.006,14.789,0.008,14.621,0.01,14.55,0.01\n");
    CHECK(mirror.survey == "SDSS");
    CHECK_FALSE(mirror.stars[0].marks.any());
    CHECK(mirror.stars[1].marks.extended);
    CHECK(mirror.stars[2].marks.doubtful);
}

TEST_CASE("APASS has its own B and V, and SDSS's bands beside them", "[standard][surveys]") {
    const auto mirror = read_text(
        "RAJ2000,DEJ2000,nobs,Vmag,e_Vmag,Bmag,e_Bmag,\"g'mag\",\"e_g'mag\",\"r'mag\",\"e_r'mag\",\"i'mag\","
        "\"e_i'mag\"\n"
        "150.0,20.0,5,14.95,0.03,15.60,0.04,15.234,0.03,14.789,0.03,14.621,0.03\n");
    CHECK(mirror.survey == "APASS");
    CHECK(only(mirror, "V")->value == 14.95);
    // 0.03 and the survey's floor of 0.02.
    CHECK(only(mirror, "V")->err == Approx(0.0360555).margin(1e-7));
    CHECK(by(mirror, "V") == "catalogue");
    CHECK(by(mirror, "r") == "catalogue");
    CHECK(by(mirror, "Rc") == "Lupton R (r-i)");
    CHECK(only(mirror, "Rc")->value == Approx(14.5957752).margin(1e-9));

    const auto own = read_text(
        "radeg,raerr(arcsec),decdeg,decerr(arcsec),number_of_Obs,Johnson_V (V),Verr,Johnson_B (B),Berr,"
        "Sloan_g (SG),gerr,Sloan_r (SR),rerr,Sloan_i (SI),ierr\n"
        "150.0,0.3,20.0,0.3,1,14.95,0,15.60,0.04,15.234,0.03,14.789,0.03,99.999,99.999\n");
    CHECK(own.survey == "APASS");
    REQUIRE(own.stars.size() == 1);
    CHECK(own.stars[0].marks.doubtful);  // once
    CHECK(own.stars[0].marks.why.find("once") != std::string::npos);
    // An error of 0, of one observation, is none: 0.05 and 0.02.
    CHECK(only(own, "V")->err == Approx(0.0538516).margin(1e-7));
    CHECK_FALSE(own.stars[0].native.contains("i"));
    CHECK(by(own, "Rc") == "Lupton R (g-r)");
}

TEST_CASE("a list of standards: V and colours", "[standard][surveys]") {
    const auto list = read_text(
        "Name,RA,DEC,V,B-V,U-B,V-R,R-I,V-I,Nobs,e_V,e_B-V,e_U-B,e_V-R,e_R-I,e_V-I\n"
        "Invented "
        "1,16:35:26,+09:47:53,15.256,0.873,0.320,0.505,0.511,1.015,9,0.003,0.004,0.012,0.002,0.003,0.004\n"
        "Invented 2,16:35:36,+09:48:53,14.1,0.7,,0.4,0.4,,1,,,,,,\n");
    CHECK(list.survey == "a list of standards");
    REQUIRE(list.stars.size() == 2);
    const NativeMagnitudes& first = list.stars[0].native;
    CHECK(first.at("B").value == Approx(16.129).margin(1e-9));
    CHECK(first.at("U").value == Approx(16.449).margin(1e-9));
    CHECK(first.at("Rc").value == Approx(14.751).margin(1e-9));
    CHECK(first.at("Ic").value == Approx(14.241).margin(1e-9));  // by V − I
    CHECK(first.at("B").err == Approx(0.005).margin(1e-9));      // of 0.003 and 0.004
    CHECK_FALSE(list.stars[0].marks.any());
    const NativeMagnitudes& second = list.stars[1].native;
    CHECK(second.at("Ic").value == Approx(13.3).margin(1e-9));  // by V − R and R − I
    CHECK_FALSE(second.contains("U"));
    CHECK(second.at("V").err == 0.05);
    CHECK(list.stars[1].marks.doubtful);
    const auto stars = on_bands(list, {band("g"), band("i"), band("B")}, 2026.5);
    CHECK(stars.stars[0].by.at(band("g")) == "Jester g");
    CHECK(stars.stars[0].magnitudes.at(band("g")).value == Approx(15.6598).margin(1e-9));
    CHECK(stars.stars[0].by.at(band("i")) == "Jester i");
}

TEST_CASE("Landolt's standards are read as published", "[standard][surveys]") {
    const char* folder = std::getenv("EMBERLINE_DATASETS");
    if (folder == nullptr) {
        WARN("EMBERLINE_DATASETS is not set: Landolt's list is not read");
        return;
    }
    const auto list = read(std::string(folder) + "/catalogues/landolt_all.csv");
    CHECK(list.survey == "a list of standards");
    CHECK(list.stars.size() > 900);
    const auto find = [&](const std::string& label) -> const PhotometricStar& {
        const auto found = std::find_if(list.stars.begin(), list.stars.end(),
                                        [&](const PhotometricStar& s) { return s.star.label == label; });
        REQUIRE(found != list.stars.end());
        return *found;
    };
    struct Row {
        const char* label;
        double ra_deg, dec_deg, v, b_v, u_b, v_r, v_i;
    };
    // Landolt 1992, AJ 104, 340, from memory but for PG1633+099A. The list has his later means: some
    // millimagnitudes away where he went on observing, hundredths in U.
    for (const Row& row : {Row{"TPhe A", 7.5375, -46.5228, 14.651, 0.793, 0.380, 0.435, 0.841},
                           Row{"SA 98-650", 103.0208, -0.3278, 12.271, 0.157, 0.110, 0.080, 0.166},
                           Row{"SA 98-671", 103.05, -0.3061, 13.385, 0.968, 0.719, 0.575, 1.071},
                           Row{"SA 98-685", 103.0792, -0.3386, 11.954, 0.463, 0.096, 0.290, 0.570},
                           Row{"Ru 149", 111.0599, -0.5512, 13.866, -0.129, -0.779, -0.040, -0.108},
                           Row{"PG1633+099A", 248.8583, 9.7981, 15.256, 0.873, 0.320, 0.505, 1.015},
                           Row{"PG1323-086B", 201.4610, -8.8486, 13.406, 0.761, 0.265, 0.426, 0.833},
                           Row{"SA 114-670", 340.5375, 1.1714, 11.101, 1.206, 1.223, 0.645, 1.208}}) {
        INFO(row.label);
        const PhotometricStar& star = find(row.label);
        // Positions of 1992 are to a second of time, 15″.
        CHECK(separation(star.star.position, test::degrees(row.ra_deg, row.dec_deg)).arcseconds() < 25.0);
        const auto mag = [&](const char* name) { return star.native.at(name).value; };
        CHECK(mag("V") == Approx(row.v).epsilon(0).margin(0.0041));
        CHECK(mag("B") - mag("V") == Approx(row.b_v).epsilon(0).margin(0.0041));
        CHECK(mag("U") - mag("B") == Approx(row.u_b).epsilon(0).margin(0.0161));
        CHECK(mag("V") - mag("Rc") == Approx(row.v_r).epsilon(0).margin(0.0041));
        CHECK(mag("V") - mag("Ic") == Approx(row.v_i).epsilon(0).margin(0.0051));
        CHECK(star.native.at("V").err < 0.03);
    }
}

TEST_CASE("a table of magnitudes, its columns named as bands", "[standard][surveys]") {
    for (const char* head :
         {"ra,dec,name,V,V_err,B,B_err", "ra,dec,name,Vmag,e_Vmag,Bmag,e_Bmag",
          "ra,dec,name,V_mag,e_V_mag,B_mag,e_B_mag", "ra,dec,name,mag_V,mag_V_err,mag_B,mag_B_err",
          "ra,dec,name,V,sigma_V,B,sigma_B", "ra,dec,name,V [mag],eV,B [mag],eB"}) {
        INFO(head);
        const auto table = read_text(std::string(head) + "\n150.0,20.0,a,14.95,0.03,15.60,0.04\n");
        CHECK(table.survey == "a table of magnitudes");
        CHECK(*only(table, "V") == ValueWithError{14.95, 0.03});
        CHECK(*only(table, "B") == ValueWithError{15.60, 0.04});
    }
    // By units and meanings: errors in thousandths, a velocity V and a latitude B that are no magnitudes.
    const auto vot = read_text(test::votable(
        test::two_fields + "<FIELD name=\"Vmag\" datatype=\"double\" unit=\"mag\"/>"
                           "<FIELD name=\"e_Vmag\" datatype=\"double\" unit=\"mmag\"/>"
                           "<FIELD name=\"B\" datatype=\"double\" unit=\"deg\"/>"
                           "<FIELD name=\"blue\" datatype=\"double\" unit=\"mag\" ucd=\"phot.mag;em.opt.U\"/>"
                           "<FIELD name=\"blue_off\" datatype=\"double\" unit=\"mag\" "
                           "ucd=\"stat.error;phot.mag;em.opt.U\"/>",
        test::tabledata("<TR><TD>150</TD><TD>20</TD><TD>14.95</TD><TD>30</TD><TD>12</TD><TD>16.2</"
                        "TD><TD>0.05</TD></TR>")));
    CHECK(vot.stars.at(0).native == NativeMagnitudes{{"V", {14.95, 0.03}}, {"U", {16.2, 0.05}}});
    CHECK(refused("ra,dec,V [km/s]\n150,20,12\n").what.find("no magnitude of a band") != std::string::npos);
    // Of a list of secondary standards: B, V, R, I, each with its sigma and number.
    const auto secondary = read_text(
        "star,ra,dec,B,sB,nB,V,sV,nV,R,sR,nR,I,sI,nI\n"
        "L1,10:00:00.0,+20:00:00,15.6,0.002,8,14.95,0.003,9,14.6,0.004,8,99.999,9.999,0\n");
    CHECK(*only(secondary, "V") == ValueWithError{14.95, 0.003});
    CHECK(*only(secondary, "Rc") == ValueWithError{14.6, 0.004});
    CHECK_FALSE(only(secondary, "Ic"));
    // A published sequence: data/comparison_sequence_2011fe.csv names its source.
    const auto sequence = read(std::string(EMBERLINE_TEST_DATA) + "/comparison_sequence_2011fe.csv");
    CHECK(sequence.stars.front().native.at("Ic") == ValueWithError{11.006, 0.054});
    CHECK(sequence.stars.front().star.label == "117");
}

TEST_CASE("every way to write that there is no magnitude", "[standard][surveys]") {
    const auto v = [](const std::string& cell, const std::string& err) {
        const auto table =
            read_text("ra,dec,V,V_err,B,B_err\n150.0,20.0," + cell + "," + err + ",15.6,0.04\n");
        REQUIRE(table.stars.size() == 1);
        return table.stars[0].native.contains("V");
    };
    for (const char* none : {"",       " ",     "null", "NULL",  "NaN",    "nan", "--",   "-",      "N/A",
                             "inf",    "99",    "99.9", "99.99", "99.999", "999", "-99",  "-99.99", "-999",
                             "-999.0", "-9999", "9999", "1e20",  "9.999",  "0",   "0.000"}) {
        INFO("'" << none << "'");
        CHECK_FALSE(v(none, ""));
        CHECK_FALSE(v(none, "9.999"));
    }
    // A star may be of that magnitude where its error says that it was measured.
    CHECK(v("9.999", "0.02"));
    CHECK(v("9.99", ""));
    CHECK(v("0.03", ""));
    CHECK_FALSE(v("99.99", "0.02"));
    const auto table = read_text("ra,dec,V,V_err\n150,20,99.99,9.99\n150,20.1,14,0.01\n150,20.2,,\n");
    CHECK(table.stars.size() == 1);
    CHECK(remarked(table.remarks, "2 rows have no magnitude"));
    CHECK(remarked(table.remarks, "1 magnitudes are fillers"));
}

TEST_CASE("a table without a usable band is refused, and says what is there", "[standard][surveys]") {
    const Problem other = refused("ra,dec,name,W1mag,W2mag\n150,20,a,11,12\n");
    CHECK(other.what.find("no magnitude of a band") != std::string::npos);
    CHECK(other.where.find("'W1mag'") != std::string::npos);
    CHECK(other.mend.find("Gaia") != std::string::npos);
    CHECK(refused("ra,dec,V,V_err\n150,20,99.99,9.99\n150,20.1,,\n").what ==
          "None of the 2 rows has a magnitude.");
    // In a VOTable too.
    const Problem vot =
        refused(test::votable(test::two_fields + "<FIELD name=\"W1mag\" datatype=\"double\"/>",
                              test::tabledata("<TR><TD>150</TD><TD>20</TD><TD>11</TD></TR>")));
    CHECK(vot.what.find("no magnitude of a band") != std::string::npos);
    CHECK(refused("name,V,V_err\na,14,0.1\n").what.find("right ascension") != std::string::npos);
    CHECK_FALSE(read_photometric_catalogue("/nowhere/stars.csv"));
}

TEST_CASE("a star that stands twice is one, and keeps what was said against it", "[standard][surveys]") {
    const std::string head = "name,ra,dec,V,V_err,var\n";
    // Half an arcsecond apart: the better measured row stays, with the other's mark.
    const auto twice = read_text(head + "a,150.0,20.0,14.00,0.05,1\nb,150.0,20.000139,14.02,0.01,0\n");
    REQUIRE(twice.stars.size() == 1);
    CHECK(twice.stars[0].native.at("V").value == 14.02);
    CHECK(twice.stars[0].row == 2);
    CHECK(twice.stars[0].marks.variable);
    CHECK(remarked(twice.remarks, "1 stars stand twice"));
    // As near, but of another light, and another name: two stars.
    CHECK(read_text(head + "a,150.0,20.0,14.00,0.05,0\nb,150.0,20.000139,15.02,0.01,0\n").stars.size() == 2);
    // One name: one star.
    CHECK(read_text(head + "a,150.0,20.0,14.00,0.05,0\na,150.0,20.000139,15.02,0.01,0\n").stars.size() == 1);
    // Two arcseconds apart: two.
    CHECK(read_text(head + "a,150.0,20.0,14.00,0.05,0\nb,150.0,20.000556,14.0,0.05,0\n").stars.size() == 2);
    // Across 0h.
    CHECK(read_text(head + "a,359.9999,0.0,14,0.05,0\nb,0.0001,0.0,14,0.05,0\n").stars.size() == 1);
}

TEST_CASE("files as they come: marks of byte order, line ends, quotes, mixed positions, cut ones",
          "[standard][surveys]") {
    const auto mixed = read_text(
        "\xEF\xBB\xBFname,ra,dec,V,V_err\r\n\"a, the first\",150.0,20.0,14.0,0.01\r\n"
        "b,10:00:24,+20:06:00,14.5,0.01\r\nc,10h00m48s,20d12m00s,15.0,0.01\r\n");
    REQUIRE(mixed.stars.size() == 3);
    CHECK(mixed.stars[0].star.label == "a, the first");
    CHECK(test::apart_mas(mixed.stars[1].star.position, test::degrees(150.1, 20.1)) < 0.01);
    CHECK(test::apart_mas(mixed.stars[2].star.position, test::degrees(150.2, 20.2)) < 0.01);
    CHECK(refused("ra,dec,V,V_err\n150.0,20.0,14.0,0.01\n150.1,20.").where.find("line 3") !=
          std::string::npos);
    // Cut anywhere, a file is read or refused in words.
    for (const char* name : {"gaia.csv", "gaia.ecsv", "gaia.vot", "gaia.fits"}) {
        const std::string whole = test::bytes_of(written(name));
        const Folder folder;
        std::size_t refusals = 0;
        for (std::size_t n = 0; n < whole.size(); n += 1 + whole.size() / 60) {
            const auto cut = read_photometric_catalogue(folder.file("cut", whole.substr(0, n)));
            if (cut) continue;
            ++refusals;
            INFO(name << " cut after " << n << ": " << one_line(cut.error()));
            CHECK(cut.error().what.ends_with('.'));
            CHECK_FALSE(cut.error().where.empty());
        }
        CHECK(refusals > 10);
    }
}

TEST_CASE("an epoch that is given wins, and without one positions stay", "[standard][surveys]") {
    const std::string rows = "ra,dec,pmra,pmdec,V,V_err\n150.0,20.0,1000,0,14.0,0.01\n";
    const Folder folder;
    const std::string path = folder.file("stars.csv", rows);
    const auto timeless = read_photometric_catalogue(path);
    REQUIRE(timeless);
    CHECK(remarked(timeless->remarks, "not the epoch"));
    const auto position = [](const PhotometricCatalogue& c) {
        return on_bands(c, {band("V")}, 2026.0).stars[0].position;
    };
    CHECK(test::apart_mas(position(*timeless), test::degrees(150.0, 20.0)) < 0.01);
    const auto dated = read_photometric_catalogue(path, 2016.0);
    REQUIRE(dated);
    CHECK(test::apart_mas(position(*dated), test::degrees(150.0, 20.0)) == Approx(10000.0).margin(1.0));
}
