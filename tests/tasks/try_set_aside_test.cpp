// SPDX-License-Identifier: MIT
#include "tasks/try_set_aside.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

#include "night/removal_effect.hpp"
#include "tasks/documents.hpp"
#include "tasks/measured_campaign.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using tasks::Named;
using tasks::SetAsideAction;

namespace {

using Access = ledger::Ledger::Access;

rehearsal::RehearsalOptions four_nights() {
    rehearsal::RehearsalOptions options;
    options.host = false;
    options.nights = 4;
    options.frames = 2;
    options.comparison_stars = 5;
    options.stars.wrong_mag = 0.3;
    return options;
}

// The brightest star that calibrates and is right.
std::string right_star(const ledger::Ledger& ledger) {
    const night::Solution solution = ledger.newest().value();
    for (const night::StarVerdict& verdict : solution.stars) {
        if (!verdict.suspect) return verdict.label;
    }
    return {};
}

const MeasuredCampaign& campaign() {
    static const MeasuredCampaign made(four_nights());
    return made;
}

std::string wrong_star(const ledger::Ledger& ledger) {
    std::string label;
    double most = 0.0;
    const night::Solution solution = ledger.newest().value();
    for (const night::StarVerdict& verdict : solution.stars) {
        if (std::abs(verdict.offset_mag) <= most) continue;
        most = std::abs(verdict.offset_mag);
        label = verdict.label;
    }
    return label;
}

// What the ledger has of each night after the change was kept.
void compare_with(const night::Solution& solution, const std::vector<tasks::TriedNight>& nights, bool after) {
    std::size_t found = 0;
    for (const night::NightMeasurement& m : solution.nights) {
        for (const tasks::TriedNight& tried : nights) {
            if (tried.night != m.night || tried.band != m.band) continue;
            const auto& mag = after ? tried.after_mag : tried.before_mag;
            REQUIRE(mag);
            CHECK(mag->value == *m.magnitude_mag);
            CHECK(mag->err == *m.total_err_mag());
            ++found;
        }
    }
    CHECK(found == solution.nights.size());
}

std::string all_remarks(const tasks::TriedSetAside& tried) {
    std::string all;
    for (const std::string& remark : tried.remarks)
        all += remark + "\n";
    return all;
}

}  // namespace

TEST_CASE("what is tried is what comes to pass, to the last bit, and trying keeps nothing", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(Access::write);
    const night::Solution before = ledger.newest().value();
    const Named star{ledger::SetAside::star, right_star(ledger)};
    const Named frame{ledger::SetAside::frame, before.frames.front().frame};
    for (const Named& named : {star, frame}) {
        INFO(tasks::in_words(named));
        const std::size_t solutions = ledger.solutions().value();
        const auto tried = tasks::try_set_aside(workspace, ledger, named, SetAsideAction::exclude);
        REQUIRE(tried);
        CHECK(ledger.newest().value() == before);
        CHECK(ledger.exclusions().value().empty());
        CHECK(ledger.solutions().value() == solutions);
        REQUIRE(tasks::exclude(workspace, ledger, named, "to see"));
        compare_with(before, tried->nights, false);
        const night::Solution without = ledger.newest().value();
        compare_with(without, tried->nights, true);
        // The decline by another road: a line through the magnitudes, weighted by the random errors alone. In
        // flux, with what the nights share, it is the same to a fraction of its error.
        const auto effect = night::removal_effect(before, without, before.nights[0].band, "main");
        REQUIRE(effect.rate);
        REQUIRE(tried->decline.size() == 1);
        const tasks::TriedDecline& decline = tried->decline.front();
        REQUIRE(decline.before_mag_per_day);
        CHECK(decline.before_mag_per_day->value ==
              Approx(effect.rate->before_mag_per_day.value).margin(0.3 * decline.before_mag_per_day->err));
        CHECK(decline.after_mag_per_day->value - decline.before_mag_per_day->value ==
              Approx(effect.rate->change_mag_per_day.value).margin(0.1 * decline.before_mag_per_day->err));
        CHECK(decline.before_mag_per_day->value == Approx(0.05).margin(0.01));  // as the rehearsal fades

        const auto back = tasks::try_set_aside(workspace, ledger, named, SetAsideAction::include);
        REQUIRE(back);
        compare_with(without, back->nights, false);
        compare_with(before, back->nights, true);
        REQUIRE(tasks::include(workspace, ledger, named));
        CHECK(ledger.newest().value() == before);
    }
}

TEST_CASE("a change is told in random errors, and one within them is said to be so", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    const auto ledger = campaign().ledger();
    // The solution leaves a star out that is wrong by ten of its errors, and nothing changes without it.
    const auto slight = tasks::try_set_aside(workspace, ledger, {ledger::SetAside::star, wrong_star(ledger)},
                                             SetAsideAction::exclude)
                            .value();
    CHECK_THAT(slight.words, Contains("No value would change by more than its random error; the most is"));
    for (const tasks::TriedNight& night : slight.nights)
        CHECK(std::abs(*night.change_sigma()) < 1.0);
    // Without a good one, the wrong star counts for more.
    const night::Solution solution = ledger.newest().value();
    const auto moves = [&](const tasks::TriedSetAside& tried) {
        return std::all_of(tried.nights.begin(), tried.nights.end(),
                           [](const auto& night) { return std::abs(*night.change_sigma()) > 1.0; });
    };
    std::optional<tasks::TriedSetAside> found;
    for (const night::StarVerdict& verdict : solution.stars) {
        auto tried = tasks::try_set_aside(workspace, ledger, {ledger::SetAside::star, verdict.label},
                                          SetAsideAction::exclude)
                         .value();
        if (moves(tried)) found = std::move(tried);
    }
    REQUIRE(found);
    const tasks::TriedSetAside& large = *found;
    CHECK_THAT(large.words, Contains("Star " + large.named.key + " would be set aside.") &&
                                Contains("Of 4 values, 4 would change by more than their random error"));
    for (std::size_t i = 0; i < large.nights.size(); ++i) {
        const tasks::TriedNight& night = large.nights[i];
        CHECK(*night.change_sigma() == Approx((night.after_mag->value - night.before_mag->value) /
                                              *solution.nights[i].random_err_mag));
    }
    const auto check = tasks::try_set_aside(
        workspace, ledger, {ledger::SetAside::star, tasks::check_label(workspace)}, SetAsideAction::exclude);
    REQUIRE(check);
    CHECK_THAT(check->words, Contains("No value would change."));
    CHECK_THAT(all_remarks(*check), Contains("is the check star"));

    const auto json = tasks::document(large);
    CHECK(json["action"] == "exclude");
    CHECK(json["kind"] == "star");
    CHECK(json["key"] == large.named.key);
    CHECK(json["nights"].size() == 4);
    CHECK(json["nights"][0]["change_mag"].get<double>() == Approx(*large.nights[0].change_mag()));
    CHECK(json["decline"][0]["before"]["err"].get<double>() > 0.0);
}

TEST_CASE("a night that is set aside loses its value, and gains it when taken back", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(Access::write);
    const Named night{ledger::SetAside::night, "2024-03-18"};
    const auto tried = tasks::try_set_aside(workspace, ledger, night, SetAsideAction::exclude).value();
    CHECK_THAT(tried.words, Contains("The night of 2024-03-18 would be set aside.") &&
                                Contains("1 value would have no magnitude any more."));
    REQUIRE(tried.nights.size() == 4);
    CHECK(tried.nights[1].before_mag);
    CHECK_FALSE(tried.nights[1].after_mag);
    CHECK(tasks::document(tried)["nights"][1]["change_mag"].is_null());
    REQUIRE(tasks::exclude(workspace, ledger, night, "haze"));
    const auto back = tasks::try_set_aside(workspace, ledger, night, SetAsideAction::include).value();
    CHECK_THAT(back.words, Contains("1 value would have a magnitude again."));
    const auto again = tasks::try_set_aside(workspace, ledger, night, SetAsideAction::exclude).value();
    CHECK(again.words == "The night of 2024-03-18 is set aside already (haze): nothing would change.");
    CHECK(again.nights.empty());
    REQUIRE(tasks::include(workspace, ledger, night));
    const auto nothing = tasks::try_set_aside(workspace, ledger, night, SetAsideAction::include).value();
    CHECK(nothing.words == "The night of 2024-03-18 is not set aside: nothing would change.");
}

TEST_CASE("the last comparison star is named as such before it is lost", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(Access::write);
    std::vector<Named> set_aside;
    std::string last;
    for (const standard::ComparisonStar& star : workspace.sequence.stars) {
        if (star.role != standard::Role::comparison || star.label == workspace.campaign.check_label) continue;
        if (!last.empty()) {
            set_aside.push_back({ledger::SetAside::star, last});
            REQUIRE(ledger.exclude(ledger::SetAside::star, last, "to see"));
        }
        last = star.label;
    }
    const auto tried =
        tasks::try_set_aside(workspace, ledger, {ledger::SetAside::star, last}, SetAsideAction::exclude);
    REQUIRE(tried);
    CHECK_THAT(all_remarks(*tried),
               Contains(last + " is the last comparison star that counts in V: without it nothing can be"));
    CHECK_THAT(tried->words, Contains("4 values would have no magnitude any more."));
    for (const Named& star : set_aside)
        REQUIRE(ledger.include(star.kind, star.key));
}

TEST_CASE("what nobody knows cannot be set aside, and what is set aside is always known", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(Access::write);
    for (const auto kind : {ledger::SetAside::star, ledger::SetAside::night, ledger::SetAside::frame}) {
        const auto named = tasks::find_named(workspace, ledger, kind, "2031-01-01");
        REQUIRE_FALSE(named);
        CHECK(named.error().kind == ProblemKind::request);
        CHECK_FALSE(named.error().mend.empty());
    }
    CHECK_FALSE(tasks::find_named(workspace, ledger, ledger::SetAside::night,
                                  workspace.sequence.stars.front().label));
    CHECK_FALSE(tasks::set_aside_kind("planet"));
    CHECK_FALSE(tasks::set_aside_action("delete"));
    // A star that was taken from the sequence since can be taken back still.
    REQUIRE(ledger.exclude(ledger::SetAside::star, "999", "it varied"));
    CHECK(tasks::find_named(workspace, ledger, "999").value().key == "999");
    REQUIRE(tasks::include(workspace, ledger, {ledger::SetAside::star, "999"}));
    CHECK_FALSE(tasks::find_named(workspace, ledger, "999"));
}

TEST_CASE("a change is undone to its former reason, unless something else came between", "[try]") {
    const tasks::Workspace workspace = campaign().workspace();
    auto ledger = campaign().ledger(Access::write);
    const Named star{ledger::SetAside::star, workspace.sequence.stars.front().label};
    const auto first = tasks::exclude(workspace, ledger, star, "it varies").value();
    CHECK(first.changed);
    CHECK_FALSE(first.before);
    CHECK_FALSE(tasks::exclude(workspace, ledger, star, "it varies").value().changed);
    const auto second = tasks::exclude(workspace, ledger, star, "blended").value();
    CHECK(second.before->reason == "it varies");
    const auto wrong = tasks::undo_set_aside(workspace, ledger, star, "it varies", std::nullopt);
    REQUIRE_FALSE(wrong);
    CHECK(wrong.error().kind == ProblemKind::request);
    CHECK_THAT(wrong.error().what, Contains("is set aside now (blended)"));
    REQUIRE(tasks::undo_set_aside(workspace, ledger, star, "blended", "it varies"));
    CHECK(tasks::exclusion_of(ledger, star).value()->reason == "it varies");
    const auto included = tasks::include(workspace, ledger, star).value();
    REQUIRE(tasks::undo_set_aside(workspace, ledger, star, std::nullopt, included.before->reason));
    CHECK(tasks::exclusion_of(ledger, star).value()->reason == "it varies");
    REQUIRE(tasks::undo_set_aside(workspace, ledger, star, "it varies", std::nullopt));
    CHECK_FALSE(tasks::exclusion_of(ledger, star).value());
    CHECK_THAT(tasks::undo_set_aside(workspace, ledger, star, "it varies", std::nullopt).error().what,
               Contains("is not set aside any more"));
}
