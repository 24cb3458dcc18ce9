// SPDX-License-Identifier: MIT
#include "tasks/curve.hpp"

#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "quantities/text.hpp"
#include "quantities/value_with_error.hpp"
#include "sky/time_scales.hpp"

namespace emberline::command {
namespace {

struct Request {
    tasks::CurveRequest curve;
    std::string from, to, series;
    bool no_picture = false;
};

bool is_date(const std::string& text) {
    return text.size() == 10 && text[4] == '-' && text[7] == '-' && sky::parse_calendar(text);
}

// A night by the date of its evening, or a Julian date. Of other people's points, which have no nights, a
// date is its whole UTC day.
Result<void> read_end(const std::string& text, bool last, tasks::CurveRequest& curve) {
    if (text.empty()) return {};
    auto& night = last ? curve.to_night : curve.from_night;
    auto& bjd = last ? curve.to_bjd_tdb : curve.from_bjd_tdb;
    if (const auto number = parse_number(text)) {
        bjd = *number;
    } else if (!is_date(text)) {
        return fail({.what = fmt::format("'{}' is no date.", text),
                     .where = last ? "--to" : "--from",
                     .mend = "Write it as 2024-02-03, or as a Julian date.",
                     .kind = ProblemKind::request});
    } else if (curve.series) {
        bjd = sky::to_tdb(*sky::parse_instant(text)).jd() + (last ? 1.0 : 0.0);
    } else {
        night = text;
    }
    return {};
}

void print_band(const tasks::BandCurve& band) {
    std::cout << fmt::format("{}: {} points\n", band.curve.band.name(), band.curve.points.size());
    if (!band.chosen) {
        if (band.problem)
            std::cout << fmt::format("  not fitted: {} {}\n", band.problem->what, band.problem->mend);
        return;
    }
    const lightcurve::CurveFit& fit = band.fits[*band.chosen];
    if (const auto rate = lightcurve::decline_rate(fit)) {
        std::cout << fmt::format("  {} by {} mag a day, over {:.1f} days from BJD(TDB) {:.3f}\n",
                                 rate->mag_per_day.value >= 0.0 ? "fades" : "brightens",
                                 with_error({std::abs(rate->mag_per_day.value), rate->mag_per_day.err}),
                                 rate->to_bjd_tdb - rate->from_bjd_tdb, rate->from_bjd_tdb);
    }
    std::cout << fmt::format("  {}: chi² {:.1f} for {} degrees of freedom", fit.model, fit.chi2, fit.dof);
    if (fit.extra_scatter_mag > 0.0)
        std::cout << fmt::format(", extra scatter {:.3f} mag", fit.extra_scatter_mag);
    std::cout << '\n';
    for (const std::string& remark : fit.remarks)
        std::cout << "  " << remark << '\n';
}

void run(Request request, Face& face) {
    if (request.series.empty()) {
        request.curve.campaign_folder = face.campaign;
    } else {
        request.curve.series = request.series;
    }
    for (const bool last : {false, true}) {
        const auto good = read_end(last ? request.to : request.from, last, request.curve);
        if (!good) {
            face.status = face.say(good.error());
            return;
        }
    }
    request.curve.draw = !request.no_picture;
    const auto outcome = tasks::curve(request.curve);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->any_fit()) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    std::cout << outcome->title << '\n';
    for (const tasks::BandCurve& band : outcome->bands)
        print_band(band);
    for (const std::string& remark : outcome->remarks)
        std::cout << remark << '\n';
    for (const std::string& picture : outcome->pictures)
        std::cout << "Picture: " << picture << '\n';
}

}  // namespace

void add_curve(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("curve", "Fit the light curve, print the decline, draw it");
    sub->footer(
        "Examples:\n  emberline curve --picture curve.pdf\n  emberline curve --from 2024-03-10 --band V\n"
        "  emberline curve --series points.csv --picture points.svg");
    const auto request = std::make_shared<Request>();
    sub->add_option("--series", request->series,
                    "A table of other people's points, instead of the campaign's");
    sub->add_option("--band", request->curve.bands, "Only this band; once for each");
    sub->add_option("--from", request->from, "First night, 2024-03-10, or a Julian date");
    sub->add_option("--to", request->to, "Last night, or a Julian date");
    sub->add_option("--model", request->curve.models, "Models to fit")->capture_default_str();
    sub->add_option("--picture", request->curve.picture, "File to draw: .svg, .pdf or .png (out/curve.svg)");
    sub->add_flag("--no-picture", request->no_picture, "Draw nothing");
    sub->add_flag("--frames", request->curve.frames, "A point a frame instead of a night");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
