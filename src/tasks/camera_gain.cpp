// SPDX-License-Identifier: MIT
#include "tasks/camera_gain.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "night/campaign.hpp"
#include "tasks/find_files.hpp"
#include "tasks/json_values.hpp"

namespace emberline::tasks {

Result<frame::PhotonTransfer> camera_gain(const std::vector<std::string>& places,
                                          const std::string& campaign_folder) {
    std::vector<frame::Instrument> instruments;
    std::error_code error;
    const bool named = campaign_folder != ".";
    if (named || std::filesystem::exists(std::filesystem::path(campaign_folder) / "campaign.toml", error)) {
        auto campaign = night::read_campaign(campaign_folder);
        if (!campaign) return fail(campaign.error());
        instruments = std::move(campaign->instruments);
    }
    const auto files = find_frame_files(places, "");
    if (!files) return fail(files.error());
    if (files->empty()) {
        return fail({.what = "No FITS files were found.",
                     .where = places.empty() ? std::string() : places.front(),
                     .mend = "Name flats and biases, or the folders that they are in."});
    }
    return frame::photon_transfer(*files, instruments);
}

std::string settings_of(const frame::PhotonTransfer& transfer) {
    const auto line = [](const char* key, const ValueWithError& v) {
        return fmt::format("{} = {:.{}f}\n", key, v.value, decimals_for(v.err, 4));
    };
    return "[instrument]\n" + line("gain", transfer.gain_e_per_adu) +
           line("read_noise", transfer.read_noise_e);
}

Json document(const frame::PhotonTransfer& transfer) {
    Json json;
    json["gain_e_per_adu"] = with_err(transfer.gain_e_per_adu);
    json["read_noise_e"] = with_err(transfer.read_noise_e);
    json["read_noise_adu"] = transfer.read_noise_adu;
    json["bias_level_adu"] = transfer.bias_level_adu;
    json["step_adu"] = transfer.step_adu;
    json["header_gain"] = transfer.header_gain ? Json{{"value", transfer.header_gain->value},
                                                      {"source", transfer.header_gain->source}}
                                               : Json(nullptr);
    json["biases_from_darks_s"] = transfer.from_darks ? Json(transfer.dark_exposure_s) : Json(nullptr);
    json["pairs"] = Json::array();
    for (const frame::TransferPair& pair : transfer.pairs) {
        json["pairs"].push_back({{"first", pair.first},
                                 {"second", pair.second},
                                 {"filter", pair.filter},
                                 {"exposure_s", pair.exposure_s},
                                 {"level_adu", pair.level_adu},
                                 {"ratio", pair.ratio},
                                 {"gain_e_per_adu", with_err(pair.gain_e_per_adu)}});
    }
    json["colours"] = Json::array();
    for (const frame::PhaseGain& phase : transfer.phases) {
        json["colours"].push_back({{"colour", std::string(1, phase.colour)},
                                   {"column", phase.phase & 1},
                                   {"row", phase.phase >> 1},
                                   {"level_adu", phase.level_adu},
                                   {"gain_e_per_adu", with_err(phase.gain_e_per_adu)}});
    }
    json["left_out"] = Json::array();
    for (const LeftOut& one : transfer.left_out)
        json["left_out"].push_back({{"path", one.path}, {"why", one_line(one.problem)}});
    json["lights_passed_over"] = transfer.lights;
    json["remarks"] = transfer.remarks;
    json["settings"] = settings_of(transfer);
    return json;
}

}  // namespace emberline::tasks
