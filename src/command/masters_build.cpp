// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <iostream>
#include <memory>

#include "command/face.hpp"
#include "tasks/build_masters.hpp"
#include "tasks/json_values.hpp"

namespace emberline::command {
namespace {

using tasks::Json;
using tasks::maybe;

std::string kind_word(const tasks::MasterMade& made) {
    switch (made.kind) {
        case frame::FrameKind::bias:
            return "bias";
        case frame::FrameKind::flat:
            return "flat";
        default:
            return made.for_flats ? "flat-dark" : "dark";
    }
}

Json document(const tasks::MastersOutcome& outcome) {
    Json masters = Json::array(), defects = Json::array(), left_out = Json::array();
    for (const tasks::MasterMade& made : outcome.masters) {
        masters.push_back({{"file", made.path},
                           {"kind", kind_word(made)},
                           {"filter", made.filter},
                           {"exposure_s", made.exposure_s},
                           {"gain_setting", maybe(made.gain_setting)},
                           {"temperature_c", maybe(made.temperature_c)},
                           {"frames", made.frames},
                           {"refused", made.refused},
                           {"level_adu", made.level_adu},
                           {"scatter_adu", made.scatter_adu},
                           {"clipped_share", made.clipped_share},
                           {"pixel_err", made.pixel_err},
                           {"subtracted", made.pedestal}});
    }
    for (const tasks::DefectMapMade& made : outcome.defects) {
        defects.push_back(
            {{"file", made.path}, {"hot", made.hot}, {"dead", made.dead}, {"unstable", made.unstable}});
    }
    for (const LeftOut& one : outcome.left_out)
        left_out.push_back({{"frame", one.path}, {"why", one_line(one.problem)}});
    return {{"folder", outcome.folder},
            {"masters", masters},
            {"defects", defects},
            {"refused", left_out},
            {"passed_over", outcome.lights},
            {"made_before", outcome.made_before},
            {"remarks", outcome.remarks},
            {"settings", outcome.settings}};
}

void print_table(const tasks::MastersOutcome& outcome) {
    TextTable table({"master", "kind", "frames", "exposure, s", "level, ADU", "scatter, ADU", "clipped, %"});
    for (const tasks::MasterMade& made : outcome.masters) {
        const std::size_t slash = made.path.find_last_of('/');
        table.add({slash == std::string::npos ? made.path : made.path.substr(slash + 1), kind_word(made),
                   fmt::format("{}", made.frames), fmt::format("{:g}", made.exposure_s),
                   fmt::format("{:.1f}", made.level_adu), fmt::format("{:.2f}", made.scatter_adu),
                   fmt::format("{:.3f}", 100.0 * made.clipped_share)});
    }
    std::cout << "Masters in " << outcome.folder << ":\n" << table.text();
    for (const tasks::DefectMapMade& made : outcome.defects) {
        std::cout << fmt::format("{}: {} hot, {} dead, {} unstable pixels of {} × {}.\n", made.path, made.hot,
                                 made.dead, made.unstable, made.width_px, made.height_px);
    }
}

void print(const tasks::MastersOutcome& outcome, bool quiet) {
    if (!outcome.masters.empty()) print_table(outcome);
    if (!outcome.left_out.empty()) std::cout << "Refused:\n";
    for (const LeftOut& one : outcome.left_out)
        std::cout << fmt::format("  {}\n", one_line(one.problem));
    if (quiet) return;
    for (const std::string& remark : outcome.remarks)
        std::cout << remark << '\n';
    if (!outcome.lights.empty()) {
        std::cout << fmt::format(
            "{} frame{} passed over: no bias, dark or flat by header or name, the first {}.\n",
            outcome.lights.size(), outcome.lights.size() == 1 ? " was" : "s were", outcome.lights.front());
    }
    if (!outcome.made_before.empty()) {
        std::cout << fmt::format("{} passed over: masters already, the first {}.\n",
                                 outcome.made_before.size(), outcome.made_before.front());
    }
    if (!outcome.settings.empty()) std::cout << "For campaign.toml:\n" << outcome.settings;
}

void run(tasks::MastersRequest request, Face& face) {
    request.campaign = face.campaign;
    if (face.threads > 0) request.threads = face.threads;
    request.progress = [&](std::size_t done, std::size_t of) { face.progress(done, of); };
    const auto outcome = tasks::build_masters(request);
    if (!outcome) {
        face.status = face.say(outcome.error());
        return;
    }
    face.status = outcome->masters.empty()    ? nothing_measured
                  : outcome->left_out.empty() ? all_done
                                              : something_refused;
    if (face.json)
        face.say_json(document(*outcome));
    else
        print(*outcome, face.quiet);
    if (outcome->masters.empty() && !face.json) {
        (void)face.say(
            {.what = "There was nothing to build a master from.",
             .where = "",
             .mend = "Name folders of bias, dark and flat frames whose header says what they are."});
    }
}

}  // namespace

void add_masters_build(CLI::App& masters, Face& face) {
    CLI::App* sub = masters.add_subcommand(
        "build", "Combine bias, dark and flat frames into calibration masters, with a map of defects");
    sub->footer("Example:\n  emberline masters build biases darks flats --output masters");
    const auto request = std::make_shared<tasks::MastersRequest>();
    const auto mebibytes = std::make_shared<int>(256);
    sub->add_option("FRAME", request->places, "FITS files, or folders of them; sorted by their headers")
        ->required();
    sub->add_option("-o,--output", request->output, "Folder to write to")
        ->type_name("DIR")
        ->default_str("masters/ in the campaign's folder");
    sub->add_flag("--replace", request->replace, "Replace files that are there");
    sub->add_option("--memory", *mebibytes, "Memory that pixels may take at a time, mebibytes")
        ->type_name("MIB")
        ->check(CLI::Range(16, 1 << 20))
        ->capture_default_str();
    sub->callback([request, mebibytes, &face] {
        request->memory_bytes = static_cast<std::size_t>(*mebibytes) << 20U;
        run(*request, face);
    });
}

}  // namespace emberline::command
