// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <cmath>

#include "program/frame_bytes.hpp"
#include "program/rehearsed.hpp"

using namespace emberline::testing;

namespace {

Words beside_host(const Words& more) {
    Words words = {"--nights", "2", "--clear", "--no-trails", "--host-offset", "8"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

struct Told {
    Outcome outcome;
    std::string method;  // of the first night
    double mag = 0.0;
};

Told measured(const Rehearsed& campaign) {
    Told told{campaign.run({"--json", "measure"}), "", 0.0};
    INFO(told.outcome.out << told.outcome.err);
    const auto json = told.outcome.json();
    REQUIRE(json["nights"].size() >= 1);
    told.method = json["nights"][0]["method"].get<std::string>();
    if (json["nights"][0]["mag"].is_number()) told.mag = json["nights"][0]["mag"].get<double>();
    return told;
}

bool says(const Outcome& outcome, const std::string& words) {
    return outcome.out.find(words) != std::string::npos;
}

// The template cannot serve: it is said why, the bands go on without it, and the status remembers.
void goes_on_without(const Rehearsed& campaign, const std::string& why) {
    const Told told = measured(campaign);
    INFO(told.outcome.out);
    CHECK(told.outcome.status == 1);
    CHECK(says(told.outcome, why));
    CHECK(told.method.starts_with("scene-"));
    CHECK(std::abs(told.mag - 13.5) < 0.15);  // the rehearsal's truth, within its catalogue's errors
}

}  // namespace

TEST_CASE("a template is used where one is named, and said to be", "[faults][host]") {
    const Rehearsed campaign(beside_host({"--with-template"}));
    const Told told = measured(campaign);
    CHECK(told.outcome.status == 0);
    CHECK(told.method.starts_with("template-"));
}

TEST_CASE("a template of another field is refused, and the scene stands in", "[faults][host]") {
    const Rehearsed campaign(beside_host({"--with-template"}));
    const std::string path = campaign.path("template.fits");
    write_contents(path, with_card(contents(path), "CRVAL2", "                10.0"));
    goes_on_without(campaign, "lies off the frame");
}

TEST_CASE("a template that claims the field but shows another is refused", "[faults][host]") {
    const Rehearsed campaign(beside_host({"--with-template"}));
    const std::string path = campaign.path("template.fits");
    // 40″ east of what its header says: no star is where it should be.
    const std::string fits = contents(path);
    write_contents(path, with_card(fits, "CRPIX1", "               100.0"));
    goes_on_without(campaign, "template");
}

TEST_CASE("a template in which the transient shines with half its light is refused", "[faults][host]") {
    const Rehearsed campaign(beside_host({"--with-template", "--template-residual", "0.5"}));
    goes_on_without(campaign, "the transient still shines in it");
}

TEST_CASE("a template that is missing, cut short or without a plate solution is refused", "[faults][host]") {
    const Rehearsed missing(beside_host({"--with-template"}));
    std::filesystem::remove(missing.path("template.fits"));
    goes_on_without(missing, "template cannot be used");
    const Rehearsed cut(beside_host({"--with-template"}));
    write_contents(cut.path("template.fits"), contents(cut.path("template.fits")).substr(0, 50000));
    goes_on_without(cut, "cut short");
    const Rehearsed unsolved(beside_host({"--with-template"}));
    write_contents(unsolved.path("template.fits"),
                   without_cards(contents(unsolved.path("template.fits")), {"CTYPE1", "CTYPE2"}));
    goes_on_without(unsolved, "no plate solution");
}

TEST_CASE("a template of another band is used with a flag", "[faults][host]") {
    const Rehearsed campaign(beside_host({"--with-template"}));
    const std::string path = campaign.path("template.fits");
    write_contents(path, with_card(contents(path), "FILTER", "'R       '"));
    const Told told = measured(campaign);
    CHECK(told.outcome.status == 0);
    CHECK(told.method.starts_with("template-"));
    CHECK(says(told.outcome, "template-other-band"));
}

TEST_CASE("a transient on the nucleus is measured with it, and told so", "[faults][host]") {
    const Rehearsed campaign({"--nights", "2", "--clear", "--host-offset", "0"});
    const Told told = measured(campaign);
    CHECK(told.method == "aperture");
    CHECK(says(told.outcome, "on-nucleus"));
    CHECK(says(told.outcome, "host-unmodelled"));
    CHECK(says(told.outcome, "Only a template"));
}

TEST_CASE("a way that is none is refused by its line", "[faults][host]") {
    const Rehearsed campaign(beside_host({}));
    const std::string path = campaign.path("campaign.toml");
    write_contents(path, contents(path) + "\n[host]\nmethod = \"magic\"\n");
    const Outcome outcome = campaign.run({"measure"});
    CHECK(outcome.status == 2);
    CHECK(outcome.problem().find("'magic' is no way") != std::string::npos);
    CHECK(outcome.problem().find("host.method") != std::string::npos);
}
