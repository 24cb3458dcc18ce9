// SPDX-License-Identifier: MIT
// The validator of the transient server's report on files that are wrong in every way that can be named.
#include <algorithm>
#include <catch2/catch.hpp>
#include <string>

#include "exchange/server_report.hpp"
#include "exchange/server_report_samples.hpp"

namespace emberline::exchange {
namespace {

using namespace server_test;

TEST_CASE("Every departure from the report is named, in JSON", "[server_report]") {
    const std::string good = sample_of_older_keys();
    const auto finds = [&](const std::string& from, const std::string& to_text, const std::string& field,
                           const std::string& saying, bool error = true) {
        const auto checked = check_server_report(replaced(good, from, to_text));
        INFO(from << " -> " << to_text << "\n" << words(checked.findings));
        CHECK(has(checked.findings, field, saying, error));
    };
    finds("\"02:30:38.5\"", "\"25:30:38.5\"", "ra.value", "");
    finds("\"02:30:38.5\"", "\"\"", "ra.value", "missing");
    finds("\"+42:13:57\"", "\"+92:13:57\"", "dec.value", "");
    finds("\"arcsec\"", "\"deg\"", "ra.units", "arcsec");
    finds("\"error\": \"0.5\"", "\"error\": \"-1\"", "ra.error", "out of range");
    finds("\"reporting_group_id\": \"0\"", "\"reporting_group_id\": \"ours\"", "reporting_group_id",
          "no identifier");
    finds("\"reporting_group_id\": \"0\",", "", "reporting_group_id", "missing");
    finds("\"reporter\": \"A. Observer (Example Observatory)\"", "\"reporter\": null", "reporter", "missing");
    finds("2022-10-30.054", "2022-13-30.054", "discovery_datetime", "no date");
    finds("2022-10-30.054", "30.10.2022", "discovery_datetime", "no date");
    finds("\"at_type\": \"1\"", "\"at_type\": \"9\"", "at_type", "0 to 5");
    finds("\"at_type\": \"1\"", "\"at_type\": true", "at_report.0.at_type", "truth value");
    finds("\"at_type\": \"1\"", "\"at_type\": [1]", "at_report.0.at_type", "list");
    finds("\"host_name\"", "\"hostname\"", "hostname", "no such key", false);
    finds("\"remarks\": \"\"", "\"remarks\": \"\", \"remarks\": \"x\"", "remarks", "twice");
    finds("\"archiveid\": \"2\"", "\"archiveid\": \"\"", "non_detection.obsdate", "Neither");
    finds("\"archiveid\": \"2\"", "\"archiveid\": \"7\"", "non_detection.archiveid", "archives");
    finds("\"archiveid\": \"2\", \"archival_remarks\": \"DSS\"", "\"archiveid\": \"0\"",
          "non_detection.archival_remarks", "missing");
    finds("\"flux\": \"14.0\"", "\"flux\": \"99.99\"", "photometry.0.flux", "no magnitude");
    finds("\"flux\": \"14.0\"", "\"flux\": \"bright\"", "photometry.0.flux", "no number");
    finds("\"flux\": \"14.0\"", "\"flux\": \"\"", "photometry.0.flux", "Neither");
    finds("\"obsdate\": \"2022-10-30 01:17:05\"", "\"obsdate\": \"\"", "photometry.0.obsdate", "missing");
    finds("\"filter_value\": \"1\"", "\"filter_value\": \"V\"", "photometry.0.filter_value", "no identifier");
    finds("\"filter_value\": \"1\"", "\"filterid\": \"1\"", "filterid", "Keys of 2025", false);
    finds("{\"0\": {\"obsdate\"", "{\"1\": {\"obsdate\"", "photometry.1", "numbered from 0");
    finds("\"limiting_flux\": \"\", \"flux_units\": \"1\", \"filter_value\": \"\"",
          "\"limiting_flux\": \"18.0\", \"flux_units\": \"1\", \"filter_value\": \"\"",
          "non_detection.obsdate", "missing");
    finds("{\"at_report\"", "{\"report\"", "at_report", "no report");
    finds("{\"at_report\": {\"0\"", "\xEF\xBB\xBF{\"at_report\": {\"0\"", "", "byte-order mark", false);
    finds("A. Observer (", "A. \xFF Observer (", "", "no JSON");
    finds("A. Observer (", "A. \\u0007 Observer (", "reporter", "control characters");
    finds("\"EX-1\"", "\"" + std::string(10'001, 'x') + "\"", "internal_name", "10000 are the most");
    // Numbers as numbers, CR LF and a second report do no harm.
    auto other = replaced(good, "\"flux\": \"14.0\"", "\"flux\": 14.0");
    other = replaced(other, "\"at_type\": \"1\"", "\"at_type\": 1");
    other = replaced(other, "\n", "\r\n");
    const auto checked = check_server_report(other);
    CHECK(checked.findings.empty());
    CHECK(checked.report.photometry.at(0).flux_mag == 14.0);
    const auto second =
        check_server_report(replaced(good, "}}}\n}}}", "}}}\n}, \"1\": {\"reporter\": \"x\"}}}"));
    CHECK(second.valid());
    CHECK(has(second.findings, "at_report.1", "first report", false));
    const auto twice =
        check_server_report(replaced(good, "}}}\n}}}", "}}}\n}, \"0\": {\"reporter\": \"x\"}}}"));
    CHECK(has(twice.findings, "at_report.0", "twice"));
}

TEST_CASE("A list where the numbered points should stand opens no point", "[server_report]") {
    // An object in the list left its last key behind, and the text after it was written into a point that did
    // not exist: a file from a stranger ended the program.
    const std::string text(100, 'x');
    const auto checked = check_server_report(
        "{\"at_report\": {\"0\": {\"photometry\": {\"photometry_group\": [{\"observer\": \"a\"}, \"" + text +
        "\"]}}}}");
    INFO(words(checked.findings));
    CHECK(words(checked.findings).find("numbered point should") != std::string::npos);
    CHECK(checked.report.photometry.empty());
}

TEST_CASE("A file cut anywhere, or nested a million deep, is found wrong and does no harm",
          "[server_report]") {
    const auto r = server_report(nights(), campaign(), seen_place())->report;
    for (const std::string& text : {*write_server_json(r), *write_server_tsv(r)}) {
        for (std::size_t length = 0; length + 1 < text.size(); length += 7) {
            if (check_server_report(text.substr(0, length)).valid()) FAIL(length);
        }
    }
    const std::size_t million = 1'000'000;
    std::string objects;
    for (std::size_t i = 0; i < million; ++i)
        objects += "{\"a\":";
    for (const std::string& deep : {std::string(million, '['), objects, std::string(million, '{')})
        CHECK_FALSE(check_server_report(deep).valid());
    CHECK(has(check_server_report(objects).findings, "", "12 deep"));
    for (const char* text :
         {"", " \n", "{}", "[]", "{\"at_report\": {}}", "{\"at_report\": 3}", "a", "a\tb\n",
          "{\"at_report\": {\"0\": []}}", "{\"at_report\": {\"0\": {\"photometry\": 3}}}",
          "{\"at_report\": {\"0\": {\"photometry\": {\"photometry_group\": [1]}}}}"})
        CHECK_FALSE(check_server_report(text).valid());
}

TEST_CASE("Every departure from the report is named with its line, between tabs", "[server_report]") {
    const auto r = server_report(nights(), campaign(), seen_place())->report;
    const std::string good = *write_server_tsv(r);
    CHECK(std::count(good.begin(), good.end(), '\n') == 6);
    CHECK(check_server_report(good).report.offset->east_arcsec == Approx(14.07).margin(1e-9));
    const auto finds = [&](const std::string& text, std::size_t line, const std::string& field,
                           const std::string& saying, bool error = true) {
        const auto checked = check_server_report(text);
        INFO(words(checked.findings));
        CHECK(has(checked.findings, field, saying, error));
        CHECK(std::any_of(checked.findings.begin(), checked.findings.end(),
                          [&](const Finding& f) { return f.line == line && f.field == field; }));
    };
    finds(replaced(good, "photometry.flux\t", "photometry.flow\t"), 1, "photometry.flow", "No such column",
          false);
    finds(replaced(good, "photometry.flux\t", "photometry.flow\t"), 4, "photometry.flux", "Neither");
    finds(replaced(good, "host_name\t", "reporter\t"), 1, "reporter", "Two columns");
    finds(replaced(good, "\t19.500\t", "\t19,500\t"), 2, "non_detection.limiting_flux", "no number");
    finds(replaced(good, "2024-02-02 21:36:00\t\t", "2024-02-02 21:36:00\t"), 3, "", "fields where");
    finds(replaced(good, "2024-02-06 21:36:00", "2024-02-31 21:36:00"), 6, "photometry.obsdate", "no date");
    finds(good + "\n", 7, "", "empty");
    finds(good.substr(0, good.size() - 1), 6, "", "cut");
    finds(replaced(good, "(Example", "(Ex\xC3\xA4mple"), 2, "", "beyond ASCII");
    finds(replaced(good, "\n", "\r\n"), 1, "", "CR LF", false);
    CHECK(check_server_report(replaced(good, "\n", "\r\n")).valid());
    std::string second = good;
    second += good.substr(good.find('\n') + 1);
    CHECK(check_server_report(second).valid());  // the same report again on a later line
    finds(second + replaced(good.substr(good.find('\n') + 1), "(Example", "(Other"), 12, "reporter",
          "second report");
    // Commas for tabs: one column of an unknown name.
    std::string commas = good;
    std::replace(commas.begin(), commas.end(), '\t', ',');
    CHECK_FALSE(check_server_report(commas).valid());
}

}  // namespace
}  // namespace emberline::exchange
