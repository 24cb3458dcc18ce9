// SPDX-License-Identifier: MIT
// `curve` on other people's points: what is wrong with them, and what it makes of good ones. All are
// invented.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

const std::string heading = "jd,band,mag,mag_err\n";

// A fade with a scatter that is the same every time.
double wobble(int i) {
    return 0.015 * std::sin(7.3 * i);
}

std::string fade(const std::string& band, int nights, double first_mag, double rate,
                 double first_jd = 2460400.5) {
    std::string rows;
    for (int i = 0; i < nights; ++i)
        rows += fmt::format("{:.4f},{},{:.3f},0.02\n", first_jd + i, band, first_mag + rate * i + wobble(i));
    return rows;
}

class Series {
  public:
    explicit Series(const std::string& text, const std::string& name = "points.csv")
        : path_(folder_.path(name)) {
        write_contents(path_, text);
    }
    [[nodiscard]] Outcome curve(const Words& more = {}) const {
        Words words{"curve", "--alone", "--series", path_};
        words.insert(words.end(), more.begin(), more.end());
        return run(words);
    }
    [[nodiscard]] Json band(const std::string& name, const Words& more = {}) const {
        Words words = more;
        words.emplace_back("--json");
        const Outcome outcome = curve(words);
        INFO(outcome.err);
        REQUIRE(outcome.status == 0);
        return outcome.json().at("bands").at(name);
    }
    [[nodiscard]] const std::string& path() const { return path_; }
    [[nodiscard]] std::string beside(const std::string& name) const { return folder_.path(name); }

  private:
    Folder folder_;
    std::string path_;
};

double rate_of(const Json& band) {
    return band.at("decline_rate_mag_per_day").at("value").get<double>();
}
double rate_err_of(const Json& band) {
    return band.at("decline_rate_mag_per_day").at("err").get<double>();
}

}  // namespace

TEST_CASE("points that carry no curve are told so, with status 3", "[command][curve]") {
    const Series one(heading + fade("V", 1, 15.0, 0.0));
    CHECK(one.curve().status == 3);
    CHECK_THAT(one.curve().out, Contains("needs 2 detections, and there is 1"));

    const Series limits("jd,band,mag,mag_err,is_limit\n2460400.5,V,17.0,,1\n2460401.5,V,17.1,,1\n");
    CHECK(limits.curve().status == 3);
    CHECK_THAT(limits.curve().out, Contains("None of the 2 points is a detection"));

    const Series modified(heading + fade("V", 4, 15.0, 0.05, 60400.0));
    CHECK(modified.curve().status == 3);
    CHECK_THAT(modified.curve().problem(), Contains("line 2") && Contains("modified Julian date"));

    for (const std::string& text :
         {std::string(), std::string("jd,mag\n2460400.5,15\n"), std::string("\x01\x02\xff")}) {
        const Series bad(text);
        CHECK(bad.curve().status == 3);
        CHECK_THAT(bad.curve().problem(), Contains("points.csv"));
    }
    CHECK(run({"curve", "--alone", "--series", one.beside("nothere.csv")}).status == 3);
    CHECK(run({"curve", "--alone", "--series", one.beside("")}).status == 3);
}

TEST_CASE("two points are a line, and nothing checks its error", "[command][curve]") {
    const Series two(heading + "2460400.5,V,15.0,0.02\n2460410.5,V,15.5,0.02\n");
    const Json band = two.band("V");
    CHECK(band.at("chosen") == "straight-line");
    CHECK(rate_of(band) == Approx(0.05));
    // √2 · 0.02 mag over ten days: arithmetic.
    CHECK(rate_err_of(band) == Approx(std::sqrt(2.0) * 0.002));
    CHECK_THAT(two.curve().out, Contains("nothing checks the errors"));
}

TEST_CASE("order, copies, missing errors and one wild point leave the rate alone", "[command][curve]") {
    const std::string rows = fade("V", 14, 15.0, 0.05);
    const double rate = rate_of(Series(heading + rows).band("V"));
    CHECK(rate == Approx(0.05).epsilon(0).margin(0.004));

    auto lines = lines_of(rows);
    std::reverse(lines.begin(), lines.end());
    std::string turned;
    for (const std::string& line : lines)
        turned += line + '\n';
    CHECK(rate_of(Series(heading + turned).band("V")) == Approx(rate).epsilon(0).margin(1e-9));

    const Json doubled = Series(heading + rows + rows).band("V");
    CHECK(doubled.at("n") == 14);
    CHECK(rate_of(doubled) == Approx(rate).epsilon(0).margin(1e-9));

    std::string bare = "jd,band,mag,mag_err\n";
    for (const std::string& line : lines_of(rows))
        bare += line.substr(0, line.rfind(',')) + (bare.size() < 60   ? ",0\n"
                                                   : bare.size() < 90 ? ",-1\n"
                                                                      : ",\n");
    const Json guessed = Series(bare).band("V", {"--model", "straight-line"});
    CHECK(rate_of(guessed) == Approx(rate).epsilon(0).margin(0.002));
    CHECK_FALSE(guessed.at("remarks").empty());

    std::string wild = heading;
    for (const std::string& line : lines_of(rows))
        wild += line.find("2460406.5") == 0 ? "2460406.5000,V,20.3,0.02\n" : line + '\n';
    const Json with_wild = Series(wild).band("V");
    CHECK(with_wild.at("chosen") == "straight-line");
    CHECK(std::abs(rate_of(with_wild) - rate) < 0.003);
    CHECK(rate_err_of(with_wild) < 0.006);
}

TEST_CASE("bands that do not overlap are fitted each by itself, without a colour", "[command][curve]") {
    const Series apart(heading + fade("B", 6, 15.0, 0.1) + fade("V", 6, 15.0, 0.05, 2460500.5));
    const Outcome outcome = apart.curve({"--json"});
    REQUIRE(outcome.status == 0);
    const Json curve = outcome.json();
    CHECK(rate_of(curve.at("bands").at("B")) == Approx(0.1).epsilon(0).margin(0.02));
    CHECK(rate_of(curve.at("bands").at("V")) == Approx(0.05).epsilon(0).margin(0.02));
    CHECK(curve.at("colours").empty());
    CHECK(apart.curve({"--json", "--band", "V"}).json().at("bands").size() == 1);
}

TEST_CASE("two files are two series, fitted with an offset between them", "[command][curve]") {
    const Series first(heading + fade("V", 10, 15.0, 0.05));
    const Series second(heading + fade("V", 10, 15.15, 0.05, 2460400.9), "friend.csv");
    const Json band = first.band("V", {"--series", second.path()});
    CHECK(band.at("n") == 20);
    CHECK(band.at("series") == Json({"points", "friend"}));
    REQUIRE(band.at("offsets").size() == 1);
    CHECK(band.at("offsets")[0].at("series") == "friend");
    // 0.15 of it, less the 0.4 d of fade that lie between the nights: arithmetic.
    CHECK(band.at("offsets")[0].at("offset_mag").at("value").get<double>() ==
          Approx(0.13).epsilon(0).margin(0.02));
    CHECK_THAT(first.curve({"--series", second.path()}).out,
               Contains("friend lies") && Contains("below points"));
}

TEST_CASE("rates, facts and other errors are given when asked for", "[command][curve]") {
    const Series series(heading + fade("V", 14, 15.0, 0.05));
    const Json band =
        series.band("V", {"--rate", "2460402:2460408", "--rate", "2024-04-01:2024-04-09", "--ebv", "0.1",
                          "--distance-mpc", "10", "--redshift", "0.01", "--exploded", "2024-03-20",
                          "--profile", "--bootstrap", "60", "--sample"});
    CHECK(band.at("rates").size() == 2);
    CHECK(band.at("rates")[0].at("n") == 6);
    // A(V) of E(B−V) = 0.1 mag: Schlafly & Finkbeiner 2011, table 6, from memory: 2.742 a magnitude.
    CHECK(band.at("extinction_mag").get<double>() == Approx(0.2742));
    const Json& checked = band.at("checked_errors");
    const double err = rate_err_of(band);
    CHECK(checked.at("profile").at("decline_rate").at("plus").get<double>() == Approx(err).epsilon(0.2));
    CHECK(checked.at("bootstrap").at("errors").at("decline_rate").get<double>() < 3.0 * err);
    CHECK(checked.at("bootstrap").at("errors").at("decline_rate").get<double>() > 0.2 * err);
    CHECK(checked.at("sample").at("converged") == true);
    CHECK(checked.at("sample").at("parameters").at("decline_rate").at("err").get<double>() ==
          Approx(err).epsilon(0.2));
}

TEST_CASE("nonsense asked of curve is bad usage", "[command][curve]") {
    const Series series(heading + fade("V", 5, 15.0, 0.05));
    for (const Words& words :
         {Words{"--rate", "yesterday"}, Words{"--rate", "2460410:2460400"}, Words{"--rate", "a:b"},
          Words{"--exploded", "soon"}, Words{"--redshift", "-3"}, Words{"--ebv", "-1"},
          Words{"--distance-mpc", "0"}, Words{"--offset-prior", "0"}, Words{"--bootstrap", "-5"},
          Words{"--model", "cubic"}, Words{"--band", "Zork"}, Words{"--from", "never"}}) {
        INFO(words[0] << " " << words[1]);
        CHECK(series.curve(words).status == 2);
    }
    CHECK(run({"curve", "--alone"}).status == 2);
    CHECK_THAT(series.curve({"--series", series.path()}).problem(), Contains("given twice"));
    for (const char* option :
         {"--redshift", "--ebv", "--distance-mpc", "--distance-modulus", "--offset-prior"})
        CHECK(series.curve({option, "nan"}).status == 2);
    CHECK(series.curve({"--distance-mpc", "10", "--distance-modulus", "30"}).status == 2);
}

TEST_CASE("others' points stand beside the campaign's, or alone", "[command][curve]") {
    const Rehearsed campaign({"--nights", "4", "--band", "V"});
    campaign.measure();
    const Json own = campaign.run({"curve", "--json"}).json().at("bands").at("V");
    const double from = own.at("decline_rate_mag_per_day").at("from_bjd_tdb").get<double>();
    const double mag = own.at("models")[0].at("parameters").at("mag_at_reference").at("value").get<double>();
    const Series others(heading + fade("V", 8, mag, 0.05, from), "neighbour.csv");
    const Json both = campaign.run({"curve", "--json", "--series", others.path()}).json().at("bands").at("V");
    CHECK(both.at("n") == 12);
    CHECK(both.at("series") == Json({"own", "neighbour"}));
    const Json alone =
        campaign.run({"curve", "--json", "--alone", "--series", others.path()}).json().at("bands").at("V");
    CHECK(alone.at("n") == 8);
}

TEST_CASE("ten thousand points are read, fitted and drawn", "[command][curve]") {
    std::string rows = heading;
    for (int i = 0; i < 10000; ++i)
        rows += fmt::format("{:.5f},V,{:.4f},0.02\n", 2460400.5 + 0.004 * i, 15.0 + 0.0002 * i + wobble(i));
    const Series many(rows);
    const Json band = many.band("V", {"--model", "straight-line", "--picture", many.beside("many.svg")});
    CHECK(band.at("n") == 10000);
    CHECK(rate_of(band) == Approx(0.05).epsilon(0).margin(1e-4));
    CHECK(contents(many.beside("many.svg")).size() < 3'000'000);
}

TEST_CASE("the curve's document keeps its shape", "[command][curve]") {
    // Contract: the keys that others read, an empty figure being null.
    const Json band = Series(heading + fade("V", 14, 15.0, 0.05)).band("V");
    const Json& decline = band.at("decline_rate_mag_per_day");
    for (const char* key : {"value", "err", "from_bjd_tdb", "to_bjd_tdb"})
        CHECK(decline.at(key).is_number());
    CHECK(band.at("peak").is_null());
    CHECK(band.at("delta_m15").is_null());
    REQUIRE_FALSE(band.at("models").empty());
    for (const Json& model : band.at("models")) {
        CHECK(model.at("name").is_string());
        for (const char* key : {"chi2", "dof", "bic"})
            CHECK(model.at(key).is_number());
        for (const Json& parameter : model.at("parameters"))
            CHECK((parameter.at("value").is_number() && parameter.at("err").is_number()));
    }

    const Series one(heading + fade("V", 1, 15.0, 0.0));
    const Outcome nothing = one.curve({"--json"});
    CHECK(nothing.status == 3);
    const Json empty = nothing.json().at("bands").at("V");
    CHECK(empty.at("n") == 1);
    CHECK(empty.at("models").empty());
    CHECK(empty.at("chosen").is_null());
    CHECK(empty.at("decline_rate_mag_per_day").is_null());
}

TEST_CASE("a maximum is given with its date and its fade of 15 days", "[command][curve]") {
    std::string rows = heading;
    for (int i = -12; i <= 40; ++i) {
        const double fades = 2.0 * (1.0 - std::exp(-i * i / 288.0)) + 0.015 * std::max(i, 0);
        rows += fmt::format("{:.4f},B,{:.3f},0.02\n", 2460400.5 + i, 15.0 + fades + wobble(i));
    }
    const Json band = Series(rows).band("B");
    const Json& peak = band.at("peak");
    CHECK(peak.at("bjd_tdb").get<double>() == Approx(2460400.5).epsilon(0).margin(1.5));
    CHECK(peak.at("mag").get<double>() == Approx(15.0).epsilon(0).margin(0.05));
    // 2 (1 − exp(−225/288)) + 0.225: arithmetic.
    CHECK(band.at("delta_m15").at("value").get<double>() == Approx(1.309).epsilon(0).margin(0.1));
    CHECK(band.at("delta_m15").at("err").get<double>() > 0.0);
}

TEST_CASE("many points of one night are a line over hours, no more", "[command][curve]") {
    std::string rows = heading;
    for (int i = 0; i < 40; ++i)
        rows += fmt::format("{:.4f},V,{:.3f},0.02\n", 2460400.5 + 0.01 * i, 15.0 + wobble(i));
    const Json band = Series(rows).band("V");
    CHECK(band.at("chosen") == "straight-line");
    CHECK(std::abs(rate_of(band)) < 4.0 * rate_err_of(band));
    CHECK(rate_err_of(band) > 0.01);
    CHECK(band.at("peak").is_null());
    CHECK(band.at("plateau").is_null());
}

TEST_CASE("a picture of the curve that cannot be written is told with its status", "[command][curve]") {
    const Series series(heading + fade("V", 5, 15.0, 0.05));
    CHECK(series.curve({"--picture", series.beside("points.bmp")}).status == 2);
    CHECK(series.curve({"--picture", series.beside("nowhere/points.svg")}).status == 4);
    // Without a fit nothing is drawn.
    const Series one(heading + fade("V", 1, 15.0, 0.0));
    CHECK(one.curve({"--picture", one.beside("one.svg")}).status == 3);
    CHECK_FALSE(std::filesystem::exists(one.beside("one.svg")));
}
