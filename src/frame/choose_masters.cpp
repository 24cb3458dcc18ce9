// SPDX-License-Identifier: MIT
#include "frame/choose_masters.hpp"

#include <fmt/format.h>

#include <cmath>

#include "frame/read_calibration_facts.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

// Dark current doubles in some 6 °C: within 3 °C it is off by less than half. Common practice, no source.
constexpr double most_apart_dark_c = 3.0;
constexpr double most_apart_bias_c = 15.0;
constexpr double gains_agree = 0.05;  // relative; of e-/ADU in two headers of one camera

template <class T>
std::optional<T> value_of(const MaybeFact<T>& fact) {
    return fact ? std::optional<T>(fact->value) : std::nullopt;
}

std::optional<std::string> other_size(const Wanted& frame, const Master& master) {
    const int width = master.facts.width_px, height = master.facts.height_px;
    const int dx = frame.left_px - master.left_px, dy = frame.bottom_px - master.bottom_px;
    const bool same = width == frame.width_px && height == frame.height_px;
    if (same && dx == 0 && dy == 0) return std::nullopt;
    const bool inside = dx >= 0 && dy >= 0 && dx + frame.width_px <= width && dy + frame.height_px <= height;
    if (!same && frame.cut && inside) return std::nullopt;
    if (same) return "it is of another part of the sensor";
    return fmt::format("it is {} × {} pixels, the frame {} × {}", width, height, frame.width_px,
                       frame.height_px);
}

std::optional<std::string> other_gain(const Wanted& frame, const Master& master) {
    const auto setting = value_of(master.facts.gain_setting);
    if (setting && frame.gain_setting) {
        if (*setting == *frame.gain_setting) return std::nullopt;
        return fmt::format("its gain is set to {:g}, the frame's to {:g}", *setting, *frame.gain_setting);
    }
    if (master.egain && frame.egain && *frame.egain > 0.0 &&
        std::abs(*master.egain / *frame.egain - 1.0) > gains_agree) {
        return fmt::format("its gain is {:g} e-/ADU, the frame's {:g}", *master.egain, *frame.egain);
    }
    return std::nullopt;
}

std::optional<std::string> other_temperature(const Wanted& frame, const Master& master, double most_apart_c) {
    if (degrees_apart(frame, master) <= most_apart_c) return std::nullopt;
    return fmt::format("it was taken at {:.1f} °C, the frame at {:.1f} °C", master.facts.temperature_c->value,
                       *frame.temperature_c);
}

std::optional<std::string> other_filter(const Wanted& frame, const Master& master) {
    const bool any_colour = frame.mosaic && master.band.starts_with("T");
    if (!master.band.empty() && !any_colour && (!frame.band || *frame.band != master.band))
        return fmt::format("it is named for {}", master.band);
    const auto filter = value_of(master.facts.filter);
    if (frame.mosaic || !filter || !frame.filter || lower_case(*filter) == lower_case(*frame.filter))
        return std::nullopt;
    const bool known = master.facts.band && frame.band;
    const bool same = known ? master.facts.band->value.name() == *frame.band : !master.band.empty();
    if (same) return std::nullopt;
    return fmt::format("it was taken through '{}', the frame through '{}'", *filter, *frame.filter);
}

std::optional<std::string> other_pattern(const Wanted& frame, const Master& master) {
    const auto pattern = value_of(master.facts.pattern);
    const bool cut = frame.left_px != master.left_px || frame.bottom_px != master.bottom_px;
    if (cut || !pattern || !frame.pattern || *pattern == *frame.pattern) return std::nullopt;
    return fmt::format("its colours lie as {}, the frame's as {}", *pattern, *frame.pattern);
}

}  // namespace

Wanted wanted_of(const FrameFacts& facts, const Header& header) {
    Wanted out;
    out.width_px = facts.stored_width_px();
    out.height_px = facts.stored_height_px();
    const SubFrameOrigin origin = sub_frame_origin(header);
    out.left_px = origin.left_px;
    out.bottom_px = origin.bottom_px;
    out.cut = origin.stated;
    out.binning = value_of(facts.binning);
    out.gain_setting = value_of(facts.gain_setting);
    out.egain = header.number("EGAIN");
    out.temperature_c = value_of(facts.temperature_c);
    out.exposure_s = value_of(facts.exposure_s);
    out.filter = value_of(facts.filter);
    if (facts.band) out.band = facts.band->value.name();
    out.pattern = value_of(facts.pattern);
    out.mosaic = facts.lattice || facts.pattern;
    return out;
}

double degrees_apart(const Wanted& frame, const Master& master) {
    if (!frame.temperature_c || !master.facts.temperature_c) return 0.0;
    return std::abs(*frame.temperature_c - master.facts.temperature_c->value);
}

std::optional<std::string> misfit(const Wanted& frame, const Master& master) {
    if (auto why = other_size(frame, master)) return why;
    const auto binning = value_of(master.facts.binning);
    if (binning && frame.binning && *binning != *frame.binning)
        return fmt::format("it is binned {}-fold, the frame {}-fold", *binning, *frame.binning);
    switch (master.role) {
        case MasterRole::bias:
            if (auto why = other_gain(frame, master)) return why;
            return other_temperature(frame, master, most_apart_bias_c);
        case MasterRole::dark:
            if (auto why = other_gain(frame, master)) return why;
            return other_temperature(frame, master, most_apart_dark_c);
        case MasterRole::flat:
            if (auto why = other_filter(frame, master)) return why;
            return other_pattern(frame, master);
        case MasterRole::defects:
            return std::nullopt;
    }
    return std::nullopt;
}

Pick pick(const MasterList& masters, MasterRole role, const Wanted& frame,
          const std::function<Cost(const Master&)>& cost_of) {
    Pick out;
    double lowest = 0.0;
    for (const auto& master : masters) {
        if (master->role != role) continue;
        Cost cost;
        cost.misfit = misfit(frame, *master);
        if (!cost.misfit) cost = cost_of(*master);
        if (cost.misfit) {
            out.passed_over.push_back(fmt::format("{}: {}", master->name, *cost.misfit));
        } else if (!out.master || cost.value < lowest) {
            out.master = master;
            lowest = cost.value;
        }
    }
    return out;
}

}  // namespace emberline::frame
