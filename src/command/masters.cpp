// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/make_template.hpp"

namespace emberline::command {
namespace {

void run(tasks::TemplateRequest request, Face& face) {
    const auto workspace = tasks::open_workspace(face.campaign);
    if (!workspace) {
        face.status = face.say(workspace.error());
        return;
    }
    request.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::make_template(*workspace, request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = outcome->left_out.empty() ? all_done : something_refused;
    if (face.json) {
        nlohmann::ordered_json left_out = nlohmann::ordered_json::array();
        for (const LeftOut& one : outcome->left_out)
            left_out.push_back({{"frame", one.path}, {"why", one_line(one.problem)}});
        face.say_json({{"template", outcome->path},
                       {"frames", outcome->used},
                       {"left_out", left_out},
                       {"clipped_pixels", outcome->clipped_pixels},
                       {"fwhm_arcsec", outcome->fwhm_arcsec}});
        return;
    }
    std::cout << fmt::format("{} frames are stacked in {}, {:.1f}″ sharp; {} pixels were clipped.\n",
                             outcome->used.size(), outcome->path, outcome->fwhm_arcsec,
                             outcome->clipped_pixels);
    for (const LeftOut& one : outcome->left_out)
        std::cout << fmt::format("Left out: {}: {}\n", one.path, one_line(one.problem));
    if (face.quiet) return;
    if (!outcome->named_in_settings) {
        std::cout << fmt::format(
            "Name it in campaign.toml, and measure again:\n  [host]\n  template = \"{}\"\n", request.output);
    }
    std::cout << "A template must hold no light of the transient: what is in it goes missing from every "
                 "magnitude.\n";
}

}  // namespace

void add_masters(CLI::App& app, Face& face) {
    CLI::App* sub =
        app.add_subcommand("masters", "Frames made of frames: calibration masters, a template of the host");
    sub->footer(
        "Examples:\n  emberline masters build biases darks flats\n  emberline masters gain flats biases\n"
        "  emberline masters template frames/2025-02-* --output template_V.fits\n"
        "`emberline masters build --help` and so on show the options of each.");
    sub->require_subcommand(1);
    CLI::App* made = sub->add_subcommand(
        "template", "Stack frames from after the fade, or before it, into a host template");
    made->footer("Example:\n  emberline masters template frames/2025-02-* --output template_V.fits");
    const auto request = std::make_shared<tasks::TemplateRequest>();
    made->add_option("FRAME", request->places, "FITS files of one band, or folders of them")->required();
    made->add_option("-o,--output", request->output, "File to write, in the campaign's folder")
        ->type_name("FILE")
        ->capture_default_str();
    made->add_option("--band", request->band, "Only this band, of a colour camera's frames: TR, TG or TB")
        ->type_name("BAND");
    made->add_flag("--replace", request->replace, "Replace a file that is there");
    made->callback([request, &face] { run(*request, face); });
    add_masters_build(*sub, face);
    add_masters_gain(*sub, face);
}

}  // namespace emberline::command
