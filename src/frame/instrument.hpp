// SPDX-License-Identifier: MIT
// frame/instrument — what the campaign says about an instrument where the header is silent or wrong.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace emberline::frame {

struct Instrument {
    std::string name = "main";                 // zero points and colour terms are kept for each name
    std::map<std::string, std::string> match;  // header keyword -> value; empty matches every frame
    bool override_header = false;              // true: what follows wins over the header
    std::optional<double> aperture_mm;         // of the telescope; scintillation
    std::optional<double> gain_e_per_adu;
    std::optional<double> read_noise_e;
    std::optional<double> saturation_adu;
    std::optional<double> linear_to_adu;
    std::optional<double> exposure_s;    // where no header says it
    std::optional<double> offset_adu;    // level of a pixel of one exposure that got no light
    std::optional<std::string> pattern;  // of a colour mosaic at its first pixel, "RGGB"; "none": no mosaic
    std::optional<int> stacked;          // exposures in each frame
    std::optional<std::string> stack;    // how they were put together: "sum", "mean", "median"
    std::map<std::string, std::string> bands;  // FILTER value (trimmed, case ignored) -> band name
    bool operator==(const Instrument&) const = default;
};

// The source of a fact that the campaign gave, by the key under [instrument]: "campaign.toml,
// instrument.gain".
[[nodiscard]] inline std::string campaign_source(std::string_view key) {
    return "campaign.toml, instrument." + std::string(key);
}
[[nodiscard]] inline bool is_from_campaign(std::string_view source) {
    return source.starts_with("campaign.toml");
}

}  // namespace emberline::frame
