// SPDX-License-Identifier: MIT
#include "tasks/build_sequence.hpp"

#include <catch2/catch.hpp>
#include <filesystem>
#include <set>

#include "invented_table.hpp"
#include "quantities/delimited_table.hpp"
#include "standard/sequence.hpp"
#include "tasks/new_campaign.hpp"
#include "tasks/workspace.hpp"
#include "temporary_folder.hpp"

using namespace emberline;
using namespace emberline::test;
using Catch::Contains;
using standard::NotTaken;
using tasks::BuildOutcome;
using tasks::BuildRequest;

namespace {

const SkyPosition transient{Angle::degrees(201.338), Angle::degrees(37.27)};  // as `new` writes it

void write(const std::string& path, const std::string& text) {
    const auto written = write_text_file(path, text);
    if (!written) FAIL(one_line(written.error()));
}

std::string text_of(const std::string& path) {
    const auto text = read_text_file(path);
    if (!text) FAIL(one_line(text.error()));
    return *text;
}

// A fresh campaign, and a catalogue beside it.
class Fresh {
  public:
    explicit Fresh(const std::string& table = invented_table(invented_rows(transient, 250, 4))) {
        const auto made = tasks::new_campaign(path());
        if (!made) FAIL(one_line(made.error()));
        write(table_path(), table);
    }
    [[nodiscard]] std::string path(const std::string& inside = "") const {
        return folder_ / (inside.empty() ? std::string("c") : "c/" + inside);
    }
    [[nodiscard]] std::string table_path() const { return folder_ / "gaia.csv"; }
    void settings(const std::string& from, const std::string& to) const {
        std::string text = text_of(path("campaign.toml"));
        const auto at = text.find(from);
        REQUIRE(at != std::string::npos);
        write(path("campaign.toml"), text.replace(at, from.size(), to));
    }
    [[nodiscard]] Result<BuildOutcome> build(BuildRequest request = {}) const {
        const auto campaign = night::read_campaign(path());
        if (!campaign) FAIL(one_line(campaign.error()));
        if (request.catalogue.empty()) request.catalogue = table_path();
        return tasks::build_sequence(*campaign, request);
    }
    [[nodiscard]] BuildOutcome built(BuildRequest request = {}) const {
        auto outcome = build(std::move(request));
        if (!outcome) FAIL(one_line(outcome.error()));
        return std::move(*outcome);
    }
    [[nodiscard]] std::vector<std::string> former_files() const {
        std::vector<std::string> found;
        for (const auto& entry : std::filesystem::directory_iterator(path())) {
            if (entry.path().filename().string().starts_with("comparison.csv.before-"))
                found.push_back(entry.path().string());
        }
        return found;
    }

  private:
    TemporaryFolder folder_;
};

std::string all_of(const std::vector<std::string>& remarks) {
    std::string all;
    for (const std::string& one : remarks)
        all += one + "\n";
    return all;
}

}  // namespace

TEST_CASE("a fresh campaign gets its comparison stars and its chart", "[build-sequence]") {
    const Fresh campaign;
    const auto outcome = campaign.built();
    CHECK(outcome.choice.chosen.size() == 13);
    CHECK(outcome.refused.empty());
    CHECK(outcome.kept.empty());
    CHECK(campaign.former_files().empty());
    CHECK_THAT(outcome.survey, Contains("Gaia"));
    CHECK(outcome.catalogue_stars == 250);
    CHECK(outcome.chart == campaign.path("out/finder.svg"));
    CHECK_THAT(text_of(outcome.chart), Contains("MY TRANSIENT") && Contains("Gaia"));
    CHECK_THAT(all_of(outcome.remarks), Contains("How bright the transient is"));

    // What was written is a sequence for every other command, and says where it comes from.
    const std::string text = text_of(campaign.path("comparison.csv"));
    CHECK_THAT(text, Catch::StartsWith("# Comparison stars from") && Contains("# V by: "));
    const auto workspace = tasks::open_workspace(campaign.path());
    if (!workspace) FAIL(one_line(workspace.error()));
    CHECK(workspace->sequence.stars.size() == 13);
    const auto rows = invented_rows(transient, 250, 4);
    const Band v = parse_band("V").value();
    std::size_t checks = 0;
    for (std::size_t i = 0; i < outcome.stars.size(); ++i) {
        const standard::ComparisonStar& star = workspace->sequence.stars[i];
        checks += star.role == standard::Role::check ? 1 : 0;
        std::size_t nearest = 0;
        for (std::size_t k = 1; k < rows.size(); ++k) {
            if (separation(rows[k].position, star.position).radians() <
                separation(rows[nearest].position, star.position).radians())
                nearest = k;
        }
        CAPTURE(star.label, nearest);
        CHECK(separation(rows[nearest].position, star.position).arcseconds() < 0.5);
        CHECK(star.magnitude(v)->value == Approx(v_of(rows[nearest])).margin(0.02));
        CHECK(star.magnitude(v)->err > 0.02);  // the relation's scatter, 0.030
        CHECK_FALSE(rows[nearest].variable);
        CHECK(rows[nearest].ruwe < 1.4);
    }
    CHECK(checks == 1);
    std::size_t left = 0;
    for (const auto& [reason, n] : outcome.choice.counts())
        left += n;
    CHECK(left + 13 == 250);
}

TEST_CASE("a sequence that is there is not touched, or kept beside the new one", "[build-sequence]") {
    const Fresh campaign;
    const auto first = campaign.built();
    std::string mine = text_of(campaign.path("comparison.csv"));
    // The observer's own hand: a name, a star set to ignore, a remark.
    const std::string label = first.choice.sequence.stars[2].label;
    const std::string ignored = first.choice.sequence.stars[0].label;
    mine.replace(mine.find("\n" + label + ","), label.size() + 2, "\nmine,");
    const auto line = mine.find("\n" + ignored + ",");
    const auto role = mine.find_last_of(',', mine.find('\n', line + 1));
    mine.replace(role + 1, mine.find('\n', role) - role - 1, "ignore");
    mine += "# looked odd in March\n";
    write(campaign.path("comparison.csv"), mine);

    const auto refused = campaign.build();
    REQUIRE_FALSE(refused);
    CHECK(refused.error().kind == ProblemKind::request);
    CHECK(text_of(campaign.path("comparison.csv")) == mine);
    const auto dry = campaign.built({.dry_run = true});
    CHECK(dry.file.empty());
    CHECK(text_of(campaign.path("comparison.csv")) == mine);
    CHECK(campaign.former_files().empty());

    const auto again = campaign.built({.replace = true});
    REQUIRE(campaign.former_files() == std::vector<std::string>{again.kept});
    CHECK(text_of(again.kept) == mine);
    const auto* kept_name = again.choice.sequence.find("mine");
    REQUIRE(kept_name != nullptr);
    CHECK(separation(kept_name->position, first.choice.sequence.stars[2].position).arcseconds() < 0.1);
    CHECK(again.choice.sequence.find(ignored) == nullptr);
    CHECK(again.choice.counts().size() > 1);
    // And once more at once: no copy overwrites another.
    const auto third = campaign.built({.replace = true});
    CHECK(third.kept != again.kept);
    CHECK(text_of(again.kept) == mine);
    CHECK(campaign.former_files().size() == 2);
}

TEST_CASE("remarks and unreadable rows in the former file are the observer's too", "[build-sequence]") {
    const Fresh campaign;
    const std::string remarks = "# 126,201.2500,37.3000,12.614 from the old chart\nlabel,ra,dec,V,role\n";
    write(campaign.path("comparison.csv"), remarks);
    const auto outcome = campaign.built();  // no star: no need to say --replace
    CHECK(text_of(outcome.kept) == remarks);

    const std::string odd = "my stars\nby hand, and not a table\n";
    write(campaign.path("comparison.csv"), odd);
    CHECK_FALSE(campaign.build());
    CHECK(text_of(campaign.path("comparison.csv")) == odd);
    CHECK(text_of(campaign.built({.replace = true}).kept) == odd);

    const auto elsewhere = campaign.built({.output = campaign.path("other.csv")});
    CHECK(elsewhere.file == campaign.path("other.csv"));
    CHECK(standard::read_sequence(elsewhere.file));
}

TEST_CASE("the bands are those of the instrument with their colours, or those asked for",
          "[build-sequence]") {
    const auto bands_of = [](const BuildOutcome& outcome) {
        std::string names;
        for (const Band& band : outcome.choice.sequence.bands)
            names += band.name() + " ";
        return names;
    };
    const Fresh campaign;
    // No published relation leads from Gaia's bands to B.
    const auto usual = campaign.built({.dry_run = true});
    CHECK(bands_of(usual) == "V Rc Ic ");
    CHECK(usual.refused.empty());
    CHECK_THAT(all_of(usual.remarks), Contains("No star has a magnitude in B"));
    CHECK(usual.choice.colour->name() == "V-Ic");
    campaign.settings("# bands = { \"Green\" = \"V\" }",
                      "bands = { \"Green\" = \"TG\", \"far red\" = \"Ic\" }");
    CHECK(bands_of(campaign.built({.dry_run = true})) == "V Ic ");
    CHECK(bands_of(campaign.built({.bands = {"V"}, .dry_run = true})) == "V ");

    // A band that no relation leads to, asked for: refused, the others are made.
    const auto outcome = campaign.built({.bands = {"V", "K"}, .dry_run = true});
    CHECK(bands_of(outcome) == "V ");
    REQUIRE(outcome.refused.size() == 1);
    CHECK_THAT(outcome.refused[0].what, Contains("No star has a magnitude in K"));
    const auto none = campaign.build({.bands = {"K"}});
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ProblemKind::input);
    const auto unknown = campaign.build({.bands = {"V9"}});
    REQUIRE_FALSE(unknown);
    CHECK(unknown.error().kind == ProblemKind::request);
}

TEST_CASE("a star without a colour cannot be chosen, but its light counts", "[build-sequence]") {
    std::vector<InventedRow> rows;
    for (int i = 0; i < 8; ++i)
        rows.push_back(
            row_beside(transient, 5.0 * std::cos(0.785 * i), 5.0 * std::sin(0.785 * i), 13.0, 0.8));
    rows.push_back(row_beside(transient, 5.0 + 10.0 / 60.0, 0.0, 14.0, 0.8));  // 10″ beside the first
    rows.back().without_colour = true;
    const Fresh campaign(invented_table(rows));
    const auto outcome = campaign.built({.dry_run = true});
    CHECK(outcome.choice.chosen.size() == 7);
    const auto& left = outcome.choice.left_out;
    CHECK(std::count_if(left.begin(), left.end(), [](const standard::LeftOutStar& one) {
              return one.reason == NotTaken::neighbour;
          }) == 1);
    // Faint enough, it does not matter.
    rows.back().g = 18.5;
    write(campaign.table_path(), invented_table(rows));
    CHECK(campaign.built({.dry_run = true}).choice.chosen.size() == 8);
}

TEST_CASE("magnitudes and colours expected of the transient shift the choice", "[build-sequence]") {
    const Fresh campaign;
    const auto about = campaign.built({.transient_mag = 15.0, .dry_run = true});
    CHECK(about.brightest_mag == Approx(13.5));
    CHECK(about.faintest_mag == Approx(17.5));
    CHECK_THAT(all_of(about.remarks), !Contains("How bright the transient is"));
    const auto between = campaign.built({.brightest_mag = 12.0, .faintest_mag = 14.0, .dry_run = true});
    const Band v = parse_band("V").value();
    for (const standard::ComparisonStar& star : between.choice.sequence.stars) {
        CHECK(star.magnitude(v)->value >= 12.0);
        CHECK(star.magnitude(v)->value <= 14.0);
    }
    const auto mean_colour = [](const BuildOutcome& outcome) {
        double sum = 0.0;
        for (const standard::ChosenStar& star : outcome.choice.chosen)
            sum += star.colour_mag.value();
        return sum / static_cast<double>(outcome.choice.chosen.size());
    };
    const double usual = mean_colour(campaign.built({.dry_run = true}));
    campaign.settings("# colour = { \"B-V\" = 0.6 }", "colour = { \"V-Ic\" = 1.3 }");
    CHECK(mean_colour(campaign.built({.dry_run = true})) > usual + 0.1);
}

TEST_CASE("a check star named in the settings that is not among the stars is said", "[build-sequence]") {
    const Fresh campaign;
    campaign.settings("# check = \"126\"", "check = \"no such star\"");
    CHECK_THAT(all_of(campaign.built().remarks), Contains("names 'no such star' as the check star"));
}

TEST_CASE("what cannot be built says why", "[build-sequence]") {
    const Fresh campaign;
    const auto problem = [&](BuildRequest request) {
        const auto outcome = campaign.build(std::move(request));
        REQUIRE_FALSE(outcome);
        CHECK_FALSE(outcome.error().mend.empty());
        return outcome.error();
    };
    CHECK(problem({.catalogue = "missing.csv"}).kind == ProblemKind::request);
    write(campaign.path("notes.txt"), "nothing of a table\nin here\n");
    CHECK(problem({.catalogue = campaign.path("notes.txt")}).kind == ProblemKind::request);
    write(campaign.path("empty.csv"), "");
    CHECK(problem({.catalogue = campaign.path("empty.csv")}).kind == ProblemKind::request);
    CHECK(problem({.brightest_mag = 15.0, .faintest_mag = 11.0}).where == "--magnitudes");
    CHECK(problem({.stars = 0}).where == "--stars");
    for (const double radius : {0.0, -3.0, 1e6, std::nan("")})
        CHECK(problem({.radius_arcmin = radius}).where == "--radius");
    for (const double isolation : {0.0, -3.0, 700.0, std::nan("")})
        CHECK(problem({.isolation_arcsec = isolation}).where == "--isolation");

    // Somewhere else in the sky.
    const SkyPosition elsewhere{Angle::degrees(150.0), Angle::degrees(2.0)};
    write(campaign.path("far.csv"), invented_table(invented_rows(elsewhere, 50, 1)));
    const auto far = problem({.catalogue = campaign.path("far.csv")});
    CHECK(far.kind == ProblemKind::input);
    CHECK_THAT(far.what, Contains("does not cover the field"));
    // None of them bright enough.
    const auto bright = problem({.brightest_mag = 3.0, .faintest_mag = 5.0});
    CHECK(bright.kind == ProblemKind::input);
    CHECK_THAT(bright.what, Contains("Fainter than the range"));
    CHECK(text_of(campaign.path("comparison.csv")) == tasks::empty_sequence_text());
}

TEST_CASE("a disk that takes no file is said, and a chart that cannot be drawn spoils nothing",
          "[build-sequence]") {
    const Fresh campaign;
    const auto nowhere = campaign.build({.output = campaign.path("no/such/folder.csv")});
    REQUIRE_FALSE(nowhere);
    CHECK(nowhere.error().kind == ProblemKind::storage);
    const auto outcome = campaign.built({.chart = campaign.path("finder.gif")});
    REQUIRE(outcome.refused.size() == 1);
    CHECK(outcome.chart.empty());
    CHECK(standard::read_sequence(campaign.path("comparison.csv"))->stars.size() == 13);
}
