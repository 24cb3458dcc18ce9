// SPDX-License-Identifier: MIT
#include "frame/transfer_exposures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "frame/read_calibration_facts.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {

double TransferExposure::exposure_s() const {
    return frame.facts().exposure_s ? frame.facts().exposure_s->value : 0.0;
}

std::string TransferExposure::filter() const {
    return frame.facts().filter ? frame.facts().filter->value : std::string();
}

std::string TransferExposure::setting() const {
    const FrameFacts& f = frame.facts();
    return fmt::format("{} × {} pixels{}{}", f.stored_width_px(), f.stored_height_px(),
                       f.binning ? fmt::format(", binned {}-fold", f.binning->value) : "",
                       f.gain_setting ? fmt::format(", gain {:g}", f.gain_setting->value) : "");
}

Result<std::optional<TransferExposure>> open_exposure(const std::string& path,
                                                      const std::vector<Instrument>& instruments) {
    const auto refuse = [&](std::string what, std::string mend) {
        return fail({.what = std::move(what), .where = path, .mend = std::move(mend)});
    };
    auto frames = open_frames(path, instruments);
    if (!frames) return fail(frames.error());
    const FrameFacts& facts = frames->front().facts();
    if (facts.planes == 3 && !facts.lattice)
        return refuse("It is a colour picture of three planes.", "Name the camera's own exposures.");
    if (!facts.kind) {
        return refuse("It does not say whether it is a flat, a bias or a dark.",
                      "Write IMAGETYP into its header.");
    }
    if (facts.kind->value == FrameKind::light) return std::nullopt;
    const bool made = is_made(frames->front().header()) ||
                      (facts.stacked_exposures && facts.stacked_exposures->value > 1) ||
                      frames->front().header().number("NCOMBINE").value_or(1.0) > 1.0;
    if (made) {
        return refuse("It was made of several exposures: their noise is averaged away.",
                      "Name the single exposures that it was made of.");
    }
    if (facts.calibrated) {
        return refuse(fmt::format("It was calibrated before ({}).", facts.calibrated->source),
                      "Name the exposures as the camera gave them.");
    }
    TransferExposure out{path, frames->front(), facts.kind->value, {}};
    const auto look = look_at(out.frame);
    if (!look) return fail(look.error());
    out.look = *look;
    if (!out.look.step_adu) {
        return refuse("Its pixels are no whole numbers: it was divided, averaged or calibrated.",
                      "Name the exposures as the camera gave them.");
    }
    if (*out.look.step_adu == 0.0)
        return refuse("All its pixels are alike.", "Name exposures of the camera.");
    return out;
}

std::vector<const TransferExposure*> biases_of(const std::vector<TransferExposure>& all,
                                               const std::string& setting) {
    std::vector<const TransferExposure*> biases, darks;
    for (const TransferExposure& e : all) {
        if (e.is_flat() || e.setting() != setting) continue;
        (e.kind == FrameKind::bias ? biases : darks).push_back(&e);
    }
    if (biases.size() >= 2) return biases;
    std::sort(darks.begin(), darks.end(),
              [](const auto* a, const auto* b) { return a->exposure_s() < b->exposure_s(); });
    std::map<double, std::vector<const TransferExposure*>> by_exposure;
    for (const TransferExposure* dark : darks)
        by_exposure[dark->exposure_s()].push_back(dark);
    for (const auto& [exposure_s, group] : by_exposure) {
        if (group.size() >= 2) return group;
    }
    return biases.empty() ? darks : biases;
}

std::vector<FlatPair> pairs_of(const std::vector<const TransferExposure*>& flats) {
    std::map<std::string, std::map<double, std::vector<const TransferExposure*>>> groups;
    for (const TransferExposure* flat : flats)
        groups[lower_case(flat->filter())][flat->exposure_s()].push_back(flat);
    std::vector<FlatPair> pairs;
    const auto by_level = [](std::vector<const TransferExposure*>& list) {
        std::stable_sort(list.begin(), list.end(),
                         [](const auto* a, const auto* b) { return a->look.level_adu < b->look.level_adu; });
    };
    for (auto& [filter, exposures] : groups) {
        std::vector<const TransferExposure*> rest;
        for (auto& [exposure_s, list] : exposures) {
            by_level(list);
            for (std::size_t i = 0; i + 1 < list.size(); i += 2)
                pairs.emplace_back(list[i], list[i + 1]);
            if (list.size() % 2 == 1) rest.push_back(list.back());
        }
        by_level(rest);
        for (std::size_t i = 0; i + 1 < rest.size(); i += 2)
            pairs.emplace_back(rest[i], rest[i + 1]);
    }
    return pairs;
}

}  // namespace emberline::frame
