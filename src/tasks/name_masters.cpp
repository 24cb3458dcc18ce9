// SPDX-License-Identifier: MIT
#include "tasks/name_masters.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <functional>
#include <map>

#include "tasks/find_files.hpp"

namespace emberline::tasks {
namespace {

using frame::CalibrationSet;
using frame::FrameKind;

// For a file's name: letters, digits, and what no shell or system minds.
std::string plain(const std::string& text) {
    std::string out;
    for (const char c : text) {
        const bool good = std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '-' || c == '+';
        out += good ? c : '_';
    }
    return out;
}

std::string filter_of(const CalibrationSet& set) {
    return set.first().facts.filter ? plain(set.first().facts.filter->value) : std::string();
}

std::string base_name(const CalibrationSet& set) {
    const frame::FrameFacts& facts = set.first().facts;
    std::string name = set.kind == FrameKind::bias ? "bias" : set.kind == FrameKind::dark ? "dark" : "flat";
    if (set.kind == FrameKind::dark) name += fmt::format("_{:.4g}s", set.exposure_s().value_or(0.0));
    if (set.kind == FrameKind::flat && !filter_of(set).empty()) name += "_" + filter_of(set);
    if (set.kind != FrameKind::flat) {
        if (facts.gain_setting) name += fmt::format("_gain{:g}", facts.gain_setting->value);
        if (const auto t = set.temperature_c())
            name += fmt::format("_{:.0f}C", *t == 0.0 ? 0.0 : std::round(*t) + 0.0);
    }
    if (facts.binning && facts.binning->value > 1) name += fmt::format("_bin{}", facts.binning->value);
    return name;
}

// What may tell two of one name apart, the likeliest first.
using Detail = std::function<std::string(const CalibrationSet&)>;
const std::array<Detail, 6>& details() {
    static const std::array<Detail, 6> all{
        [](const CalibrationSet& s) {
            const auto& gain = s.first().facts.gain_setting;
            return s.kind == FrameKind::flat && gain ? fmt::format("_gain{:g}", gain->value) : std::string();
        },
        [](const CalibrationSet& s) {
            return s.first().offset_setting ? fmt::format("_offset{:g}", *s.first().offset_setting)
                                            : std::string();
        },
        [](const CalibrationSet& s) {
            return fmt::format("_{}x{}", s.first().facts.width_px, s.first().facts.height_px);
        },
        [](const CalibrationSet& s) {
            return fmt::format("_from{}-{}", s.first().left_px, s.first().bottom_px);
        },
        [](const CalibrationSet& s) {
            return s.first().readout.empty() ? "" : "_" + plain(s.first().readout);
        },
        [](const CalibrationSet& s) {
            const auto& pattern = s.first().facts.pattern;
            return pattern ? "_" + pattern->value : std::string();
        }};
    return all;
}

std::string toml_text(const std::string& text) {
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\') out += '\\';
        out += c;
    }
    return out + "\"";
}

std::string toml_list(const std::vector<std::string>& files) {
    if (files.size() == 1) return toml_text(files.front());
    std::string out;
    for (const std::string& file : files)
        out += (out.empty() ? "[" : ", ") + toml_text(file);
    return out + "]";
}

std::string toml_key(const std::string& key) {
    const bool bare =
        std::all_of(key.begin(), key.end(), [](unsigned char c) { return std::isalnum(c) != 0; });
    return bare ? key : toml_text(key);
}

std::string flat_lines(const MastersOutcome& outcome,
                       const std::function<std::string(const std::string&)>& name) {
    std::map<std::string, std::vector<std::string>> by_band;
    std::string unnamed;
    std::vector<std::string> for_all;
    for (const MasterMade& made : outcome.masters) {
        if (made.kind != FrameKind::flat) continue;
        if (!made.band.empty()) {
            by_band[made.band].push_back(name(made.path));
        } else {
            for_all.push_back(name(made.path));
            if (!made.filter.empty()) {
                unnamed +=
                    fmt::format("# {} is of the filter '{}', which is no known band: say whose flat it is.\n",
                                name(made.path), made.filter);
            }
        }
    }
    if (by_band.empty()) return for_all.empty() ? "" : unnamed + "flat = " + toml_list(for_all) + "\n";
    std::string line;
    for (const auto& [band, files] : by_band)
        line += fmt::format("{}{} = {}", line.empty() ? "" : ", ", toml_key(band), toml_list(files));
    return unnamed + "flat = { " + line + " }\n";
}

}  // namespace

std::vector<std::string> master_names(const std::vector<CalibrationSet>& sets) {
    std::vector<std::string> names;
    for (const CalibrationSet& set : sets)
        names.push_back(base_name(set));
    const auto alike = [&](std::size_t i) {
        std::vector<std::size_t> same;
        for (std::size_t j = 0; j < names.size(); ++j) {
            if (names[j] == names[i]) same.push_back(j);
        }
        return same;
    };
    for (const Detail& detail : details()) {
        for (std::size_t i = 0; i < names.size(); ++i) {
            const std::vector<std::size_t> same = alike(i);
            const bool tells = std::any_of(same.begin(), same.end(), [&](std::size_t j) {
                return detail(sets[j]) != detail(sets[same.front()]);
            });
            if (!tells) continue;
            for (const std::size_t j : same)
                names[j] += detail(sets[j]);
        }
    }
    for (std::size_t i = 0; i < names.size(); ++i) {
        const std::vector<std::size_t> same = alike(i);
        for (std::size_t k = 1; k < same.size(); ++k)
            names[same[k]] += fmt::format("_{}", k + 1);
    }
    for (std::string& name : names)
        name += ".fits";
    return names;
}

std::string masters_settings(const MastersOutcome& outcome, const std::string& campaign_folder) {
    const auto name = [&](const std::string& path) { return frame_name(path, campaign_folder); };
    std::vector<std::string> bias, dark, defects;
    for (const MasterMade& made : outcome.masters) {
        if (made.kind == FrameKind::bias) bias.push_back(name(made.path));
        if (made.kind == FrameKind::dark) dark.push_back(name(made.path));
    }
    for (const DefectMapMade& made : outcome.defects)
        defects.push_back(name(made.path));
    std::string text = "[masters]\n";
    if (bias.empty()) {
        const MasterMade* shortest = nullptr;
        for (const MasterMade& made : outcome.masters) {
            const bool shorter = shortest == nullptr || made.exposure_s < shortest->exposure_s;
            if (made.kind == FrameKind::dark && made.exposure_s <= longest_as_bias_s && shorter)
                shortest = &made;
        }
        if (shortest != nullptr) {
            text += "# There is no bias: the shortest dark stands in for it.\n";
            bias.push_back(name(shortest->path));
        }
    }
    if (!bias.empty()) text += "bias = " + toml_list(bias) + "\n";
    if (!dark.empty()) text += "dark = " + toml_list(dark) + "\n";
    text += flat_lines(outcome, name);
    if (!defects.empty()) text += "defects = " + toml_list(defects) + "\n";
    return text;
}

}  // namespace emberline::tasks
