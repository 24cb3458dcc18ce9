// SPDX-License-Identifier: MIT
#include "tasks/watch.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "sky/time_scales.hpp"

namespace emberline::command {
namespace {

using Kind = tasks::WatchEvent::Kind;

std::string short_name(const std::string& frame) {
    return std::filesystem::path(frame).filename().string();
}

// "V 14.230 ± 0.009 (5 frames), 3 more to 0.02"
std::string running_text(const tasks::RunningNight& running, const std::optional<double>& goal) {
    const night::NightMeasurement& night = running.value;
    std::string text = fmt::format("{} {} ({} frame{})", night.band.name(), magnitude_text(night),
                                   night.n_frames, night.n_frames == 1 ? "" : "s");
    if (!goal) return text;
    if (!running.frames_to_goal) return text + fmt::format(", {:g} is far", *goal);
    if (*running.frames_to_goal <= 0.0) return text + fmt::format(", {:g} reached", *goal);
    if (std::isinf(*running.frames_to_goal)) {
        return text + fmt::format(", {:g} is beyond any number of frames: {:.3f} is common to all", *goal,
                                  night.common_err_mag.value_or(0.0));
    }
    return text + fmt::format(", {:.0f} more to {:g}", *running.frames_to_goal, *goal);
}

class Printer {
  public:
    Printer(const Face& face, const tasks::WatchRequest& request) : face_(face), request_(request) {}

    void tell(const tasks::WatchEvent& event) {
        if (face_.json) events_.push_back(tasks::document(event));
        // With --json the lines are there for whoever sits beside it.
        std::ostream& lines = face_.json ? std::cerr : std::cout;
        switch (event.kind) {
            case Kind::measured:
                if (!face_.json || !face_.quiet) print_measured(event, lines);
                break;
            case Kind::refused:
                if (!face_.json || !face_.quiet) {
                    lines << fmt::format("{:8}  {}  refused: {} {}\n", "", short_name(event.frame),
                                         event.problem->what, event.problem->mend);
                }
                break;
            case Kind::waiting:
            case Kind::folder_gone:
            case Kind::folder_back:
            case Kind::folder_silent:
            case Kind::note:
                print_remark(event);
                break;
        }
        lines.flush();
    }

    void print_end(const tasks::WatchOutcome& outcome) {
        if (face_.json) {
            tasks::Json json;
            json["folder"] = request_.folder;
            json["measured"] = outcome.measured;
            json["refused"] = outcome.refused;
            json["goal_mag"] = request_.until_mag ? tasks::Json(*request_.until_mag) : tasks::Json(nullptr);
            json["goal_reached"] = outcome.reached;
            json["interrupted"] = outcome.interrupted;
            json["night"] = tasks::document(outcome.night);
            json["events"] = std::move(events_);
            face_.say_json(json);
            return;
        }
        std::cout << fmt::format("{} measured, {} refused.", outcome.measured, outcome.refused);
        for (const tasks::RunningNight& running : outcome.night) {
            std::cout << fmt::format(" {}: {}.", running.value.night,
                                     running_text(running, request_.until_mag));
        }
        std::cout << (outcome.interrupted ? " Stopped; the ledger is whole.\n" : "\n");
    }

  private:
    void print_measured(const tasks::WatchEvent& event, std::ostream& out) const {
        if (event.measurements.empty()) {
            out << fmt::format("{:8}  {}  {}\n", "", short_name(event.frame), event.sentence);
        }
        for (const night::FrameMeasurement& m : event.measurements) {
            const std::string iso = sky::iso(sky::from_jd(m.jd_utc, TimeScale::utc), 0);
            std::string line = fmt::format("{}  {}  {} {}", iso.substr(11, 8), short_name(event.frame),
                                           m.band.name(), magnitude_text(m));
            if (!m.used) line += fmt::format("  not used: {}", m.reason);
            line += fmt::format("  transparency {:.0f} %", 100.0 * m.relative_transparency);
            if (m.aperture_px > 0.0)
                line += fmt::format("  FWHM {:.1f}″", m.fwhm_px * m.aperture_arcsec / m.aperture_px);
            line += fmt::format("  {} stars", m.n_comparison);
            for (const tasks::RunningNight& running : event.running) {
                if (running.value.night != m.night || running.value.band != m.band ||
                    running.value.instrument != m.instrument)
                    continue;
                line += "  | " + running_text(running, request_.until_mag);
            }
            out << line << '\n';
        }
    }

    void print_remark(const tasks::WatchEvent& event) const {
        std::string text = event.frame.empty() ? "" : short_name(event.frame) + " ";
        text += event.sentence;
        if (event.problem) text += " " + one_line(*event.problem);
        for (const tasks::RunningNight& running : event.running)
            text += fmt::format(" {}: {}.", running.value.night, running_text(running, request_.until_mag));
        face_.remark(text);
    }

    const Face& face_;
    const tasks::WatchRequest& request_;
    tasks::Json events_ = tasks::Json::array();
};

int status_of_outcome(const tasks::WatchOutcome& outcome) {
    if (outcome.interrupted) return interrupted;
    if (outcome.reached) return all_done;
    if (outcome.measured == 0 && outcome.refused > 0) return nothing_measured;
    return outcome.refused > 0 || outcome.unused ? something_refused : all_done;
}

void run(tasks::WatchRequest request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    if (request.folder.empty()) request.folder = workspace->campaign.path("frames");
    request.threads = face.threads;
    request.stop = stop_asked();
    Printer printer(face, request);
    const auto outcome = tasks::watch(*workspace, request, [&](const auto& event) { printer.tell(event); });
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = status_of_outcome(*outcome);
    printer.print_end(*outcome);
    if (outcome->left_behind) {
        std::cout.flush();
        std::cerr.flush();
        std::_Exit(face.status);
    }
}

}  // namespace

void add_watch(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("watch", "Measure frames as they land in a folder, and tell the night so far");
    sub->footer(
        "Examples:\n  emberline watch                      the campaign's frames/, until Ctrl-C\n"
        "  emberline watch /share/tonight --until 0.02\n"
        "  emberline watch tonight --idle-s 1800 --json > night.json\n\n"
        "Frames that lie there already come first; those the ledger knows are passed over, so that it can "
        "be\n"
        "stopped and started at any time. A file lands once it has not changed for --settle-s and can be\n"
        "opened as a frame; one that is renamed keeps its measurement, one that is overwritten is measured\n"
        "again. Files whose names begin with a dot, or do not end as frames' do, are left alone.\n\n"
        "A line a frame: mid-exposure (UTC), file, magnitude with its whole error, transparency against the\n"
        "night's best, FWHM, comparison stars | the night so far. With --json these lines go to standard\n"
        "error, and one document comes at the end: the events in their order and the night.\n\n"
        "Exit status: 0 where the goal was reached, whatever was refused; else as `measure`; 130 after\n"
        "Ctrl-C, with the ledger whole.");
    const auto request = std::make_shared<tasks::WatchRequest>();
    sub->add_option("DIR", request->folder, "Folder to watch, with those inside")
        ->default_str("the campaign's frames/");
    sub->add_option("--until", request->until_mag,
                    "End when the running night's error is no larger in every band measured of it")
        ->type_name("MAG")
        ->check(number_within(1e-4, 10.0));
    sub->add_option("--settle-s", request->settle_s, "A file that stood still for so long has landed")
        ->type_name("SECONDS")
        ->check(number_within(0.1, 3600.0))
        ->capture_default_str();
    sub->add_option("--give-up-s", request->give_up_s,
                    "A file that is not whole, or grows on, is told of after so long")
        ->type_name("SECONDS")
        ->check(number_within(1.0, 1e6))
        ->capture_default_str();
    sub->add_option("--idle-s", request->idle_s, "End when nothing has landed for so long")
        ->type_name("SECONDS")
        ->check(number_within(0.0, 1e6));
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
