// SPDX-License-Identifier: MIT
#include "frame/calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include "frame/frame.hpp"
#include "frame/master.hpp"

namespace emberline::frame {
namespace {

constexpr float undefined = std::numeric_limits<float>::quiet_NaN();

}  // namespace

Result<void> Calibration::apply(std::vector<Cutout>& stored) const {
    if (steps_.empty()) return {};
    struct Pixel {
        std::size_t cutout, index;
    };
    std::vector<Pixel> saturated;
    for (std::size_t c = 0; c < stored.size(); ++c) {
        for (std::size_t i = 0; i < stored[c].adu.size(); ++i) {
            if (static_cast<double>(stored[c].adu[i]) >= saturated_adu_) saturated.push_back({c, i});
        }
    }
    std::vector<PixelBox> boxes(stored.size());
    for (const Step& step : steps_) {
        for (std::size_t c = 0; c < stored.size(); ++c) {
            boxes[c] = stored[c].box;
            boxes[c].x0 += step.dx_px;
            boxes[c].y0 += step.dy_px;
        }
        const auto read = step.master->read(boxes);
        if (!read) return fail(at("the " + step_name(step), read.error()));
        std::vector<Cutout> bias;
        if (step.bias) {
            auto own = step.bias->read(boxes);
            if (!own) return fail(at("the bias of the " + step_name(step), own.error()));
            bias = std::move(*own);
        }
        for (std::size_t c = 0; c < stored.size(); ++c)
            take(step, (*read)[c], bias.empty() ? nullptr : &bias[c], stored[c]);
    }
    for (const Pixel& p : saturated) {
        float& v = stored[p.cutout].adu[p.index];
        v = std::max(v, static_cast<float>(kept_saturated_adu_));  // NaN stays
    }
    return {};
}

void Calibration::take(const Step& step, const Cutout& master, const Cutout* bias, Cutout& light) {
    switch (step.kind) {
        case Step::Kind::subtract: {
            const auto scale = static_cast<float>(step.scale);
            for (std::size_t i = 0; i < light.adu.size(); ++i)
                light.adu[i] -= scale * master.adu[i];
            return;
        }
        case Step::Kind::mask:
            for (std::size_t i = 0; i < light.adu.size(); ++i) {
                if (master.adu[i] != 0.0F) light.adu[i] = undefined;
            }
            return;
        case Step::Kind::divide:
            break;
    }
    const PixelBox& box = master.box;
    std::size_t i = 0;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x, ++i) {
            const auto level =
                static_cast<double>(bias != nullptr ? master.adu[i] - bias->adu[i] : master.adu[i]);
            const double flat = level / step.norm[phase_of(x, y)];
            light.adu[i] = flat > darkest_flat ? static_cast<float>(static_cast<double>(light.adu[i]) / flat)
                                               : undefined;
        }
    }
}

std::string Calibration::step_name(const Step& step) {
    return fmt::format("{} {}", word(step.master->role), step.master->name);
}

// Saturation is of the camera's own pixels. Those at it are kept at a level that no other pixel reaches, so
// that they are known for what they are; up to where the sensor is linear is told on the safe side.
void Calibration::note_in(FrameFacts& facts) const {
    facts.masters = used_;
    facts.flat_pixel_err = flat_pixel_err_;
    facts.caveats.add(caveats_);
    facts.remarks.insert(facts.remarks.end(), remarks_.begin(), remarks_.end());
    if (offset_gone_ && !used_.empty())
        facts.offset_adu = Fact<double>{0.0, "taken away by " + used_.front()};
    if (facts.saturation_adu && kept_saturated_adu_ != saturated_adu_) {
        facts.saturation_adu->value = kept_saturated_adu_;
        facts.saturation_adu->source += ", less the offset, over the flat";
    }
    if (facts.linear_to_adu && (offset_adu_ != 0.0 || highest_flat_ != 1.0)) {
        facts.linear_to_adu->value = (facts.linear_to_adu->value - offset_adu_) / highest_flat_;
        facts.linear_to_adu->source += ", less the offset, over the flat";
    }
}

Masters Masters::open(const MasterPaths& paths) {
    Masters out;
    const auto add = [&out](MasterRole role, const std::vector<std::string>& files, const std::string& band) {
        for (const std::string& path : files) {
            if (auto master = open_master(role, path, band)) {
                out.masters_.push_back(std::move(*master));
            } else {
                out.refused_.push_back(std::move(master.error()));
            }
        }
        return !files.empty();
    };
    out.bias_named_ = add(MasterRole::bias, paths.bias, {});
    out.dark_named_ = add(MasterRole::dark, paths.dark, {});
    for (const auto& [band, files] : paths.flat)
        out.flat_named_ = add(MasterRole::flat, files, band) || out.flat_named_;
    out.defects_named_ = add(MasterRole::defects, paths.defects, {});
    return out;
}

std::string masters_text(const MasterPaths& paths, const std::string& folder) {
    std::string text;
    const auto add = [&](const std::string& role, const std::vector<std::string>& files) {
        for (const std::string& file : files) {
            const auto print = fingerprint((std::filesystem::path(folder) / file).string());
            text += fmt::format(" {}={} {}", role, file, print ? *print : "-");
        }
    };
    add("bias", paths.bias);
    add("dark", paths.dark);
    for (const auto& [band, files] : paths.flat)
        add(band.empty() ? "flat" : "flat." + band, files);
    add("defects", paths.defects);
    return text;
}

}  // namespace emberline::frame
