// SPDX-License-Identifier: MIT
#include "tasks/curve.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/curve_text.hpp"
#include "command/face.hpp"
#include "tasks/curve_words.hpp"
#include "tasks/documents.hpp"

namespace emberline::command {
namespace {

constexpr std::size_t usual_sampler_steps = 4000;

struct CurveOptions {
    tasks::CurveRequest curve;
    tasks::CurveWords words;
    std::string exploded;
    std::optional<double> distance_modulus, distance_modulus_err, distance_mpc;
    bool alone = false, no_picture = false, sample = false;
};

// Other people's points go beside the campaign's where there is a campaign, and stand alone where there is
// none.
std::string campaign_for(const CurveOptions& request, const std::string& folder) {
    if (request.words.series.empty()) return folder;
    if (request.alone) return {};
    std::error_code ignored;
    const bool here = std::filesystem::exists(std::filesystem::path(folder) / "campaign.toml", ignored);
    return here || folder != "." ? folder : std::string();
}

Result<void> read_request(CurveOptions& request, const Face& face) {
    tasks::CurveRequest& curve = request.curve;
    if (request.alone && request.words.series.empty()) {
        return fail({.what = "Without the campaign's points and without --series there is nothing to fit.",
                     .where = "--alone",
                     .mend = "Name a file with --series.",
                     .kind = ProblemKind::request});
    }
    curve.campaign_folder = campaign_for(request, face.campaign);
    if (auto good = tasks::read_words(request.words, curve); !good) return good;
    if (!request.exploded.empty()) {
        const auto moment = tasks::read_moment(request.exploded, "--exploded");
        if (!moment) return fail(moment.error());
        // A Julian date is taken as good to a tenth of a day.
        curve.facts.explosion_bjd_tdb = tasks::is_date(request.exploded)
                                            ? tasks::moment_of_day(request.exploded)
                                            : ValueWithError{*moment, 0.1};
    }
    if (request.distance_mpc) {
        curve.facts.distance_modulus_mag =
            ValueWithError{lightcurve::distance_modulus_mag(*request.distance_mpc),
                           request.distance_modulus_err.value_or(0.0)};
    } else if (request.distance_modulus) {
        curve.facts.distance_modulus_mag =
            ValueWithError{*request.distance_modulus, request.distance_modulus_err.value_or(0.0)};
    }
    if (request.sample) curve.checks.sampler_steps = usual_sampler_steps;
    curve.draw = !request.no_picture;
    curve.threads = face.threads;
    return {};
}

void run(CurveOptions request, Face& face) {
    if (const auto good = read_request(request, face); !good) {
        face.status = face.say(good.error());
        return;
    }
    const auto outcome = tasks::curve(request.curve);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->any_fit()) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
    } else {
        std::cout << curve_text(*outcome);
    }
}

}  // namespace

void add_curve(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("curve", "Fit the light curve, print the decline, draw it");
    sub->footer(
        "Examples:\n  emberline curve --picture curve.pdf\n  emberline curve --from 2024-03-10 --band V\n"
        "  emberline curve --series others.csv          their points beside one's own\n"
        "  emberline curve --alone --series points.csv --picture points.svg\n"
        "  emberline curve --rate 2024-03-01:2024-03-20 --bootstrap 500");
    const auto request = std::make_shared<CurveOptions>();
    tasks::CurveRequest& curve = request->curve;
    tasks::CurveWords& words = request->words;
    sub->add_option("--series", words.series,
                    "Other people's points: CSV, ECSV, VOTable or the network's Extended format")
        ->type_name("FILE");
    sub->add_flag("--alone", request->alone, "Leave the campaign's own points out");
    sub->add_option("--band", words.bands, "Only this band")->type_name("BAND");
    sub->add_option("--from", words.from, "First night: 2024-03-10, or a Julian date")->type_name("DATE");
    sub->add_option("--to", words.to, "Last night: 2024-03-10, or a Julian date")->type_name("DATE");
    sub->add_option("--model", words.models, "Only this model")->type_name("MODEL")->default_str("all");
    sub->add_option("--rate", words.rates, "The mean rate of an interval between two dates or Julian dates")
        ->type_name("FROM:TO");
    sub->add_option("--redshift", curve.facts.redshift, "Redshift of the transient")
        ->type_name("Z")
        ->default_str("the campaign's")
        ->check(number_within(-0.01, 10.0));
    sub->add_option("--ebv", curve.facts.ebv_mag, "Foreground reddening E(B-V)")
        ->type_name("MAG")
        ->default_str("the campaign's")
        ->check(number_within(0.0, 20.0));
    CLI::Option* modulus =
        sub->add_option("--distance-modulus", request->distance_modulus, "Distance modulus of the transient")
            ->type_name("MAG")
            ->default_str("the campaign's")
            ->check(number_within(0.0, 60.0));
    sub->add_option("--distance-mpc", request->distance_mpc, "Distance in place of the modulus, megaparsecs")
        ->type_name("MPC")
        ->check(number_within(1e-6, 1e5))
        ->excludes(modulus);
    sub->add_option("--distance-err", request->distance_modulus_err, "One sigma of the modulus")
        ->type_name("MAG")
        ->check(number_within(0.0, 10.0));
    sub->add_option("--exploded", request->exploded, "When it exploded: 2024-01-20, or a Julian date")
        ->type_name("DATE");
    sub->add_option("--offset-prior", curve.offset_prior_mag,
                    "How far other observers' zero points may lie from the first's")
        ->type_name("MAG")
        ->check(number_within(1e-6, 10.0))
        ->capture_default_str();
    sub->add_flag("--profile", curve.checks.profile, "Errors of the chosen model along its likelihood too");
    sub->add_option("--bootstrap", curve.checks.bootstrap_trials, "Errors by that many resampled curves too")
        ->type_name("N")
        ->check(CLI::Range(0, 100000));
    sub->add_flag("--sample", request->sample, "Errors by a sample of the posterior too");
    sub->add_option("--picture", curve.picture, "File to draw: .svg, .pdf or .png")
        ->type_name("FILE")
        ->default_str("out/curve.svg");
    sub->add_flag("--no-picture", request->no_picture, "Draw nothing");
    sub->add_flag("--frames", words.frames, "A point a frame instead of a night");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
