// SPDX-License-Identifier: MIT
// The network's rules: aavso.org, Extended File Format 1.2 (2011-07-27, update 2021-12-02), and its forum on
// the keys of the notes.
#include "exchange/network_lines.hpp"

#include <catch2/catch.hpp>
#include <limits>
#include <map>

#include "exchange/measurement_samples.hpp"
#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

using night::NightMeasurement;
using test::sample_campaign;
using test::sample_night;

const LineChoice usual{.software = "Emberline 0.1.0"};

NetworkLines lines_of(const std::vector<NightMeasurement>& nights, const LineChoice& choice = usual) {
    auto lines = network_lines(nights, sample_campaign(), choice);
    INFO((lines ? std::string() : one_line(lines.error())));
    REQUIRE(lines);
    return *lines;
}

NetworkObservation line_of(const NightMeasurement& night) {
    const NetworkLines lines = lines_of({night});
    for (const SkippedLine& skipped : lines.skipped)
        INFO(skipped.reason);
    REQUIRE(lines.report.observations.size() == 1);
    return lines.report.observations[0];
}

std::map<std::string, double> numbers(const NetworkObservation& o) {
    std::map<std::string, double> values;
    for (const auto& [key, value] : o.notes)
        values[key] = parse_number(value).value();
    return values;
}

// In whole thousandths: exactly, not nearly.
long thousandths(double mag) {
    return std::lround(mag * 1000.0);
}

bool identity_is_exact(const NetworkObservation& o) {
    const auto n = numbers(o);
    return thousandths(n.at("KMAGSTD")) ==
           thousandths(n.at("CREFMAG")) - thousandths(n.at("CMAGINS")) + thousandths(n.at("KMAGINS"));
}

TEST_CASE("An ensemble's line says ENSEMBLE, na, and the check star on the standard system", "[network]") {
    const NightMeasurement night = sample_night();
    const NetworkObservation o = line_of(night);
    CHECK(o.star == "DEMO SN 1");
    CHECK(o.date == night.jd_utc);
    CHECK(o.magnitude_mag == Approx(*night.magnitude_mag).margin(0.0005).epsilon(0));  // three decimals
    CHECK(o.err_mag.value() == Approx(*night.total_err_mag()).margin(0.0005).epsilon(0));
    CHECK(o.filter == "V");
    CHECK_FALSE(o.transformed);
    CHECK(o.comparison_name == "ENSEMBLE");
    CHECK_FALSE(o.comparison_mag);
    CHECK(o.check_name == "131");
    CHECK(o.check_mag.value() == Approx(*night.check.magnitude_mag).margin(0.0005).epsilon(0));
    CHECK(o.airmass.value() == Approx(1.235));
    CHECK(o.chart == "X00000");
    CHECK_FALSE(o.group);
    CHECK(identity_is_exact(o));
    const auto n = numbers(o);
    // The same identity gives the variable: three roundings to 0.001.
    CHECK(n.at("VMAGINS") + n.at("CREFMAG") - n.at("CMAGINS") == Approx(o.magnitude_mag).margin(0.0021));
    CHECK(n.at("KREFMAG") == 13.105);
}

TEST_CASE("One comparison star's line has its label and both instrumental magnitudes", "[network]") {
    NightMeasurement night = sample_night();
    night.n_comparison = 1;
    night.comparison_labels = {"126"};
    // Whatever the digits beyond the third, the printed ones agree.
    for (int k = 0; k < 50; ++k) {
        const double zero_point = 23.4 + 0.00037 * k;
        night.comparison_catalogue_mag = 12.6 + 0.00013 * k;
        night.comparison_instrumental_mag = *night.comparison_catalogue_mag - zero_point;
        night.check.instrumental_mag = -10.3 + 0.00029 * k;
        night.check.magnitude_mag = zero_point + *night.check.instrumental_mag;
        const NetworkObservation o = line_of(night);
        CHECK(o.comparison_name == "126");
        CHECK(thousandths(o.comparison_mag.value()) == thousandths(numbers(o).at("CMAGINS")));
        CHECK(thousandths(o.check_mag.value()) == thousandths(numbers(o).at("KMAGINS")));
        CHECK(identity_is_exact(o));
        // KMAGSTD is the check star's magnitude but for three roundings.
        CHECK(numbers(o).at("KMAGSTD") == Approx(*night.check.magnitude_mag).margin(0.0015).epsilon(0));
    }
}

TEST_CASE("KMAGSTD is left out where a colour term moved the check star away from the sum", "[network]") {
    NightMeasurement night = sample_night();
    night.check.magnitude_mag = *night.check.magnitude_mag + 0.02;
    const NetworkObservation o = line_of(night);
    CHECK(numbers(o).count("KMAGSTD") == 0);
    CHECK(numbers(o).count("KMAGINS") == 1);
    CHECK(o.check_mag.value() == Approx(*night.check.magnitude_mag).margin(0.0005).epsilon(0));
}

TEST_CASE("Lines written are valid and read back equal", "[network]") {
    NightMeasurement single = sample_night("2024-02-05");
    single.n_comparison = 1;
    single.comparison_labels = {"126"};
    NightMeasurement bare = sample_night("2024-02-06", "TG");
    bare.airmass.reset();
    bare.check = {};
    bare.n_comparison = 0;
    bare.caveats = Caveats{Caveat::cloud, Caveat::no_airmass, Caveat::sequence_mixed_band};
    NightMeasurement transformed = sample_night("2024-02-07", "B");
    transformed.transformed = true;
    transformed.colour_index = "B-V";
    transformed.colour_mag = 0.61;
    transformed.colour_term = -0.034;
    for (const std::string delimiter : {",", ";", "!", "tab"}) {
        LineChoice choice = usual;
        choice.delimiter = delimiter;
        NetworkLines lines = lines_of(
            {sample_night(), test::as_limit(sample_night("2024-02-04")), single, bare, transformed}, choice);
        CHECK(lines.skipped.empty());
        const auto text = write_network_report(lines.report);
        REQUIRE(text);
        INFO(*text);
        const CheckedReport checked = check_network_report(*text);
        CHECK(checked.findings.empty());
        for (NetworkObservation& o : lines.report.observations)
            o.date = std::round(o.date * 1e5) / 1e5;  // as written
        CHECK(checked.report == lines.report);
    }
}

TEST_CASE("A limit's line has '<', no error, and says how many sigma", "[network]") {
    const NetworkObservation o = line_of(test::as_limit(sample_night()));
    CHECK(o.fainter_than);
    CHECK(o.magnitude_mag == 19.5);
    CHECK_FALSE(o.err_mag);
    CHECK_THAT(o.note_text, Catch::Contains("3 sigma"));
    CHECK(numbers(o).count("VMAGINS") == 0);
}

TEST_CASE("Filter codes are the network's, also for bands calibrated on a neighbour's sequence",
          "[network]") {
    // aavso.org, page of filters: CV is clear on the V sequence, TG green on V, R is Cousins.
    const std::vector<std::pair<std::string, std::string>> codes = {{"B", "B"},   {"Rc", "R"}, {"Ic", "I"},
                                                                    {"g", "SG"},  {"i", "SI"}, {"CV", "CV"},
                                                                    {"TG", "TG"}, {"TR", "TR"}};
    for (const auto& [band, code] : codes)
        CHECK(line_of(sample_night("2024-02-03", band)).filter == code);
}

TEST_CASE("What to know of a value goes into the notes in the words of the flags", "[network]") {
    NightMeasurement night = sample_night();
    night.caveats = Caveats{Caveat::cloud, Caveat::host_unmodelled};
    night.transformed = true;
    night.colour_index = "B-V";
    night.colour_mag = 0.61;
    night.colour_term = -0.034;
    const NetworkObservation o = line_of(night);
    CHECK(o.transformed);
    CHECK_THAT(o.note_text, Catch::Contains("flags host-unmodelled cloud") && Catch::Contains("12 frames") &&
                                Catch::Contains("random 0.009 common 0.008") &&
                                Catch::Contains("colour term -0.034 applied at B-V 0.610"));
    CHECK(numbers(o).at("Tv_bv") == -0.034);
}

TEST_CASE("The bands of one night share a group that other nights and instruments do not have", "[network]") {
    NightMeasurement second = sample_night("2024-02-03", "B");
    second.instrument = "other";
    NightMeasurement second_v = sample_night("2024-02-03", "V");
    second_v.instrument = "other";
    const NetworkLines lines =
        lines_of({sample_night("2024-02-03", "B"), second, sample_night(), second_v,
                  sample_night("2024-02-04", "B"), sample_night("2024-02-04"), sample_night("2024-02-05")});
    const auto& o = lines.report.observations;
    REQUIRE(o.size() == 7);
    REQUIRE(o[0].group);
    CHECK(o[0].group == o[2].group);
    CHECK(o[1].group == o[3].group);
    CHECK(o[0].group != o[1].group);
    CHECK(o[4].group == o[5].group);
    CHECK(o[0].group != o[4].group);
    CHECK_FALSE(o[6].group);  // one band is no set
    CHECK(write_network_report(lines.report));
}

TEST_CASE("What is left out is listed with its reason, and the rest is written", "[network]") {
    NightMeasurement no_limit = test::as_limit(sample_night("2024-02-04"));
    no_limit.limit_mag.reset();
    NightMeasurement no_magnitude = sample_night("2024-02-05");
    no_magnitude.magnitude_mag.reset();
    NightMeasurement no_error = sample_night("2024-02-06");
    no_error.random_err_mag.reset();
    NightMeasurement no_number = sample_night("2024-02-07");
    no_number.magnitude_mag = std::numeric_limits<double>::quiet_NaN();
    NightMeasurement no_date = sample_night("2024-02-08");
    no_date.jd_utc = 0.0;
    NightMeasurement long_label = sample_night("2024-02-09");
    long_label.check.label = "a label of more than twenty characters";
    NightMeasurement no_band = sample_night("2024-02-10");
    no_band.band = Band();
    const NetworkLines lines = lines_of({no_limit, no_magnitude, no_error, no_number, no_date, long_label,
                                         no_band, sample_night("2024-02-11")});
    CHECK(lines.report.observations.size() == 1);
    REQUIRE(lines.skipped.size() == 7);
    CHECK(lines.skipped[0] == SkippedLine{"2024-02-04", "V", "", "It is a limit without a value."});
    CHECK(lines.skipped[1].reason == "It has no magnitude.");
    CHECK(lines.skipped[2].reason == "Its error is not known.");
    CHECK(lines.skipped[3].reason == "Its magnitude is not a number.");
    CHECK_THAT(lines.skipped[4].reason, Catch::Contains("DATE"));
    CHECK_THAT(lines.skipped[5].reason, Catch::Contains("KNAME"));
    CHECK(lines.skipped[6].reason == "Its band is not known.");
}

TEST_CASE("Dates, name, chart and observation type can be chosen", "[network]") {
    LineChoice choice = usual;
    choice.from_night = "2024-02-04";
    choice.to_night = "2024-02-05";
    choice.obstype = "dslr";
    choice.chart = "";
    choice.transient_name = "DEMO SN 2";
    const NetworkLines lines = lines_of({sample_night("2024-02-03"), sample_night("2024-02-04"),
                                         sample_night("2024-02-05"), sample_night("2024-02-06")},
                                        choice);
    CHECK(lines.report.observations.size() == 2);
    CHECK(lines.report.header.obstype == "DSLR");
    CHECK(lines.report.observations.at(0).star == "DEMO SN 2");
    CHECK(lines.skipped.empty());
    REQUIRE(lines.remarks.size() == 3);
    CHECK(lines.remarks[0] == "2 nights lie outside the dates asked for.");
    CHECK_THAT(lines.remarks[1], Catch::Contains("the example's, XYZ"));
    CHECK_THAT(lines.remarks[2], Catch::Contains("chart"));
}

TEST_CASE("Without the observer's code there is no report, and the place to put it is named", "[network]") {
    night::Campaign campaign = sample_campaign();
    campaign.observer_code.clear();
    const std::vector<NightMeasurement> nights = {sample_night()};
    const auto lines = network_lines(nights, campaign, usual);
    REQUIRE_FALSE(lines);
    CHECK(lines.error().kind == ProblemKind::request);
    CHECK(lines.error().where == "demo/campaign.toml, [observer] code");
    CHECK_THAT(lines.error().mend, Catch::Contains("[observer] code ="));
}

TEST_CASE("A request that the format cannot meet is refused as a whole", "[network]") {
    const std::vector<NightMeasurement> nights = {sample_night()};
    const auto refused = [&](void (*change)(LineChoice&, night::Campaign&)) {
        LineChoice choice = usual;
        night::Campaign campaign = sample_campaign();
        change(choice, campaign);
        const auto lines = network_lines(nights, campaign, choice);
        return !lines && lines.error().kind == ProblemKind::request;
    };
    CHECK(refused([](LineChoice& c, night::Campaign&) { c.obstype = "photo"; }));
    CHECK(refused([](LineChoice& c, night::Campaign&) { c.delimiter = "|"; }));
    CHECK(refused([](LineChoice& c, night::Campaign&) { c.software = std::string(256, 's'); }));
    CHECK(refused([](LineChoice& c, night::Campaign&) { c.from_night = "yesterday"; }));
    CHECK(refused([](LineChoice& c, night::Campaign&) { c.from_night = "2024-02-30"; }));
    CHECK(refused(
        [](LineChoice& c, night::Campaign&) { c.from_night = "2024-02-05", c.to_night = "2024-02-04"; }));
    CHECK(refused([](LineChoice&, night::Campaign& c) { c.name.clear(); }));
    CHECK(refused([](LineChoice&, night::Campaign& c) { c.name = std::string(31, 'S'); }));
    CHECK(refused([](LineChoice&, night::Campaign& c) { c.chart = "X1,X2"; }));
    CHECK(refused([](LineChoice&, night::Campaign& c) { c.observer_code = "A. Observer"; }));
}

TEST_CASE("Frames give a line each, the unused their reason", "[network]") {
    auto refused = test::sample_frame();
    refused.used = false;
    refused.reason = "The stars are trailed.";
    const std::vector<night::FrameMeasurement> frames = {test::sample_frame(), refused,
                                                         test::as_limit(test::sample_frame())};
    const auto lines = network_lines(frames, sample_campaign(), usual);
    REQUIRE(lines);
    CHECK(lines->report.observations.size() == 2);
    CHECK_FALSE(lines->report.observations[0].group);  // a plain time series: na
    REQUIRE(lines->skipped.size() == 1);
    CHECK(lines->skipped[0] == SkippedLine{"2024-02-03", "V", "frames/v_001.fits", "The stars are trailed."});
    const auto text = write_network_report(lines->report);
    REQUIRE(text);
    CHECK(check_network_report(*text).findings.empty());
}

}  // namespace
}  // namespace emberline::exchange
