// SPDX-License-Identifier: MIT
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tasks/audit_sequence.hpp"
#include "tasks/documents.hpp"

using namespace emberline;

namespace {

tasks::Workspace nowhere() {
    tasks::Workspace workspace;
    workspace.campaign.folder = "/nowhere/at/all";
    return workspace;
}

}  // namespace

TEST_CASE("an audit without a ledger, or of a band that is none, is refused in words", "[audit]") {
    const auto no_ledger = tasks::audit_sequence(nowhere(), {});
    REQUIRE_FALSE(no_ledger);
    CHECK_FALSE(no_ledger.error().mend.empty());
    const auto no_band =
        tasks::audit_sequence(nowhere(), {.bands = {"no band"}, .remove_each = false, .picture = false});
    REQUIRE_FALSE(no_band);
    CHECK(no_band.error().kind == ProblemKind::request);
}

TEST_CASE("the audit's document has every number, and null for what there is not", "[audit]") {
    tasks::AuditOutcome outcome{"DEMO SN 1", {}, {}};
    outcome.audit.frames = 30;
    outcome.audit.nights = 6;
    night::StarOnTrial bad;
    bad.star.label = "131b";
    bad.star.band = *parse_band("V");
    bad.star.instrument = "main";
    bad.star.fault = night::StarFault::varies;
    bad.star.why = "It varies.";
    bad.star.offset_mag = ValueWithError{-0.05, 0.04};
    bad.star.growth.push_back({0.6, 1.5, {0.002, 0.005}, 0.4});
    bad.star.nights.push_back({"2024-02-03", 2460344.5, {0.1, 0.01}, 5});
    bad.removal = night::RemovalEffect{};
    bad.removal->nights.push_back({"2024-02-03", 2460344.5, {14.0, 0.01}, {14.02, 0.01}});
    bad.removal->harm = 2.0;
    bad.advice = night::Advice::exclude;
    night::StarOnTrial good;
    good.star.label = "126";
    good.star.band = *parse_band("V");
    good.star.fault = night::StarFault::fine;
    outcome.audit.stars = {bad, good};

    const auto json = tasks::document(outcome);
    CHECK(json["transient"] == "DEMO SN 1");
    CHECK(json["frames"] == 30);
    CHECK(json["picture"].is_null());
    REQUIRE(json["stars"].size() == 2);
    const auto& first = json["stars"][0];
    CHECK(first["star"] == "131b");
    CHECK(first["verdict"] == "varies");
    CHECK(first["offset_mag"]["value"] == -0.05);
    CHECK(first["growth"][0]["wide_fwhm"] == 1.5);
    CHECK(first["nights"][0]["residual_mag"] == 0.1);
    CHECK(first["removal"]["harm_in_errors"] == 2.0);
    CHECK(first["removal"]["decline"].is_null());
    CHECK(first["removal"]["nights"][0]["change_mag"].get<double>() == Approx(0.02));
    CHECK(first["removal"]["nights"][0]["change_in_errors"].get<double>() == Approx(2.0));
    CHECK(first["advice"] == "exclude");
    CHECK(json["stars"][1]["removal"].is_null());
    CHECK(json["stars"][1]["offset_mag"].is_null());
    CHECK(json["stars"][1]["verdict"] == "fine");
}
