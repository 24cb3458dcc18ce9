// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/sequence.hpp"
#include "tasks/star_course.hpp"

namespace emberline::command {
namespace {

using tasks::StarInBand;

std::string offset_text(const StarInBand& band) {
    return band.verdict
               ? fmt::format("{:+.3f} ± {:.3f}", band.verdict->offset_mag, band.verdict->offset_err_mag)
               : std::string("-");
}

// From the lowest to the highest of the nights.
std::string range_text(const StarInBand& band) {
    if (band.nights.empty()) return "-";
    const auto [low, high] = std::minmax_element(
        band.nights.begin(), band.nights.end(),
        [](const auto& a, const auto& b) { return a.mean.residual_mag < b.mean.residual_mag; });
    return fmt::format("{:+.3f} to {:+.3f}", low->mean.residual_mag, high->mean.residual_mag);
}

std::string remark_of(const tasks::StarCourse& star, const StarInBand& band) {
    if (star.set_aside) return "set aside: " + star.set_aside->reason;
    return band.verdict && band.verdict->suspect ? band.verdict->why : std::string();
}

void print_all(const tasks::StarCourses& courses) {
    TextTable table({"star", "role", "band", "instrument", "catalogue", "offset", "nights", "residuals", ""});
    for (const tasks::StarCourse& star : courses.stars) {
        for (const StarInBand& band : star.bands) {
            table.add({star.star.label, std::string(word(star.role)), band.band.name(), band.instrument,
                       fmt::format("{:.3f}", band.catalogue_mag.value), offset_text(band),
                       std::to_string(band.nights.size()), range_text(band), remark_of(star, band)});
        }
    }
    std::cout << table.text()
              << "\nResiduals: measured less catalogue, mag, from the lowest night to the highest.\n";
}

void print_one(const tasks::StarCourses& courses, const tasks::StarCourse& star) {
    TextTable table({"night", "band", "frame", "jd_utc", "residual", "error", ""});
    for (const StarInBand& band : star.bands) {
        for (const tasks::StarPoint& point : band.points) {
            const tasks::StarFrame& frame = courses.frames[point.frame];
            table.add({frame.night, band.band.name(), frame.id.substr(0, 12),
                       fmt::format("{:.5f}", frame.jd_utc), fmt::format("{:+.4f}", point.residual_mag),
                       fmt::format("{:.4f}", point.err_mag), frame.used ? "" : "not used"});
        }
    }
    std::cout << table.text();
}

Result<tasks::StarCourses> read(const Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) return fail(workspace.error());
    const auto ledger = ledger::Ledger::open(workspace->ledger_path(), ledger::Ledger::Access::read);
    if (!ledger) return fail(ledger.error());
    return tasks::star_courses(*workspace, *ledger);
}

void run(const std::string& label, Face& face) {
    const auto courses = read(face);
    if (!courses) {
        face.status = face.say(courses.error());
        return;
    }
    if (label.empty()) {
        if (face.json) return face.say_json(tasks::document(*courses));
        return print_all(*courses);
    }
    const tasks::StarCourse* star = courses->find(label);
    if (star == nullptr) {
        face.status = face.say({.what = "No star of the sequence has that label.",
                                .where = fmt::format("'{}'", label),
                                .mend = "`emberline sequence residuals` lists them.",
                                .kind = ProblemKind::request});
        return;
    }
    if (face.json) return face.say_json(tasks::document(*courses, *star));
    print_one(*courses, *star);
}

}  // namespace

void add_sequence_residuals(CLI::App& sequence, Face& face) {
    CLI::App* sub =
        sequence.add_subcommand("residuals", "How far each star came out from its catalogue magnitude");
    sub->footer(
        "Examples:\n  emberline sequence residuals            by night\n"
        "  emberline sequence residuals 131b       one star, frame by frame");
    const auto label = std::make_shared<std::string>();
    sub->add_option("STAR", *label, "Label of a star, to have it frame by frame")
        ->default_str("all of them, by night");
    sub->callback([label, &face] { run(*label, face); });
}

}  // namespace emberline::command
