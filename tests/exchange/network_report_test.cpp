// SPDX-License-Identifier: MIT
// Lengths: tests/data/exchange/network_limits.csv. Other rules, unless marked: aavso.org, Extended File
// Format 1.2 (2011-07-27, update 2021-12-02).
#include "exchange/network_report.hpp"

#include <catch2/catch.hpp>
#include <functional>
#include <limits>
#include <map>
#include <random>

#include "exchange/report_samples.hpp"
#include "expected_table.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using test::sample_observation;
using test::sample_report;

std::string line_of(const NetworkObservation& o) {
    const auto line = write_network_line(o, ",");
    INFO((line ? std::string() : one_line(line.error())));
    REQUIRE(line);
    return *line;
}

Problem refusal_of(const NetworkObservation& o) {
    const auto line = write_network_line(o, ",");
    REQUIRE_FALSE(line);
    return line.error();
}

TEST_CASE("A report is the six parameters, a line of titles and one line an observation", "[network]") {
    const auto text = write_network_report(sample_report());
    REQUIRE(text);
    CHECK(*text ==
          "#TYPE=Extended\n#OBSCODE=XYZ\n#SOFTWARE=Emberline 0.1.0\n#DELIM=,\n#DATE=JD\n#OBSTYPE=CCD\n"
          "#NAME,DATE,MAG,MERR,FILT,TRANS,MTYPE,CNAME,CMAG,KNAME,KMAG,AMASS,GROUP,CHART,NOTES\n"
          "DEMO SN 1,2460344.51234,15.234,0.012,V,NO,STD,126,-9.876,131,-9.400,1.234,7,X00000,"
          "12 frames combined|CMAGINS=-9.876|CREFMAG=12.600|KMAGINS=-9.400|KMAGSTD=13.076\n");
}

TEST_CASE("The specification's example facts come out as its line would have them", "[network]") {
    // SS Cyg in V, and an ensemble in B: the specification's examples, from memory, to verify.
    NetworkObservation single;
    single.star = "SS CYG";
    single.date = 2450702.1234;
    single.magnitude_mag = 11.135;
    single.err_mag = 0.003;
    single.filter = "V";
    single.comparison_name = "105";
    single.chart = "X16382L";
    CHECK(line_of(single) == "SS CYG,2450702.12340,11.135,0.003,V,NO,STD,105,na,na,na,na,na,X16382L,na");
    NetworkObservation ensemble = single;
    ensemble.magnitude_mag = 11.235;
    ensemble.filter = "B";
    ensemble.comparison_name = "ENSEMBLE";
    ensemble.check_name = "105";
    ensemble.check_mag = 10.593;
    ensemble.airmass = 1.561;
    ensemble.group = 1;
    CHECK(line_of(ensemble) ==
          "SS CYG,2450702.12340,11.235,0.003,B,NO,STD,ENSEMBLE,na,105,10.593,1.561,1,X16382L,na");
}

TEST_CASE("Each published length is held: the last character that fits is written, the next refused by field",
          "[network]") {
    using O = NetworkObservation;
    const std::map<std::string, std::function<void(O&, std::size_t)>> of_length = {
        {"STARID", [](O& o, std::size_t n) { o.star = std::string(n, 'S'); }},
        {"CNAME", [](O& o, std::size_t n) { o.comparison_name = std::string(n, 'C'); }},
        {"KNAME", [](O& o, std::size_t n) { o.check_name = std::string(n, 'K'); }},
        {"CHART", [](O& o, std::size_t n) { o.chart = std::string(n, 'X'); }},
        // Numbers of n characters with their three decimals.
        {"MAGNITUDE", [](O& o, std::size_t n) { o.magnitude_mag = std::pow(10.0, double(n) - 5.0); }},
        {"MAGERR", [](O& o, std::size_t n) { o.err_mag = std::pow(10.0, double(n) - 5.0); }},
        {"CMAG", [](O& o, std::size_t n) { o.comparison_mag = std::pow(10.0, double(n) - 5.0); }},
        {"KMAG", [](O& o, std::size_t n) { o.check_mag = std::pow(10.0, double(n) - 5.0); }},
        {"AIRMASS", [](O& o, std::size_t n) { o.airmass = std::pow(10.0, double(n) - 5.0); }},
        {"GROUP", [](O& o, std::size_t n) { o.group = int(std::lround(std::pow(10.0, double(n) - 1.0))); }},
    };
    const auto table = test::expected_table("exchange/network_limits.csv");
    std::size_t tried = 0;
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "name");
        // DATE, FILTER, TRANS and MTYPE have values of their own, none of them too long.
        const auto make = of_length.find(name);
        if (make == of_length.end()) continue;
        INFO(name);
        ++tried;
        const auto most = static_cast<std::size_t>(test::number(table, row, "max_length"));
        NetworkObservation fits = sample_observation();
        make->second(fits, most);
        const std::string line = line_of(fits);
        const auto fields = split(line, ',');
        CHECK(fields.at(static_cast<std::size_t>(test::number(table, row, "order")) - 1).size() == most);
        NetworkObservation too_long = sample_observation();
        make->second(too_long, most + 1);
        CHECK(refusal_of(too_long).where == "field " + name);
    }
    CHECK(tried == of_length.size());
}

TEST_CASE("SOFTWARE holds 255 characters, and every required parameter is required", "[network]") {
    NetworkReport report = sample_report();
    report.header.software = std::string(255, 'e');
    CHECK(write_network_report(report));
    report.header.software += 'e';
    REQUIRE_FALSE(write_network_report(report));
    CHECK(write_network_report(report).error().where == "parameter #SOFTWARE");
    const auto refused_at = [](const std::function<void(NetworkHeader&)>& damage) {
        NetworkReport damaged = sample_report();
        damage(damaged.header);
        const auto text = write_network_report(damaged);
        return text ? std::string("written") : text.error().where;
    };
    CHECK(refused_at([](NetworkHeader& h) { h.software.clear(); }) == "parameter #SOFTWARE");
    CHECK(refused_at([](NetworkHeader& h) { h.software = "Ember\nline"; }) == "parameter #SOFTWARE");
    CHECK(refused_at([](NetworkHeader& h) { h.obstype = "CMOS"; }) == "parameter #OBSTYPE");
    CHECK(refused_at([](NetworkHeader& h) { h.date_format = "MJD"; }) == "parameter #DATE");
    CHECK(refused_at([](NetworkHeader& h) { h.date_format = "EXCEL"; }) == "parameter #DATE");
    CHECK_THAT(refused_at([](NetworkHeader& h) { h.observer_code.clear(); }), Catch::Contains("#OBSCODE"));
    CHECK_THAT(refused_at([](NetworkHeader& h) { h.observer_code = "A. N. Observer"; }),
               Catch::Contains("#OBSCODE"));
    for (const std::string delimiter : {"", " ", "#", "|", ",,", "semicolon", "\x01", "\xC3\xA9"}) {
        INFO('\'' << delimiter << '\'');
        CHECK(refused_at([&](NetworkHeader& h) { h.delimiter = delimiter; }) == "parameter #DELIM");
    }
}

TEST_CASE("A value that the format cannot hold is refused by its field, never cut", "[network]") {
    using O = NetworkObservation;
    struct Damage {
        std::string field;
        std::function<void(O&)> apply;
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const std::vector<Damage> damages = {
        {"STARID", [](O& o) { o.star.clear(); }},
        {"STARID", [](O& o) { o.star = "na"; }},
        {"STARID", [](O& o) { o.star = "SN, the second"; }},
        {"STARID", [](O& o) { o.star = "#1"; }},
        {"STARID", [](O& o) { o.star = " SN"; }},
        {"STARID",
         [](O& o) {
             o.star =
                 "S\xC3\xBC"
                 "d";
         }},
        {"STARID", [](O& o) { o.star = "SN\n1"; }},
        {"DATE", [](O& o) { o.date = 60344.0; }},
        {"DATE", [&](O& o) { o.date = nan; }},
        {"MAGNITUDE", [&](O& o) { o.magnitude_mag = nan; }},
        {"MAGNITUDE", [](O& o) { o.magnitude_mag = std::numeric_limits<double>::infinity(); }},
        {"MAGERR", [](O& o) { o.err_mag = -0.01; }},
        {"MAGERR", [](O& o) { o.fainter_than = true; }},
        {"FILTER", [](O& o) { o.filter.clear(); }},
        {"FILTER", [](O& o) { o.filter = "Luminance"; }},
        {"FILTER", [](O& o) { o.filter = "Orange"; }},
        {"MTYPE", [](O& o) { o.magnitude_type = "REL"; }},
        {"MTYPE", [](O& o) { o.magnitude_type.clear(); }},
        {"CNAME",
         [](O& o) { o.magnitude_type = "DIF", o.comparison_name.clear(), o.comparison_mag.reset(); }},
        {"CNAME", [](O& o) { o.comparison_name.clear(); }},
        {"CMAG", [](O& o) { o.comparison_name = "ENSEMBLE"; }},
        {"KNAME", [](O& o) { o.check_name.clear(); }},
        {"AIRMASS", [](O& o) { o.airmass = 0.0; }},
        {"GROUP", [](O& o) { o.group = -1; }},
        {"CHART", [](O& o) { o.chart = "X1,X2"; }},
        {"NOTES", [](O& o) { o.note_text = "a | b"; }},
        {"NOTES", [](O& o) { o.note_text = "SEEING=3"; }},
        {"NOTES", [](O& o) { o.note_text = "thin, high cloud"; }},
        {"NOTES", [](O& o) { o.note_text = "na", o.notes.clear(); }},
        {"NOTES", [](O& o) { o.note_text = std::string(2001, 'n'); }},
        {"NOTES", [](O& o) { o.notes.emplace_back("two words", "1"); }},
        {"NOTES", [](O& o) { o.notes.emplace_back("KREFMAG", ""); }},
        {"NOTES", [](O& o) { o.notes.emplace_back("KREFMAG", "1|2"); }},
    };
    for (std::size_t i = 0; i < damages.size(); ++i) {
        INFO("damage " << i + 1 << " of field " << damages[i].field);
        NetworkObservation o = sample_observation();
        damages[i].apply(o);
        const Problem problem = refusal_of(o);
        CHECK(problem.where == "field " + damages[i].field);
        CHECK_FALSE(problem.mend.empty());
        NetworkReport report = sample_report();
        report.observations.push_back(o);
        const auto text = write_network_report(report);
        REQUIRE_FALSE(text);
        CHECK_THAT(text.error().where, Catch::StartsWith("observation 2"));
    }
}

TEST_CASE("Another observer's lines come after his code; the first line's belong into the header",
          "[network]") {
    NetworkReport report = sample_report();
    report.observations.push_back(sample_observation());
    report.observations[1].observer_code = "ABC";
    report.observations[1].date_format = "HJD";
    report.observations.push_back(sample_observation());
    const auto text = write_network_report(report);
    REQUIRE(text);
    CHECK_THAT(*text, Catch::Contains("\n#OBSCODE=ABC\n#DATE=HJD\nDEMO") &&
                          Catch::Contains("\n#OBSCODE=XYZ\n#DATE=JD\nDEMO"));
    report.observations[0].observer_code = "ABC";
    REQUIRE_FALSE(write_network_report(report));
}

TEST_CASE("File names end in .txt, .csv or .tsv", "[network]") {
    for (const std::string name : {"out/report.txt", "a.CSV", "b.tsv"})
        CHECK(check_network_file_name(name));
    for (const std::string name : {"report", "report.dat", "txt", ""})
        CHECK_FALSE(check_network_file_name(name));
}

TEST_CASE("A limit has '<' before its magnitude and na for its error", "[network]") {
    NetworkObservation o = sample_observation();
    o.fainter_than = true;
    o.err_mag.reset();
    o.magnitude_mag = 18.0;
    CHECK_THAT(line_of(o), Catch::StartsWith("DEMO SN 1,2460344.51234,<18.000,na,V,"));
}

TEST_CASE("KMAGSTD = CREFMAG - CMAGINS + KMAGINS: the published lines pass, a wrong one does not",
          "[network]") {
    // aavso.org forum, sample of the notes keys.
    const auto table = test::expected_table("exchange/published_identity.csv");
    for (const TableRow& row : table.rows) {
        NetworkObservation o = sample_observation();
        o.notes.clear();
        for (const std::string key : {"CMAGINS", "CREFMAG", "KMAGINS", "KMAGSTD"})
            o.notes.emplace_back(key, test::text(table, row, key));
        const double derived = test::number(table, row, "CREFMAG") - test::number(table, row, "CMAGINS") +
                               test::number(table, row, "KMAGINS");
        // Three parts were rounded to 0.001 mag before printing.
        CHECK(derived == Approx(test::number(table, row, "KMAGSTD")).margin(0.0015));
        CHECK(test::number(table, row, "VMAGINS") + test::number(table, row, "CREFMAG") -
                  test::number(table, row, "CMAGINS") ==
              Approx(test::number(table, row, "MAG")).margin(0.0015));
        line_of(o);
        o.notes.back().second = "8.215";
        const Problem problem = refusal_of(o);
        CHECK(problem.where == "field NOTES");
        CHECK_THAT(problem.what, Catch::Contains("KMAGSTD"));
    }
}

std::string random_word(std::mt19937_64& random, std::size_t most) {
    static const std::string letters = "ABCDEFGHIJabcdefghij0123456789-+. ()/_";
    std::string word = "w";
    const std::size_t n = random() % (most - 1);
    for (std::size_t i = 0; i < n; ++i)
        word += letters[random() % letters.size()];
    return std::string(trimmed(word));
}

double random_thousandths(std::mt19937_64& random, int from, int to) {
    return double(std::uniform_int_distribution(from, to)(random)) / 1000.0;
}

NetworkObservation random_observation(std::mt19937_64& random) {
    const auto coin = [&] { return random() % 2 == 0; };
    static const std::vector<std::string> codes = {"B", "V", "R", "I", "SG", "SR", "TG", "CV", "STHBW", "HA"};
    NetworkObservation o;
    o.star = random_word(random, 30);
    o.date = 2460000.0 + double(random() % 100000000) / 100000.0;
    o.magnitude_mag = random_thousandths(random, -5000, 25000);
    o.fainter_than = coin();
    if (!o.fainter_than && coin()) o.err_mag = random_thousandths(random, 0, 99999);
    o.filter = codes[random() % codes.size()];
    o.transformed = coin();
    const bool ensemble = coin();
    if (ensemble) o.comparison_name = "ENSEMBLE";
    if (!ensemble && coin()) {
        o.comparison_name = random_word(random, 20);
        if (coin()) o.comparison_mag = random_thousandths(random, -20000, 0);
    }
    if (!o.comparison_name.empty() && coin()) o.magnitude_type = "DIF";
    if (coin()) o.check_name = random_word(random, 20);
    if (!o.check_name.empty() && coin()) o.check_mag = random_thousandths(random, -20000, 20000);
    if (coin()) o.airmass = random_thousandths(random, 1000, 9999);
    if (coin()) o.group = static_cast<int>(random() % 100000);
    if (coin()) o.chart = random_word(random, 20);
    if (coin()) o.note_text = random_word(random, 200);
    if (coin()) o.notes.emplace_back("KREFMAG", "12.345");
    if (coin()) o.notes.emplace_back("Tv_bv", "-0.021");
    if (random() % 5 == 0) o.observer_code = "ABC";
    if (random() % 5 == 0) o.date_format = "HJD";
    return o;
}

TEST_CASE("What is written is read back equal, whatever the delimiter", "[network]") {
    constexpr std::uint64_t seed = 20240203;
    INFO("seed " << seed);
    std::mt19937_64 random(seed);
    for (int k = 0; k < 200; ++k) {
        NetworkReport report;
        report.header.observer_code = "XYZ";
        report.header.software = random_word(random, 255);
        report.header.delimiter = std::vector<std::string>{",", ";", "!", "tab", "~"}[random() % 5];
        report.header.date_format = "JD";
        report.header.obstype = std::vector<std::string>{"CCD", "DSLR", "PEP", "VISDIG"}[random() % 4];
        for (std::size_t n = random() % 5; n > 0; --n)
            report.observations.push_back(random_observation(random));
        if (!report.observations.empty()) {
            report.observations[0].observer_code.clear();  // these are the header's
            report.observations[0].date_format.clear();
        }
        const auto text = write_network_report(report);
        INFO((text ? *text : one_line(text.error())));
        REQUIRE(text);
        const CheckedReport checked = check_network_report(*text);
        for (const Finding& finding : checked.findings)
            INFO(finding.line << ' ' << finding.field << ' ' << finding.what);
        CHECK(checked.valid());
        CHECK(checked.report == report);
    }
}

}  // namespace
}  // namespace emberline::exchange
