// SPDX-License-Identifier: MIT
#include "tasks/forecast.hpp"

#include <fmt/format.h>

#include <cmath>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "quantities/value_with_error.hpp"
#include "sky/time_scales.hpp"

namespace emberline::command {
namespace {

using tasks::BandNight;
using tasks::BandOutlook;
using tasks::ForecastNight;
using tasks::ForecastOutcome;

constexpr std::size_t bands_beside_the_sky = 1;  // more make the table too wide

std::string clock(const Instant& utc) {
    return sky::iso(sky::later_by(utc, 30.0), 0).substr(11, 5);
}

void add_sky(const std::optional<sky::NightSky>& sky, std::vector<std::string>& row) {
    if (!sky) return;
    row.push_back(sky->observable_h > 0.0 ? fmt::format("{:.1f}", sky->observable_h) : "—");
    row.push_back(sky->best ? clock(*sky->best) : "—");
    row.push_back(sky->best_airmass ? fmt::format("{:.2f}", *sky->best_airmass) : "—");
    row.push_back(sky->transit_in_dark ? clock(sky->transit) : "—");
    row.push_back(
        fmt::format("{:.0f} %{}", 100.0 * sky->moon_illuminated, sky->moon_altitude_deg > 0.0 ? " up" : ""));
    row.push_back(fmt::format("{:.0f}°{}", sky->moon_distance_deg, sky->near_sun() ? " SUN" : ""));
}

std::string exposure_text(const BandNight& n) {
    if (!n.exposure) return "—";
    if (!n.exposure->exposures) return "never";
    if (!n.within_night) return "not within the night";
    return fmt::format("{:.0f} × {:g} s", *n.exposure->exposures, n.exposure->exposure_s);
}

void add_band(const BandOutlook& band, std::size_t night, std::vector<std::string>& row) {
    if (band.nights.empty()) return;
    const lightcurve::ForecastPoint& f = band.nights[night].forecast;
    row.push_back(with_error({f.mag, 0.5 * (f.high_mag - f.low_mag)}, 2));
    row.push_back(exposure_text(band.nights[night]));
}

void add_band_headings(const BandOutlook& band, std::vector<std::string>& headings) {
    if (band.nights.empty()) return;
    headings.push_back(band.curve.band.name() + " mag");
    headings.push_back("exposures");
}

std::string tables(const ForecastOutcome& outcome) {
    const bool any_sky = outcome.nights.front().sky.has_value();
    const bool together = outcome.bands.size() <= bands_beside_the_sky;
    std::vector<std::string> headings{"night"};
    if (any_sky) headings.insert(headings.end(), {"hours", "best", "X", "flip", "Moon", "from it"});
    if (together) {
        for (const BandOutlook& band : outcome.bands)
            add_band_headings(band, headings);
    }
    TextTable first(headings);
    for (std::size_t i = 0; i < outcome.nights.size(); ++i) {
        std::vector<std::string> row{outcome.nights[i].night};
        add_sky(outcome.nights[i].sky, row);
        if (together) {
            for (const BandOutlook& band : outcome.bands)
                add_band(band, i, row);
        }
        first.add(std::move(row));
    }
    std::string text = first.text();
    for (const BandOutlook& band : outcome.bands) {
        if (together || band.nights.empty()) continue;
        std::vector<std::string> names{"night"};
        add_band_headings(band, names);
        TextTable own(names);
        for (std::size_t i = 0; i < outcome.nights.size(); ++i) {
            std::vector<std::string> row{outcome.nights[i].night};
            add_band(band, i, row);
            own.add(std::move(row));
        }
        text += '\n' + own.text();
    }
    return text;
}

std::string passing_text(const tasks::PassingOf& p, const std::string& band, double until_bjd_tdb) {
    const std::string what =
        p.is_depth ? fmt::format("the depth of a usual night ({:.2f})", p.mag) : fmt::format("{:.2f}", p.mag);
    if (p.already) return fmt::format("{} is fainter than {} already.\n", band, what);
    if (!p.passing)
        return fmt::format("{} is not expected to pass {} before {}.\n", band, what, date_of(until_bjd_tdb));
    const std::string late = std::isfinite(p.passing->high_bjd_tdb)
                                 ? "and " + date_of(p.passing->high_bjd_tdb)
                                 : fmt::format("and some day after {}", date_of(until_bjd_tdb));
    return fmt::format("{} passes {} about {}, between {} {} (68 %).\n", band, what,
                       date_of(p.passing->bjd_tdb), date_of(p.passing->low_bjd_tdb), late);
}

std::string forecast_text(const ForecastOutcome& outcome, bool quiet) {
    std::string text = outcome.title + '\n' + tables(outcome) + '\n';
    for (const BandOutlook& band : outcome.bands) {
        const std::string name = band.curve.band.name();
        if (band.problem)
            text += fmt::format("{} not forecast: {} {}\n", name, band.problem->what, band.problem->mend);
        for (const tasks::PassingOf& p : band.passings)
            text += passing_text(p, name, outcome.searched_until_bjd_tdb);
        if (band.past && band.past->common_err_mag >= outcome.goal_mag)
            text += fmt::format(
                "{}: no exposure reaches {:g} mag, for the errors that all frames share are {:.3f} mag.\n",
                name, outcome.goal_mag, band.past->common_err_mag);
    }
    for (const std::string& remark : outcome.remarks)
        text += remark + '\n';
    if (!quiet && outcome.nights.front().sky) {
        text += fmt::format(
            "hours: above {:.0f}° while the Sun is below −18°; best, flip: UTC; X: airmass; Moon: lit, at "
            "the "
            "best\ntime; from it: the transient's distance. Magnitudes: 68 %; exposures: for {:g} mag in a "
            "night.\n",
            outcome.least_altitude_deg, outcome.goal_mag);
    }
    if (!outcome.table.empty()) text += fmt::format("Table: {}\n", outcome.table);
    if (!outcome.picture.empty()) text += fmt::format("Picture: {}\n", outcome.picture);
    return text;
}

void run(const tasks::ForecastRequest& request, Face& face) {
    const auto outcome = tasks::forecast(request, face.campaign);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (!outcome->any_forecast()) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
    } else {
        std::cout << forecast_text(*outcome, face.quiet);
    }
}

}  // namespace

void add_forecast(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("forecast", "The coming nights: magnitude, dark hours, exposures");
    sub->footer(
        "Examples:\n  emberline forecast --nights 14\n  emberline forecast --band V --goal 0.03 --passes 17\n"
        "  emberline forecast --from 2024-04-01 --least-altitude 25\n\nNever point a telescope at or near "
        "the "
        "Sun without a proper full-aperture filter; follow the rules of your place.");
    const auto request = std::make_shared<tasks::ForecastRequest>();
    sub->add_option("--band", request->bands, "Only this band")->type_name("BAND");
    sub->add_option("--nights", request->nights, "How many nights")
        ->type_name("N")
        ->check(CLI::Range(1, tasks::most_forecast_nights))
        ->capture_default_str();
    sub->add_option("--from", request->from, "Date of the first evening, such as 2024-04-01")
        ->type_name("DATE")
        ->default_str("tonight");
    sub->add_option("--least-altitude", request->least_altitude_deg, "Least altitude to observe at")
        ->type_name("DEGREES")
        ->check(number_within(0.0, 89.0))
        ->capture_default_str();
    sub->add_option("--goal", request->goal_mag, "Error that a night shall reach")
        ->type_name("MAG")
        ->check(number_within(0.001, 2.0))
        ->capture_default_str();
    sub->add_option("--passes", request->passes, "Tell when it fades past that magnitude")
        ->type_name("MAG")
        ->check(number_within(-5.0, 35.0));
    sub->add_flag_callback(
        "--no-picture", [request] { request->draw = false; }, "Draw nothing");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
