// SPDX-License-Identifier: MIT
// Lengths: tests/data/exchange/network_limits.csv. Other rules, unless marked: aavso.org, Extended File
// Format 1.2 (2011-07-27, update 2021-12-02).
#include <catch2/catch.hpp>
#include <random>

#include "exchange/network_report.hpp"
#include "exchange/report_samples.hpp"
#include "expected_table.hpp"

namespace emberline::exchange {
namespace {

using test::file_of;
using test::file_with;
using test::find;
using test::joined;
using test::sample_fields;
using test::sample_header;

constexpr std::size_t data_line = 7;  // of the samples

std::string said(const CheckedReport& checked) {
    std::string all;
    for (const Finding& f : checked.findings)
        all += std::to_string(f.line) + " " + f.field + (f.error ? " error: " : " warning: ") + f.what + "\n";
    return all;
}

TEST_CASE("A good file has nothing to report", "[network]") {
    const CheckedReport checked = check_network_report(file_of(sample_fields));
    INFO(said(checked));
    CHECK(checked.findings.empty());
    REQUIRE(checked.report.observations.size() == 1);
    CHECK(checked.report.header.software == "Pencil 1");
    CHECK(checked.report.observations[0].comparison_mag == -9.876);
}

TEST_CASE("Each published length is checked, one character too many named by line and field", "[network]") {
    // A value of n characters that is right but for its length.
    const auto value = [](const std::string& field, std::size_t n) -> std::string {
        if (field == "DATE") return "2460344." + std::string(n - 8, '5');
        if (field == "GROUP") return std::string(n, '1');
        if (field == "MAGNITUDE" || field == "MAGERR" || field == "CMAG" || field == "KMAG" ||
            field == "AIRMASS") {
            return "1." + std::string(n - 2, '2');
        }
        return std::string(n, 'w');
    };
    const auto table = test::expected_table("exchange/network_limits.csv");
    CHECK(table.rows.size() == 14);
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "name");
        const auto order = static_cast<std::size_t>(test::number(table, row, "order")) - 1;
        const auto most = static_cast<std::size_t>(test::number(table, row, "max_length"));
        INFO(name);
        const bool words_of_its_own = name == "FILTER" || name == "TRANS" || name == "MTYPE";
        if (!words_of_its_own) {
            const CheckedReport fits = check_network_report(file_with(order, value(name, most)));
            INFO(said(fits));
            CHECK(fits.valid());
        }
        const CheckedReport checked = check_network_report(file_with(order, value(name, most + 1)));
        INFO(said(checked));
        const Finding* finding = find(checked, data_line, name, true);
        REQUIRE(finding);
        CHECK_THAT(finding->what, Catch::Contains("characters where the format allows"));
    }
    auto header = sample_header;
    header[2] = "#SOFTWARE=" + std::string(255, 's');
    CHECK(check_network_report(joined(header, "\n") + "\n" + joined(sample_fields, ",")).valid());
    header[2] += 's';
    CHECK(find(check_network_report(joined(header, "\n") + "\n" + joined(sample_fields, ",")), 3, "#SOFTWARE",
               true));
}

TEST_CASE("Required fields cannot be na; optional ones can, but not be empty", "[network]") {
    const auto table = test::expected_table("exchange/network_limits.csv");
    for (const TableRow& row : table.rows) {
        const std::string name = test::text(table, row, "name");
        const auto order = static_cast<std::size_t>(test::number(table, row, "order")) - 1;
        const bool required = test::text(table, row, "required") == "yes";
        INFO(name);
        for (const std::string na : {"na", "NA", "Na"}) {
            CHECK((find(check_network_report(file_with(order, na)), data_line, name, true) != nullptr) ==
                  required);
        }
        CHECK(find(check_network_report(file_with(order, "")), data_line, name, true));
    }
    CHECK(find(check_network_report(file_with(14, "")), data_line, "NOTES", true));
}

TEST_CASE("Each of the six parameters is missed by name", "[network]") {
    const std::vector<std::string> names = {"TYPE", "OBSCODE", "SOFTWARE", "DELIM", "DATE", "OBSTYPE"};
    for (std::size_t i = 0; i < names.size(); ++i) {
        auto header = sample_header;
        header.erase(header.begin() + static_cast<long>(i));
        const CheckedReport checked =
            check_network_report(joined(header, "\n") + "\n" + joined(sample_fields, ",") + "\n");
        INFO(names[i] << '\n' << said(checked));
        CHECK_FALSE(checked.valid());
        CHECK(find(checked, 6, "#" + names[i], true));
        CHECK(checked.report.observations.size() == 1);  // the rest is read all the same
    }
}

TEST_CASE("What a field may hold is checked with line and field", "[network]") {
    struct Case {
        std::size_t field;
        std::string value, name;
        bool error;
    };
    const std::vector<Case> cases = {
        {1, "60344.5", "DATE", true},
        {1, "2024-02-03", "DATE", true},
        {1, "2.46e6", "DATE", true},
        {2, "15", "MAGNITUDE", true},  // a decimal point is required: specification text in the BAV package
        {2, "<", "MAGNITUDE", true},
        {2, "< 15.0", "MAGNITUDE", true},  // '<' directly before the magnitude: same
        {2, ">15.0", "MAGNITUDE", true},
        {2, "nan", "MAGNITUDE", true},
        {2, "1.5e1", "MAGNITUDE", true},
        {2, "<15.0", "MAGERR", false},  // an error beside a limit: common practice, no source
        {3, "-0.01", "MAGERR", true},
        {3, "small", "MAGERR", true},
        {4, "G", "FILTER", true},
        {4, "Orange", "FILTER", false},  // historical, do not use: aavso.org, page of filters
        {4, "O", "NOTES", false},        // other, to be described in the notes: from memory, to verify
        {5, "Y", "TRANS", true},
        {6, "ABS", "MTYPE",
         false},  // a synonym of STD that is still accepted: specification in the BAV package
        {6, "REL", "MTYPE", true},
        {7, "ENSEMBLE", "CMAG", true},  // CMAG must be na then: from memory, to verify
        {7, "na", "CNAME", false},
        {8, "-9", "CMAG", true},
        {9, "na", "KNAME", false},
        {10, "faint", "KMAG", true},
        {11, "-1.2", "AIRMASS", true},
        {12, "1.5", "GROUP", true},
        {12, "-1", "GROUP", true},
        {14, "KMAGSTD=bright", "NOTES", false},
    };
    for (const Case& c : cases) {
        const CheckedReport checked = check_network_report(file_with(c.field, c.value));
        INFO(c.value << '\n' << said(checked));
        CHECK(find(checked, data_line, c.name, c.error));
        CHECK(checked.valid() == !c.error);
    }
    auto difference = sample_fields;
    difference[6] = "DIF";
    CHECK(check_network_report(file_of(difference)).valid());
    difference[7] = difference[8] = "na";
    CHECK(find(check_network_report(file_of(difference)), data_line, "CNAME", true));
}

TEST_CASE("Every filter code of the network is known, the obsolete with a warning", "[network]") {
    const auto table = test::expected_table("exchange/network_filter_codes.csv");
    CHECK(table.rows.size() == 39);
    for (const TableRow& row : table.rows) {
        const std::string code = test::text(table, row, "code");
        auto fields = sample_fields;
        fields[4] = code;
        fields[14] = "described here";
        const CheckedReport checked = check_network_report(file_of(fields));
        INFO(code << '\n' << said(checked));
        CHECK(checked.valid());
        CHECK((find(checked, data_line, "FILTER", false) != nullptr) ==
              (test::text(table, row, "obsolete") == "1"));
        REQUIRE(checked.report.observations.size() == 1);
        CHECK(checked.report.observations[0].filter == code);
    }
}

TEST_CASE("KMAGSTD = CREFMAG - CMAGINS + KMAGINS is checked, and the published lines hold", "[network]") {
    // aavso.org forum, sample of the notes keys.
    const auto table = test::expected_table("exchange/published_identity.csv");
    for (const TableRow& row : table.rows) {
        const auto notes = [&](const std::string& standard) {
            return "VMAGINS=" + test::text(table, row, "VMAGINS") +
                   "|CMAGINS=" + test::text(table, row, "CMAGINS") +
                   "|CREFMAG=" + test::text(table, row, "CREFMAG") +
                   "|KMAGINS=" + test::text(table, row, "KMAGINS") + "|KMAGSTD=" + standard;
        };
        const std::string good = test::text(table, row, "KMAGSTD");
        CHECK(check_network_report(file_with(14, notes(good))).findings.empty());
        CHECK(check_network_report(file_with(14, "|" + notes(good) + "|")).findings.empty());
        const CheckedReport off = check_network_report(file_with(14, notes("8.204")));
        REQUIRE(find(off, data_line, "NOTES", true));
        CHECK_THAT(find(off, data_line, "NOTES", true)->what, Catch::Contains("KMAGSTD is 8.2040"));
    }
    // Coarser digits carry coarser rounding: 9.3 + 9.5 - 9.9 = 8.9.
    CHECK(check_network_report(file_with(14, "CREFMAG=9.3|CMAGINS=-9.5|KMAGINS=-9.9|KMAGSTD=9.0")).valid());
    CHECK_FALSE(
        check_network_report(file_with(14, "CREFMAG=9.3|CMAGINS=-9.5|KMAGINS=-9.9|KMAGSTD=9.1")).valid());
}

TEST_CASE("Notes are free text and pairs in any order and case", "[network]") {
    const CheckedReport checked =
        check_network_report(file_with(14, "kmagins=-9.4| thin cloud |KREFMAG = 12.3"));
    REQUIRE(checked.report.observations.size() == 1);
    const NetworkObservation& o = checked.report.observations[0];
    CHECK(o.note_text == "thin cloud");
    REQUIRE(o.notes.size() == 2);
    CHECK(o.notes[1] == std::pair<std::string, std::string>("KREFMAG", "12.3"));
}

TEST_CASE("Delimiters, line ends and letter case of other programs are read", "[network]") {
    const CheckedReport plain = check_network_report(file_of(sample_fields));
    const std::vector<std::pair<std::string, std::string>> delimiters = {
        {",", ","}, {"comma", ","}, {";", ";"}, {"!", "!"}, {"tab", "\t"}, {"TAB", "\t"}, {"~", "~"}};
    for (const auto& [word, character] : delimiters) {
        for (const std::string end : {"\n", "\r\n", "\r"}) {
            auto lines = sample_header;
            lines[0] = "#type=EXTENDED";
            lines[3] = "#Delim=" + word;
            lines[4] = "#date=jd";
            lines[5] = "#obstype=ccd";
            lines.emplace_back("# a comment, ignored on load");
            lines.push_back(joined(sample_fields, character));
            const CheckedReport checked = check_network_report(joined(lines, end) + end);
            INFO(word << '\n' << said(checked));
            CHECK(checked.findings.empty());
            CHECK(checked.report.observations == plain.report.observations);
            CHECK(checked.report.header.obstype == "CCD");
        }
    }
    auto fields = sample_fields;
    fields[4] = "sg", fields[5] = "yes", fields[6] = "std";
    const CheckedReport lower = check_network_report(file_of(fields));
    CHECK(lower.findings.empty());
    CHECK(lower.report.observations.at(0).filter == "SG");
    CHECK(lower.report.observations.at(0).transformed);
    CHECK(find(check_network_report("\xEF\xBB\xBF" + file_of(sample_fields)), 1, "", false));
}

TEST_CASE("Forbidden delimiters are named, and the lines read with what was meant", "[network]") {
    for (const std::string delimiter : {"|", "semicolon", ""}) {
        auto lines = sample_header;
        lines[3] = "#DELIM=" + delimiter;
        lines.push_back(joined(sample_fields, delimiter == "|" ? "|" : ";"));
        const CheckedReport checked = check_network_report(joined(lines, "\n"));
        INFO(said(checked));
        CHECK(find(checked, 4, "#DELIM", true));
        CHECK(checked.report.observations.size() == 1);
    }
}

TEST_CASE("OBSCODE and DATE may come again between the data and hold for what follows", "[network]") {
    auto lines = sample_header;
    lines.push_back(joined(sample_fields, ","));
    lines.emplace_back("#OBSCODE=ABC");
    lines.emplace_back("#DATE=HJD");
    lines.push_back(joined(sample_fields, ","));
    // The last line has no end: it is read, and said.
    const CheckedReport open_end = check_network_report(joined(lines, "\n"));
    REQUIRE(open_end.findings.size() == 1);
    CHECK(open_end.findings[0].what.find("may have been cut") != std::string::npos);
    CHECK(open_end.valid());
    const CheckedReport checked = check_network_report(joined(lines, "\n") + "\n");
    INFO(said(checked));
    CHECK(checked.findings.empty());
    REQUIRE(checked.report.observations.size() == 2);
    CHECK(checked.report.header.observer_code == "XYZ");
    CHECK(checked.report.observations[0].observer_code.empty());
    CHECK(checked.report.observations[1].observer_code == "ABC");
    CHECK(checked.report.observations[1].date_format == "HJD");
    lines.emplace_back("#DELIM=;");
    CHECK(find(check_network_report(joined(lines, "\n")), 11, "#DELIM", true));
}

TEST_CASE("A spreadsheet's date is read as its example has it", "[network]") {
    // The example 12/31/2007 12:59:59 a.m of aavso.org's 2008 text: 59 min 59 s after midnight.
    // JD of 2007-12-31 0h: 2454465.5 (JD 2451544.5 of 2000-01-01 + 2921 days).
    const double expected = 2454465.5 + 3599.0 / 86400.0;
    const std::vector<std::pair<std::string, double>> cases = {
        {"12/31/2007 12:59:59 a.m", expected},
        {"12/31/2007 12:59:59 AM", expected},
        {"12/31/2007 00:59:59", expected},
        {"12/31/2007 12:59:59 PM", expected + 0.5},
        {"12/31/2007 1:00 pm", 2454465.5 + 13.0 / 24.0},
    };
    auto lines = sample_header;
    lines[4] = "#DATE=EXCEL";
    for (const auto& [date, jd] : cases) {
        auto fields = sample_fields;
        fields[1] = date;
        const CheckedReport checked = check_network_report(joined(lines, "\n") + "\n" + joined(fields, ","));
        INFO(date << '\n' << said(checked));
        CHECK(checked.valid());
        REQUIRE(checked.report.observations.size() == 1);
        CHECK(checked.report.observations[0].date == Approx(jd).margin(1e-6).epsilon(0));  // 0.1 s
    }
    for (const std::string date : {"31/12/2007 1:00", "12/31/2007", "12/31/07 1:00", "2007-12-31 1:00",
                                   "12/31/2007 13:00 PM", "12/31/2007 1:99", "//2007 1:00", "2454465.5"}) {
        auto fields = sample_fields;
        fields[1] = date;
        INFO(date);
        CHECK(find(check_network_report(joined(lines, "\n") + "\n" + joined(fields, ",")), data_line, "DATE",
                   true));
    }
}

TEST_CASE("Lines that are no observation are named by number", "[network]") {
    const std::string good = joined(sample_fields, ",");
    const std::string text = joined(sample_header, "\n") + "\n" + good + "\n\n" + good +
                             ",extra\nDEMO SN 1,1\n" + good + "\n  # indented\n" +
                             std::string("DEMO\0SN", 7) + "\n";
    const CheckedReport checked = check_network_report(text);
    INFO(said(checked));
    CHECK(find(checked, 8, "", true));   // empty: a '#' belongs on it
    CHECK(find(checked, 9, "", true));   // sixteen fields
    CHECK(find(checked, 10, "", true));  // two
    CHECK(find(checked, 12, "", true));  // '#' not in the first column
    CHECK(find(checked, 13, "", true));  // a byte that is no text
    CHECK(checked.findings.size() == 5);
    CHECK(checked.report.observations.size() == 2);
    auto lines = sample_header;
    lines.insert(lines.begin() + 1, "#OBSCOD=XYZ");
    lines.insert(lines.begin() + 1, "#TYPE=Visual");
    const CheckedReport header = check_network_report(joined(lines, "\n"));
    CHECK(find(header, 2, "#TYPE", true));
    CHECK(find(header, 3, "#OBSCOD", false));
}

TEST_CASE("Hostile files end in findings, not in a crash or an endless list", "[network]") {
    CHECK_FALSE(check_network_report("").valid());
    const CheckedReport empty_lines = check_network_report(std::string(1000000, '\n'));
    CHECK(empty_lines.findings.size() < 1100);
    CHECK_FALSE(empty_lines.valid());
    CHECK_FALSE(check_network_report(std::string(1000000, ',')).valid());
    CHECK_FALSE(check_network_report(std::string(1000000, '#')).valid());
    const std::string number(100000, '9');
    for (std::size_t field = 0; field < 15; ++field) {
        // NOTES has no published length: a warning.
        CHECK(check_network_report(file_with(field, number + "." + number)).valid() == (field == 14));
    }

    constexpr std::uint64_t seed = 7;
    INFO("seed " << seed);
    std::mt19937_64 random(seed);
    const std::string good = file_of(sample_fields);
    for (int k = 0; k < 5000; ++k) {
        std::string text = good;
        for (std::size_t n = 1 + random() % 8; n > 0; --n) {
            const std::size_t at = random() % text.size();
            switch (random() % 4) {
                case 0:
                    text[at] = static_cast<char>(random() % 256);
                    break;
                case 1:
                    text.erase(at, 1 + random() % 10);
                    break;
                case 2:
                    text.insert(at, text.substr(random() % text.size(), random() % 20));
                    break;
                default:
                    text.resize(at + 1);
            }
            if (text.empty()) text = "#";
        }
        const CheckedReport checked = check_network_report(text);
        CHECK(checked.report.observations.size() <= text.size() / 15);
        for (const Finding& finding : checked.findings)
            REQUIRE_FALSE(finding.what.empty());
    }
}

}  // namespace
}  // namespace emberline::exchange
