// SPDX-License-Identifier: MIT
#include "tasks/stack.hpp"

#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"

namespace emberline::command {
namespace {

std::string value_text(const std::optional<ValueWithError>& v, const std::optional<double>& limit_mag) {
    if (v) {
        const std::string depth = limit_mag ? fmt::format(" (3 sigma depth {:.2f})", *limit_mag) : "";
        return fmt::format("{:.3f} ± {:.3f}{}", v->value, v->err, depth);
    }
    return limit_mag ? fmt::format("fainter than {:.2f}", *limit_mag) : "not measured";
}

void print(const tasks::StackOutcome& outcome, bool measured) {
    for (const tasks::StackedBand& band : outcome.bands) {
        std::cout << fmt::format(
            "{}, {}: {} frames in {}, {:.0f} s together, FWHM {:.2f}″; {} values of pixels clipped.\n",
            band.night, band.band.name(), band.used, band.path, band.exposure_s, band.fwhm_arcsec,
            band.clipped_pixels);
        for (const LeftOut& one : band.left_out)
            std::cout << fmt::format("  left out {}: {}\n", one.path, one.problem.what);
        if (!measured) continue;
        std::cout << fmt::format("  by the stack:  {}\n  by its frames: {}\n",
                                 value_text(band.stack_mag, band.stack_limit_mag),
                                 value_text(band.frames_mag, band.frames_limit_mag));
        std::cout << "  " << band.advice << '\n';
    }
    for (const Problem& problem : outcome.refused)
        std::cout << "Refused: " << one_line(problem) << '\n';
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
    if (outcome.interrupted) std::cout << "Stopped; run the same command again to go on.\n";
}

int status_of_outcome(const tasks::StackOutcome& outcome) {
    if (outcome.interrupted) return interrupted;
    if (outcome.bands.empty()) return nothing_measured;
    return outcome.refused.empty() ? all_done : something_refused;
}

void run(tasks::StackRequest request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    request.threads = face.threads;
    request.stop = stop_asked();
    request.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::stack(*workspace, request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = status_of_outcome(*outcome);
    if (face.json)
        face.say_json(tasks::document(*outcome));
    else
        print(*outcome, request.measure);
}

}  // namespace

void add_stack(CLI::App& app, Face& face) {
    CLI::App* sub = app.add_subcommand("stack", "Make one deep frame of a night's good ones, and measure it");
    sub->footer(
        "Examples:\n  emberline stack                       the newest night, a stack a band\n"
        "  emberline stack --night 2024-03-14 --band V\n"
        "  emberline stack tonight/*.fits --output deep.fits --no-measure\n\n"
        "`measure` uses the stack of a night where single frames show too little, else the frames; never "
        "both.");
    const auto request = std::make_shared<tasks::StackRequest>();
    sub->add_option("FRAME", request->places, "FITS files, or folders of them")
        ->default_str("the night's good frames in the ledger");
    sub->add_option("--night", request->night, "The night to stack, by its evening's date")
        ->type_name("NIGHT")
        ->default_str("the newest");
    sub->add_option("--band", request->band, "Only this band")
        ->type_name("BAND")
        ->default_str("a stack of each");
    sub->add_option("-o,--output", request->output, "File to write")
        ->type_name("FILE")
        ->default_str("stacks/NIGHT_BAND.fits in the campaign");
    sub->add_flag("--replace", request->replace, "Replace a file that is there");
    sub->add_flag("!--no-measure", request->measure, "Only make the stack");
    sub->callback([request, &face] { run(*request, face); });
}

}  // namespace emberline::command
