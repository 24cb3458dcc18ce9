// SPDX-License-Identifier: MIT
#include "tasks/nights.hpp"

#include <fmt/format.h>

#include <cmath>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "sky/time_scales.hpp"

namespace emberline::command {
namespace {

void run(Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto outcome = tasks::nights(*workspace);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    if (outcome->solution.nights.empty()) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*outcome));
        return;
    }
    if (outcome->solution.nights.empty()) {
        std::cout << "No night has been measured yet: `emberline measure FRAMES`.\n";
        return;
    }
    std::cout << workspace->campaign.name << '\n' << nights_text(outcome->solution.nights);
    for (const ledger::Exclusion& e : outcome->exclusions)
        std::cout << fmt::format("Set aside: {} ({})\n", e.key, e.reason);
    if (face.quiet) return;
    const std::string flags = flags_text(outcome->solution.nights);
    if (!flags.empty()) std::cout << '\n' << flags;
}

struct FramesRequest {
    CLI::Option* asked = nullptr;
    std::string night;
    std::optional<double> goal_mag;
};

// "V: 13.034 ± 0.014 from 8 frames; 12 more to ±0.01, about 18 min of clear sky."
std::string goal_text(const tasks::WayToGoal& way, double goal_mag) {
    const night::NightMeasurement& m = way.value;
    const auto total = m.total_err_mag();
    const std::string frames = fmt::format("{} frame{}", m.n_frames, m.n_frames == 1 ? "" : "s");
    if (!m.magnitude_mag || !total || !way.frames_to_goal)
        return fmt::format("{}: not seen in {}; ±{:g} is far.", m.band.name(), frames, goal_mag);
    const std::string now =
        fmt::format("{}: {:.3f} ± {:.3f} from {}", m.band.name(), *m.magnitude_mag, *total, frames);
    if (std::isinf(*way.frames_to_goal)) {
        return fmt::format("{}; ±{:g} is out of reach: {:.3f} is common to all frames.", now, goal_mag,
                           m.common_err_mag.value_or(0.0));
    }
    if (*way.frames_to_goal <= 0.0) return fmt::format("{}; ±{:g} is reached.", now, goal_mag);
    const std::string clear = way.clear_to_goal_s ? fmt::format(", about {:.0f} min of clear sky",
                                                                std::ceil(*way.clear_to_goal_s / 60.0))
                                                  : "";
    return fmt::format("{}; {:.0f} more to ±{:g}{}.", now, *way.frames_to_goal, goal_mag, clear);
}

std::string verdict(const night::JudgedExposure& e) {
    if (!e.used) return "not used: " + e.reason;
    if (e.reason.empty() && e.caveats.has(Caveat::trailed)) return "stars drawn out";
    return e.reason;
}

std::string turned_text(const night::JudgedExposure& e) {
    if (e.flipped) return "flip";
    return std::abs(e.rotation_deg) < 0.05 ? "0.0°" : fmt::format("{:+.1f}°", e.rotation_deg);
}

void print_flip(const night::FlipOfNight& flip) {
    std::cout << fmt::format("\nMeridian flip at {} UTC, {}: what each star changed by, after less before\n",
                             sky::iso(Instant{flip.jd_utc, 0.0, TimeScale::utc}, 0).substr(11, 5),
                             flip.band.name());
    TextTable table({"star", "step", "error", "frames", ""});
    for (const night::FlipStep& step : flip.steps) {
        table.add({step.label, fmt::format("{:+.3f}", step.step_mag), fmt::format("{:.3f}", step.err_mag),
                   fmt::format("{} + {}", step.before, step.after),
                   std::abs(step.step_mag) > 3.0 * step.err_mag ? "beyond 3 errors" : ""});
    }
    std::cout << table.text();
}

void run_frames(const FramesRequest& request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto frames = tasks::night_frames(
        *workspace, request.night.empty() ? std::nullopt : std::optional<std::string>(request.night),
        request.goal_mag);
    if (!frames) {
        face.status = face.say(frames.error());
        return;
    }
    if (face.json) {
        face.say_json(tasks::document(*frames));
        return;
    }
    TextTable table(
        {"UTC", "band", "light", "FWHM", "long", "sky", "stars", "east", "north", "turned", "weight", ""});
    for (const night::JudgedExposure& e : frames->judged.exposures) {
        table.add({sky::iso(Instant{e.jd_utc, 0.0, TimeScale::utc}, 0).substr(11, 8), e.band.name(),
                   e.transparency ? fmt::format("{:.0f} %", 100.0 * *e.transparency) : "-",
                   fmt::format("{:.1f}″", e.fwhm_arcsec), fmt::format("{:.2f}", e.elongation),
                   e.sky_mag_arcsec2 ? fmt::format("{:.1f}", *e.sky_mag_arcsec2) : "-",
                   fmt::format("{}/{}", e.stars_found, e.stars_expected),
                   fmt::format("{:+.0f}″", e.shift_east_arcsec),
                   fmt::format("{:+.0f}″", e.shift_north_arcsec), turned_text(e),
                   fmt::format("{:.2f}", e.weight), verdict(e)});
    }
    std::cout << fmt::format("{}, the night of {}\n", workspace->campaign.name, frames->night)
              << table.text();
    for (const night::FlipOfNight& flip : frames->judged.flips)
        print_flip(flip);
    for (const std::string& remark : frames->judged.remarks)
        std::cout << '\n' << remark << '\n';
    if (frames->goal_mag) {
        std::cout << '\n';
        for (const tasks::WayToGoal& way : frames->ways)
            std::cout << goal_text(way, *frames->goal_mag) << '\n';
    }
    std::cout << fmt::format("\nThe night's picture is {}.\n", frames->picture);
    if (face.quiet) return;
    std::cout
        << "Light: what the air let through, of the night's best. Long: of the stars' images, long over "
           "short "
           "axis. Sky: mag/arcsec².\nEast, north, turned: against the night's first frame. Weight: of the "
           "night's best frame.\n";
}

struct PositionRequest {
    CLI::Option* asked = nullptr;
    std::string night;
};

std::string offset_text(double arcsec, double err_arcsec) {
    return fmt::format("{:+.3f} ± {:.3f}", arcsec, err_arcsec);
}

void add_place(TextTable& table, const std::string& night, const night::TransientPlace& place) {
    const auto& away = place.from_nucleus;
    table.add({night, sexagesimal_hours(place.place.ra, 4), sexagesimal_degrees(place.place.dec, 3),
               fmt::format("{:.3f}", place.east_err_arcsec), fmt::format("{:.3f}", place.north_err_arcsec),
               away ? offset_text(away->east_arcsec, away->east_err_arcsec) : "-",
               away ? offset_text(away->north_arcsec, away->north_err_arcsec) : "-",
               fmt::format("{}", place.frames), place.method});
}

void run_position(const PositionRequest& request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    const auto places = tasks::transient_place(
        *workspace, request.night.empty() ? std::nullopt : std::optional<std::string>(request.night));
    if (!places) {
        face.status = face.say(places.error());
        return;
    }
    if (!places->all) face.status = nothing_measured;
    if (face.json) {
        face.say_json(tasks::document(*places));
        return;
    }
    std::cout << workspace->campaign.name << '\n';
    if (places->all) {
        TextTable table({"night", "RA (ICRS)", "Dec", "east err″", "north err″", "from nucleus: east″",
                         "north″", "frames", "by"});
        for (const auto& [night, place] : places->nights)
            add_place(table, night, place);
        if (places->nights.size() > 1) add_place(table, "all", *places->all);
        std::cout << table.text();
        const night::PlaceOffset& off = places->all->from_campaign;
        std::cout << fmt::format("From the position in campaign.toml: {}″ east, {}″ north.\n",
                                 offset_text(off.east_arcsec, off.east_err_arcsec),
                                 offset_text(off.north_arcsec, off.north_err_arcsec));
    } else {
        std::cout << "No frame in use tells where the transient is.\n";
    }
    if (places->frames_without > 0) {
        std::cout << fmt::format("{} of {} frames in use tell no position.\n", places->frames_without,
                                 places->frames_used);
    }
    if (face.quiet) return;
    std::cout
        << "\nPositions are those of the comparison stars' table, and no better than it. A frame tells "
           "one where the\ntransient's centre is known to 0.08 FWHM and no nucleus lies under it; frames "
           "measured before positions\nwere kept tell none.\n";
}

}  // namespace

void add_nights(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("nights", "One line a night and band; or one an exposure of a night");
    sub->footer(
        "Examples:\n  emberline nights -c my-campaign\n  emberline nights --frames              how good "
        "each frame "
        "of the newest night was\n  emberline nights --frames 2024-03-18\n  emberline nights --frames --goal "
        "0.02  how many more frames to ±0.02\n  emberline nights --position      "
        "      where "
        "the transient stands, night by night");
    const auto request = std::make_shared<FramesRequest>();
    request->asked = sub->add_option("--frames", request->night,
                                     "The exposures of one night, each judged, and a picture of it; the "
                                     "newest night where none is named")
                         ->type_name("NIGHT")
                         ->expected(0, 1);
    sub->add_option("--goal", request->goal_mag,
                    "How many more frames would bring the night's error down to that")
        ->type_name("MAG")
        ->check(number_within(1e-4, 1.0))
        ->needs(request->asked);
    const auto position = std::make_shared<PositionRequest>();
    position->asked =
        sub->add_option("--position", position->night,
                        "The transient's position on the sky by its frames' comparison stars, with its error "
                        "and its offset from the nucleus; of one night where one is named")
            ->type_name("NIGHT")
            ->expected(0, 1)
            ->excludes(request->asked);
    sub->callback([request, position, &face] {
        if (request->asked->count() > 0) {
            run_frames(*request, face);
        } else if (position->asked->count() > 0) {
            run_position(*position, face);
        } else {
            run(face);
        }
    });
}

}  // namespace emberline::command
