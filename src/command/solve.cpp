// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/solve_frames.hpp"

namespace emberline::command {
namespace {

struct Counts {
    std::size_t solved = 0, refused = 0, had = 0;
};

Counts count(const tasks::SolveOutcome& outcome) {
    Counts n;
    for (const tasks::SolvedFrame& one : outcome.frames) {
        n.refused += one.problem ? 1 : 0;
        n.solved += one.matched > 0 ? 1 : 0;
        n.had += one.had_solution && one.matched == 0 && !one.problem ? 1 : 0;
    }
    return n;
}

int status_of_outcome(const tasks::SolveOutcome& outcome) {
    if (outcome.interrupted) return interrupted;
    const Counts n = count(outcome);
    if (n.refused == 0) return all_done;
    return n.solved + n.had > 0 ? something_refused : nothing_measured;
}

// "< 1e-30" rather than a power nobody believes.
std::string chance_text(double probability) {
    return probability < 1e-30 ? "<1e-30" : fmt::format("{:.0e}", probability);
}

std::string against_text(const tasks::SolvedFrame& one) {
    return one.order > 1 ? fmt::format("{}, SIP of order {}", one.against, one.order) : one.against;
}

void print_solved(const tasks::SolveOutcome& outcome) {
    const bool compared =
        std::any_of(outcome.frames.begin(), outcome.frames.end(),
                    [](const tasks::SolvedFrame& one) { return one.header_off_arcsec.has_value(); });
    std::vector<std::string> headings = {"frame", "matched", "detected", "known", "rms \"",
                                         "\"/px", "+y at °", "mirrored", "chance"};
    if (compared) headings.insert(headings.end(), {"header off \"", "at worst \""});
    headings.emplace_back("against");
    TextTable table(std::move(headings));
    bool any = false;
    for (const tasks::SolvedFrame& one : outcome.frames) {
        if (one.matched == 0) continue;
        any = true;
        const auto off = [](const std::optional<double>& v) { return v ? fmt::format("{:.2f}", *v) : "—"; };
        std::vector<std::string> row = {one.frame,
                                        fmt::format("{}", one.matched),
                                        fmt::format("{}", one.detected),
                                        fmt::format("{}", one.references),
                                        fmt::format("{:.2f}", one.rms_arcsec),
                                        fmt::format("{:.4f}", one.scale_arcsec_per_px),
                                        fmt::format("{:.2f}", one.position_angle_deg),
                                        one.mirrored ? "yes" : "no",
                                        chance_text(one.false_probability)};
        if (compared) row.insert(row.end(), {off(one.header_off_arcsec), off(one.header_off_corner_arcsec)});
        row.push_back(against_text(one));
        table.add(std::move(row));
    }
    if (any) std::cout << table.text();
}

void print(const tasks::SolveOutcome& outcome, const Face& face) {
    const Counts n = count(outcome);
    print_solved(outcome);
    if (n.refused > 0) std::cout << "Refused:\n";
    for (const tasks::SolvedFrame& one : outcome.frames) {
        if (one.problem)
            std::cout << fmt::format("  {}: {} {}\n", one.frame, one.problem->what, one.problem->mend);
    }
    std::cout << fmt::format("{} frame{}: {} solved, {} refused", outcome.frames.size(),
                             outcome.frames.size() == 1 ? "" : "s", n.solved, n.refused);
    if (n.had > 0)
        std::cout << fmt::format(", {} with a solution of {} own left alone", n.had,
                                 n.had == 1 ? "its" : "their");
    std::cout << ".\n";
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
    if (outcome.interrupted) std::cout << "Stopped; run the same command again to go on.\n";
    if (!face.quiet && n.had > 0)
        std::cout << "`--even-if-solved` solves those too, and says how far off their headers are.\n";
}

void run(tasks::SolveRequest request, Face& face) {
    std::optional<tasks::Workspace> workspace;
    std::error_code error;
    const bool campaign =
        std::filesystem::exists(std::filesystem::path(face.campaign) / "campaign.toml", error);
    const bool by_itself = request.catalogue || request.reference;
    if (campaign || face.campaign != "." || !by_itself) {
        auto opened = tasks::open_workspace(face.campaign);
        if (!opened) {
            if (face.campaign == "." && !by_itself && !campaign) {
                opened.error().mend =
                    "Name a campaign with -c, a catalogue of the field with --catalogue, or a solved frame "
                    "of it with "
                    "--against.";
            }
            face.status = face.say(opened.error());
            return;
        }
        workspace = std::move(*opened);
    }
    request.threads = face.threads;
    request.stop = stop_asked();
    request.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::solve_frames(workspace ? &*workspace : nullptr, request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = status_of_outcome(*outcome);
    if (face.json)
        face.say_json(tasks::document(*outcome));
    else
        print(*outcome, face);
}

}  // namespace

void add_solve(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("solve", "Find where frames without a plate solution point, by their own stars");
    sub->footer(
        "Examples:\n  emberline solve frames --copies solved\n"
        "  emberline solve tonight/*.fits --catalogue field.csv --scale 1.8\n"
        "  emberline solve a.fits --against b.fits\n"
        "  emberline solve frames --even-if-solved        how good are the solutions they have?\n\n"
        "`measure` does this by itself; this shows what it finds, and writes copies for other programs.\n"
        "The frames themselves are never written to, and a solution that chance could give is refused.");
    const auto request = std::make_shared<tasks::SolveRequest>();
    sub->add_option("FRAME", request->places, "FITS files, or folders of them")->required();
    CLI::Option* catalogue =
        sub->add_option("--catalogue", request->catalogue,
                        "Stars of the field with RA and Dec: CSV, TSV, ECSV, VOTable or a FITS table")
            ->type_name("FILE")
            ->default_str("the campaign's");
    sub->add_option("--epoch", request->catalogue_epoch,
                    "Julian year of the catalogue's positions, such as 2016.0")
        ->type_name("YEAR")
        ->check(number_within(1800.0, 2200.0))
        ->needs(catalogue);
    sub->add_option("--against", request->reference, "A frame of the same field that is solved")
        ->type_name("FRAME");
    CLI::Option* scale =
        sub->add_option("--scale", request->scale_arcsec_per_px, "About how much sky a pixel spans")
            ->type_name("ARCSEC/PX")
            ->check(number_within(0.01, 1000.0));
    sub->add_option("--scale-factor", request->scale_factor, "The scale may be wrong by this factor")
        ->type_name("FACTOR")
        ->check(number_within(1.001, 10.0))
        ->needs(scale)
        ->capture_default_str();
    sub->add_option("--order", request->most_order,
                    "Highest order of the distortion (SIP); 1: none; fewer stars get a lower one")
        ->type_name("N")
        ->check(CLI::Range(1, 5))
        ->capture_default_str();
    sub->add_option("--copies", request->copies, "Folder for copies that carry the solution")
        ->type_name("DIR");
    sub->add_flag("--even-if-solved", request->even_if_solved,
                  "Solve frames whose header has a solution too, and compare the two");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
