// SPDX-License-Identifier: MIT
// Reports of any length, written and read without ever being in memory whole; and light curves there and
// back.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <sstream>

#include "exchange/made_stream.hpp"
#include "exchange/network_report.hpp"

using namespace emberline;
using namespace emberline::exchange;

namespace {

NetworkHeader header() {
    NetworkHeader made;
    made.observer_code = "XYZ";
    made.software = "Emberline 0.1.0";
    return made;
}

// An invented line: limits, missing values, notes, several observers.
NetworkObservation random_observation(std::mt19937_64& random, double jd) {
    const auto number = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    const auto one_in = [&](unsigned n) { return random() % n == 0; };
    const char* const filters[] = {"B", "V", "R", "I", "SG", "SR", "SI", "TB", "TG", "TR", "CV"};
    NetworkObservation o;
    o.star = "DEMO SN 1";
    o.date = jd;
    o.magnitude_mag = number(-1.5, 22.0);
    o.fainter_than = one_in(5);
    if (!o.fainter_than && !one_in(9)) o.err_mag = number(0.0, 1.5);
    o.filter = filters[random() % 11];
    o.transformed = one_in(2);
    if (!one_in(8)) o.comparison_name = one_in(2) ? "ENSEMBLE" : "126";
    if (o.comparison_name == "126") o.comparison_mag = number(-15.0, 0.0);
    if (!one_in(4)) {
        o.check_name = "131b";
        o.check_mag = number(-15.0, 15.0);
    }
    if (!one_in(6)) o.airmass = number(1.0, 4.0);
    if (one_in(3)) o.group = static_cast<int>(random() % 99999);
    if (!one_in(7)) o.chart = "X00000AB";
    if (one_in(2)) o.notes = {{"VMAGINS", "-7.123"}, {"Tv_bv", "0.031"}};
    if (one_in(2)) o.note_text = "12 frames combined / err random 0.003 common 0.014";
    if (one_in(4)) o.observer_code = "ABC";
    return o;
}

// Three decimals of a magnitude, five of a day.
void check_alike(const NetworkObservation& read, NetworkObservation written) {
    CHECK(std::abs(read.date - written.date) <= 0.5000001e-5);
    const auto near = [](const std::optional<double>& a, const std::optional<double>& b) {
        return a.has_value() == b.has_value() && (!a || std::abs(*a - *b) <= 0.5000001e-3);
    };
    CHECK(near(read.magnitude_mag, written.magnitude_mag));
    CHECK(near(read.err_mag, written.err_mag));
    CHECK(near(read.comparison_mag, written.comparison_mag));
    CHECK(near(read.check_mag, written.check_mag));
    CHECK(near(read.airmass, written.airmass));
    written.date = read.date;
    written.magnitude_mag = read.magnitude_mag;
    written.err_mag = read.err_mag;
    written.comparison_mag = read.comparison_mag;
    written.check_mag = read.check_mag;
    written.airmass = read.airmass;
    CHECK(read == written);
}

// A program that holds none of it grows by less than this, whatever its length.
constexpr long little_kib = 4096;

void write_and_read(std::size_t lines) {
    std::mt19937_64 random(11);
    NetworkObservation o = random_observation(random, 2460388.43215);
    o.observer_code.clear();
    const auto before = test::peak_memory_kib();
    test::Nowhere nowhere;
    std::ostream out(&nowhere);
    auto writer = NetworkReportWriter::begin(out, header());
    REQUIRE(writer);
    for (std::size_t i = 0; i < lines; ++i) {
        if (!writer->write(o)) FAIL("line " << i);
    }
    const std::string one = *write_network_report({header(), {o}});
    const std::size_t data = one.rfind('\n', one.size() - 2) + 1;
    std::size_t left = lines;
    test::MadeText endless([&, head = one.substr(0, data), line = one.substr(data)](std::string& piece) {
        piece = left == lines ? head : std::string();
        for (const std::size_t stop = left - std::min<std::size_t>(left, 500); left > stop; --left)
            piece += line;
        return true;
    });
    std::istream in(&endless);
    std::size_t read = 0, last = 0;
    const auto findings = read_network_report(in, [&](const NetworkObservation& found, std::size_t line) {
        read += found.star == o.star ? 1 : 0;
        last = line;
    });
    CHECK(findings.empty());
    CHECK(read == lines);
    CHECK(last == lines + 7);  // the header's lines
    test::check_peak_growth(before, little_kib);
}

}  // namespace

TEST_CASE("A thousand random light curves come back from the network's format", "[network][roundtrip]") {
    for (std::uint64_t seed = 0; seed < 1000; ++seed) {
        INFO("seed " << seed);
        std::mt19937_64 random(seed);
        NetworkReport report{header(), {}};
        for (int i = 0; i < 12; ++i)
            report.observations.push_back(random_observation(random, 2460388.4 + i / 7.0));
        report.observations.front().observer_code.clear();
        const auto text = write_network_report(report);
        INFO((text ? std::string() : one_line(text.error())));
        REQUIRE(text);
        const CheckedReport checked = check_network_report(*text);
        CHECK(checked.valid());
        CHECK(checked.report.header == report.header);
        REQUIRE(checked.report.observations.size() == report.observations.size());
        for (std::size_t i = 0; i < report.observations.size(); ++i)
            check_alike(checked.report.observations[i], report.observations[i]);
    }
}

TEST_CASE("A report is written and read without being in memory", "[network][stream]") {
    write_and_read(50'000);
}
TEST_CASE("A report of a million lines is written and read without being in memory",
          "[.][long][network][stream]") {
    write_and_read(1'000'000);
}
