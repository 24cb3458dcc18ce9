// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>

#include "program/rehearsed.hpp"

using namespace emberline::testing;
using Json = nlohmann::json;

namespace {

Words keys_of(const Json& object) {
    Words keys;
    for (const auto& entry : object.items())
        keys.push_back(entry.key());
    return keys;
}

}  // namespace

TEST_CASE("with --json every command prints one document and nothing else", "[command][json]") {
    const Rehearsed campaign({"--nights", "3"});
    const Folder folder;
    for (const Words& words :
         {Words{"new", folder.path("n")},
          Words{"rehearse", folder.path("r"), "--nights", "1", "--frames", "1"},
          Words{"inspect", campaign.path("frames")}, Words{"measure"}, Words{"measure", "--again"},
          Words{"measure", "--again", "--explain"}, Words{"nights"}, Words{"curve"}, Words{"report"},
          Words{"export"}, Words{"export", "--level", "frame", "--format", "ecsv"},
          Words{"export", "-o", folder.path("table.csv")}, Words{"exclude", "first", "--reason", "it varies"},
          Words{"include", "first"}, Words{"report", "--check", campaign.path("out/report.txt")}}) {
        Words whole = words;
        whole.insert(whole.end(), {"--json", "-c", campaign.path()});
        INFO(words.front() << " " << words.back());
        const Outcome outcome = run(whole);
        CHECK(outcome.status == 0);
        CHECK(outcome.err.empty());
        CHECK(outcome.json().is_structured());
    }
}

TEST_CASE("with --json a problem is a document too, and one line on standard error", "[command][json]") {
    const Rehearsed campaign;
    const Folder empty;
    for (const Words& words :
         {Words{"measure", "-c", empty.path()}, Words{"nights", "-c", campaign.path()},
          Words{"curve", "-c", campaign.path()}, Words{"include", "999", "-c", campaign.path()},
          Words{"frobnicate"}, Words{"export", "--level", "moon"}, Words{"exclude"}}) {
        Words whole = words;
        whole.emplace_back("--json");
        INFO(words.front());
        const Outcome outcome = run(whole);
        CHECK(outcome.status > 1);
        const Json problem = outcome.json().at("problem");
        CHECK(keys_of(problem) == Words{"mend", "what", "where"});
        CHECK(outcome.problem().find(problem.at("what").get<std::string>()) != std::string::npos);
    }
}

TEST_CASE("curve --json has the shape of the contract", "[command][json]") {
    const Rehearsed campaign({"--nights", "4", "--band", "V"});
    campaign.measure();
    const Outcome outcome = campaign.run({"curve", "--json"});
    CHECK(outcome.status == 0);
    const Json curve = outcome.json();
    REQUIRE(keys_of(curve.at("bands")) == Words{"V"});
    const Json& band = curve.at("bands").at("V");
    CHECK(band.at("n") == 4);
    // Four nights carry nothing but a line.
    REQUIRE(band.at("models").size() == 1);
    const Json& model = band.at("models").front();
    CHECK(model.at("name") == "straight-line");
    CHECK(band.at("chosen") == model.at("name"));
    CHECK(band.at("why").is_string());
    CHECK(model.at("chi2").is_number());
    CHECK(model.at("dof") == 2);
    CHECK(model.at("bic").is_number());
    REQUIRE(model.at("parameters").size() == 2);
    for (const auto& parameter : model.at("parameters")) {
        CHECK(parameter.at("value").is_number());
        CHECK(parameter.at("err").get<double>() > 0.0);
    }
    const Json& rate = band.at("decline_rate_mag_per_day");
    CHECK(rate.at("err").get<double>() > 0.0);
    // The rehearsal fades by 0.05 mag a day; five of its own errors leave room for an unlucky seed.
    CHECK(std::abs(rate.at("value").get<double>() - 0.05) < 5.0 * rate.at("err").get<double>());
    CHECK(rate.at("from_bjd_tdb").get<double>() < rate.at("to_bjd_tdb").get<double>());
    CHECK(band.at("peak").is_null());
    CHECK(band.at("delta_m15").is_null());
}

TEST_CASE("curve --json of too few nights has the same shape, with nothing chosen", "[command][json]") {
    const Rehearsed campaign;
    campaign.measure();
    const Outcome outcome = campaign.run({"curve", "--json"});
    CHECK(outcome.status == 3);
    const Json band = outcome.json().at("bands").at("V");
    CHECK(band.at("n") == 1);
    CHECK(band.at("models").empty());
    for (const char* empty : {"chosen", "decline_rate_mag_per_day", "peak", "delta_m15"})
        CHECK(band.at(empty).is_null());
}
