// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>

#include "command/sequence.hpp"
#include "quantities/text.hpp"
#include "standard/colour_equations.hpp"
#include "tasks/build_sequence.hpp"

namespace emberline::command {
namespace {

struct BuildOptions {
    tasks::BuildRequest build;
    std::string magnitudes;
    bool relations = false;
};

std::string distance_text(double arcmin) {
    return fmt::format("{:.1f}′", arcmin);
}

std::string by_text(const standard::StandardStar& star, const std::vector<Band>& bands) {
    std::set<std::string> names;
    for (const Band& band : bands) {
        const auto by = star.by.find(band);
        if (by != star.by.end()) names.insert(by->second);
    }
    std::string text;
    for (const std::string& name : names)
        text += (text.empty() ? "" : "; ") + name;
    return text;
}

std::string stars_text(const tasks::BuildOutcome& outcome) {
    const standard::SequenceChoice& choice = outcome.choice;
    std::vector<std::string> headings{"label", "right ascension", "declination"};
    for (const Band& band : choice.sequence.bands)
        headings.push_back(band.name());
    headings.insert(headings.end(),
                    {choice.colour ? choice.colour->name() : "colour", "distance", "role", "by"});
    TextTable table(headings);
    for (std::size_t i = 0; i < choice.chosen.size(); ++i) {
        const standard::ComparisonStar& star = choice.sequence.stars[i];
        const standard::ChosenStar& chosen = choice.chosen[i];
        std::vector<std::string> row{star.label, sexagesimal_hours(star.position.ra, 2),
                                     sexagesimal_degrees(star.position.dec, 1)};
        for (const Band& band : choice.sequence.bands) {
            const auto magnitude = star.magnitude(band);
            row.push_back(magnitude ? fmt::format("{:.3f} ± {:.3f}", magnitude->value, magnitude->err) : "—");
        }
        row.push_back(chosen.colour_mag ? fmt::format("{:.2f}", *chosen.colour_mag) : "—");
        row.push_back(distance_text(chosen.distance_arcmin));
        row.emplace_back(standard::word(star.role));
        row.push_back(by_text(outcome.stars[i], choice.sequence.bands));
        table.add(std::move(row));
    }
    return table.text();
}

// What made the catalogue's stars doubtful, the commonest reason first.
std::string marks_text(const standard::SequenceChoice& choice, standard::NotTaken reason) {
    if (reason != standard::NotTaken::doubtful) return {};
    std::map<std::string, int> counts;
    for (const standard::LeftOutStar& star : choice.left_out) {
        if (star.reason == reason && !star.why.empty()) ++counts[star.why];
    }
    std::vector<std::pair<int, std::string>> reasons;
    for (const auto& [why, count] : counts)
        reasons.emplace_back(-count, why);
    std::sort(reasons.begin(), reasons.end());
    constexpr std::size_t most_reasons = 3;
    std::string text;
    for (std::size_t i = 0; i < std::min(reasons.size(), most_reasons); ++i)
        text += fmt::format("          {}: {}\n", -reasons[i].first, reasons[i].second);
    return text;
}

void print(const tasks::BuildOutcome& outcome) {
    const standard::SequenceChoice& choice = outcome.choice;
    std::cout << fmt::format(
        "{}: {} stars. Looked for about {} {:.1f} mag, between {:.1f} and {:.1f}; positions as in "
        "{:.1f}.\n\n",
        outcome.survey, outcome.catalogue_stars, choice.magnitude_band.name(), outcome.transient_mag,
        outcome.brightest_mag, outcome.faintest_mag, outcome.epoch_jyear);
    std::cout
        << stars_text(outcome) << '\n'
        << fmt::format(
               "Together they give the zero point at the transient to about {:.3f} mag, if their errors "
               "are right.\n",
               choice.zero_point_err_mag);
    if (!choice.left_out.empty()) std::cout << "Not taken:\n";
    for (const auto& [reason, count] : choice.counts())
        std::cout << fmt::format("  {:6}  {}\n{}", count, standard::sentence(reason),
                                 marks_text(choice, reason));
    if (!outcome.refused.empty()) std::cout << "Refused:\n";
    for (const Problem& problem : outcome.refused)
        std::cout << "  " << one_line(problem) << '\n';
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
    if (!outcome.kept.empty()) std::cout << fmt::format("The former file is kept as {}.\n", outcome.kept);
    if (!outcome.file.empty()) std::cout << fmt::format("The stars are in {}.\n", outcome.file);
    if (!outcome.chart.empty()) std::cout << fmt::format("The finder chart is in {}.\n", outcome.chart);
    if (outcome.file.empty()) std::cout << "Nothing was written.\n";
}

// "11:15"
bool read_magnitudes(BuildOptions& request) {
    const auto ends = split(request.magnitudes, ':');
    if (ends.size() != 2) return false;
    request.build.brightest_mag = parse_number(ends[0]);
    request.build.faintest_mag = parse_number(ends[1]);
    return request.build.brightest_mag && request.build.faintest_mag;
}

void say_relations(const Face& face) {
    if (!face.json) {
        std::cout << standard::colour_equation_table();
        return;
    }
    tasks::Json all = tasks::Json::array();
    for (const standard::WorkedEquation& worked : standard::worked_equations()) {
        const standard::ColourEquation& e = *worked.equation;
        all.push_back({{"name", e.name},
                       {"system", e.system},
                       {"result", e.result.name()},
                       {"formula", e.formula()},
                       {"coefficients", e.coefficients},
                       {"colour", fmt::format("{}-{}", e.blue, e.red)},
                       {"least_colour_mag", e.least_colour_mag},
                       {"most_colour_mag", e.most_colour_mag},
                       {"scatter_mag", e.scatter_mag},
                       {"worked", worked.arithmetic},
                       {"source", e.source},
                       {"from_memory", e.from_memory}});
    }
    face.say_json({{"relations", all}});
}

void run(BuildOptions request, Face& face) {
    if (request.relations) {
        say_relations(face);
        return;
    }
    const auto usage = [&](std::string what, std::string where, std::string mend) {
        face.status = face.say({.what = std::move(what),
                                .where = std::move(where),
                                .mend = std::move(mend),
                                .kind = ProblemKind::request});
    };
    if (request.build.catalogue.empty()) {
        usage("A catalogue is needed.", "", "Name the file that a catalogue service exported: gaia.csv.");
        return;
    }
    if (!request.magnitudes.empty() && !read_magnitudes(request)) {
        usage(fmt::format("'{}' is no range of magnitudes.", request.magnitudes), "--magnitudes",
              "Write the brightest and the faintest with a colon between: 11:15.");
        return;
    }
    const auto campaign = night::read_campaign(face.campaign);
    if (!campaign) {
        face.status = face.say(campaign.error());
        return;
    }
    const auto outcome = tasks::build_sequence(*campaign, request.build);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->refused.empty()) face.status = something_refused;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
    } else {
        print(*outcome);
    }
}

}  // namespace

void add_sequence_build(CLI::App& sequence, Face& face) {
    CLI::App* sub = sequence.add_subcommand("build", "Make comparison.csv from a catalogue file");
    sub->footer(
        "Examples:\n  emberline sequence build gaia.csv --dry-run\n"
        "  emberline sequence build gaia.csv --magnitudes 11:15 --radius 12\n"
        "  emberline sequence build --relations\n\n"
        "The file is a table as a catalogue service exports it: CSV, TSV, ECSV, VOTable or FITS, with "
        "magnitudes. They are converted into the campaign's bands by published relations, whose scatter goes "
        "into the errors.");
    const auto request = std::make_shared<BuildOptions>();
    tasks::BuildRequest& build = request->build;
    sub->add_option("FILE", build.catalogue, "The catalogue's stars around the transient");
    sub->add_option("-o,--output", build.output, "File to write")
        ->type_name("FILE")
        ->default_str("the campaign's comparison.csv");
    sub->add_option("--band", build.bands, "Only this band")
        ->type_name("BAND")
        ->take_all()
        ->allow_extra_args(false);
    sub->add_option("--magnitudes", request->magnitudes,
                    "Brightest and faintest comparison star, such as 11:15")
        ->type_name("MAG:MAG")
        ->default_str("1.5 brighter to 2.5 fainter than the transient");
    sub->add_option("--expected", build.transient_mag, "The transient's magnitude now")
        ->type_name("MAG")
        ->default_str("that of its last night")
        ->check(number_within(-5.0, 35.0));
    sub->add_option("--stars", build.stars, "Comparison stars wanted; the check star comes on top")
        ->type_name("N")
        ->capture_default_str()
        ->check(CLI::Range(1, 1000));
    sub->add_option("--radius", build.radius_arcmin, "Radius of the field about the transient")
        ->type_name("ARCMIN")
        ->capture_default_str();
    sub->add_option("--isolation", build.isolation_arcsec,
                    "Nearer than this a neighbour's light counts in full")
        ->type_name("ARCSEC")
        ->capture_default_str();
    sub->add_option("--epoch", build.catalogue_epoch,
                    "Julian year of the file's positions, such as 2016.0, where it does not say")
        ->type_name("YEAR")
        ->check(number_within(1800.0, 2200.0));
    sub->add_option("--chart", build.chart, "Finder chart to draw: .svg, .pdf or .png")
        ->type_name("FILE")
        ->default_str("out/finder.svg");
    sub->add_flag("--replace", build.replace,
                  "Replace a sequence that is there; that one is kept beside the new one");
    sub->add_flag("--dry-run", build.dry_run, "Only show what would be chosen");
    sub->add_flag("--relations", request->relations,
                  "List the relations between catalogues' magnitudes and bands");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
