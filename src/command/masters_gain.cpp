// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <filesystem>
#include <iostream>
#include <memory>
#include <nlohmann/json.hpp>

#include "command/face.hpp"
#include "tasks/camera_gain.hpp"

namespace emberline::command {
namespace {

std::string file_of(const std::string& path) {
    return std::filesystem::path(path).filename().string();
}

void print_pairs(const frame::PhotonTransfer& transfer) {
    TextTable table({"filter", "seconds", "level ADU", "ratio", "gain e-/ADU", "flats"});
    for (const frame::TransferPair& pair : transfer.pairs) {
        table.add({pair.filter.empty() ? "—" : pair.filter, fmt::format("{:g}", pair.exposure_s),
                   fmt::format("{:.0f}", pair.level_adu), fmt::format("{:.3f}", pair.ratio),
                   with_error(pair.gain_e_per_adu), file_of(pair.first) + ", " + file_of(pair.second)});
    }
    std::cout << '\n' << table.text();
    if (transfer.phases.empty()) return;
    TextTable colours({"colour", "column", "row", "level ADU", "gain e-/ADU"});
    for (const frame::PhaseGain& phase : transfer.phases) {
        colours.add({std::string(1, phase.colour), fmt::format("{}", phase.phase & 1),
                     fmt::format("{}", phase.phase >> 1), fmt::format("{:.0f}", phase.level_adu),
                     with_error(phase.gain_e_per_adu)});
    }
    std::cout << '\n' << colours.text();
}

void print_transfer(const frame::PhotonTransfer& transfer, const Face& face) {
    const std::string header =
        transfer.header_gain
            ? fmt::format("; {} says {:g}", transfer.header_gain->source, transfer.header_gain->value)
            : std::string("; the header does not say it");
    std::cout << fmt::format("Gain        {} e-/ADU{}\n", with_error(transfer.gain_e_per_adu), header);
    std::cout << fmt::format("Read noise  {} e-, {:.2f} ADU\n", with_error(transfer.read_noise_e),
                             transfer.read_noise_adu);
    const std::string zero = transfer.from_darks
                                 ? fmt::format("darks of {:g} s in place of biases", transfer.dark_exposure_s)
                                 : std::string("biases");
    std::cout << fmt::format("No light    {:.1f} ADU ({}), in steps of {:g} ADU\n", transfer.bias_level_adu,
                             zero, transfer.step_adu);
    print_pairs(transfer);
    for (const LeftOut& one : transfer.left_out)
        std::cout << fmt::format("Left out: {}\n", one_line(one.problem));
    if (transfer.lights > 0)
        std::cout << fmt::format("{} pictures of the sky were passed over.\n", transfer.lights);
    for (const std::string& remark : transfer.remarks)
        std::cout << remark << '\n';
    if (face.quiet) return;
    std::cout << "\nFor campaign.toml:\n  ";
    for (const char c : tasks::settings_of(transfer)) {
        std::cout << c;
        if (c == '\n') std::cout << "  ";
    }
    std::cout << '\n';
}

}  // namespace

void add_masters_gain(CLI::App& masters, Face& face) {
    CLI::App* sub = masters.add_subcommand(
        "gain", "Gain and read noise from pairs of flats and biases, whatever a header says");
    sub->footer(
        "Example:\n  emberline masters gain flats/ biases/\n\nTwo flats through one filter and two biases "
        "(or "
        "the shortest darks), as the camera gave them.");
    const auto places = std::make_shared<std::vector<std::string>>();
    sub->add_option("FRAME", *places, "Flats and biases: FITS files, or folders of them")->required();
    sub->callback([&face, places] {
        const auto transfer = tasks::camera_gain(*places, face.campaign);
        if (!transfer) {
            face.status = face.say(transfer.error());
            return;
        }
        face.status = transfer->left_out.empty() ? all_done : something_refused;
        if (face.json) {
            face.say_json(tasks::document(*transfer));
            return;
        }
        print_transfer(*transfer, face);
    });
}

}  // namespace emberline::command
