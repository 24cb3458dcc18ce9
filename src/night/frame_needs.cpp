// SPDX-License-Identifier: MIT
#include "night/frame_needs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <initializer_list>

#include "quantities/text.hpp"

namespace emberline::night {
namespace {

Problem missing(const frame::FrameFacts& facts, std::string what, std::string keyword, std::string mend) {
    return {.what = std::move(what),
            .where = fmt::format("{}, keyword {}", facts.path, keyword),
            .mend = std::move(mend)};
}

// What the header says about this fact's absence, or the plain sentence.
std::string remark_or(const frame::FrameFacts& facts, std::string_view about, std::string plain) {
    for (const std::string& remark : facts.remarks) {
        if (remark.find(about) != std::string::npos) return remark;
    }
    return plain;
}

bool is_one_of(const std::string& word, std::initializer_list<const char*> words) {
    return std::any_of(words.begin(), words.end(), [&](const char* w) { return word == w; });
}

std::string advice_on_filter(const std::string& filter) {
    const std::string word = lower_case(trimmed(filter));
    const auto write = [&](const char* band) {
        return fmt::format("bands = {{ \"{}\" = \"{}\" }} under [instrument].", filter, band);
    };
    const bool wide = is_one_of(word, {"l", "lum", "luminance", "none", "empty", "air", "no filter"}) ||
                      word.starts_with("clear") || word.starts_with("open") ||
                      word.find("uv") != std::string::npos || word.find("ir cut") != std::string::npos;
    if (wide) return "Nearly all light went through: that is band CV, put on V. Say so: " + write("CV");
    const bool narrow =
        is_one_of(word, {"ha", "h-alpha", "halpha", "hb", "h-beta", "oiii", "o3", "sii", "s2"});
    if (narrow)
        return "Comparison stars have no magnitudes in a narrow band: leave these frames out of the "
               "campaign.";
    return "Say which band it is: " + write("V");
}

}  // namespace

Result<FrameNeeds> needs_of(const frame::FrameFacts& facts) {
    if (!facts.mid_exposure) {
        return fail(missing(facts, remark_or(facts, "DATE-OBS", "The frame does not say when it was taken."),
                            "DATE-OBS", "Add DATE-OBS in UTC, as 2024-02-03T21:04:05."));
    }
    if (!facts.exposure_s) {
        return fail(missing(facts, remark_or(facts, "EXPTIME", "The exposure time is missing."), "EXPTIME",
                            "Add EXPTIME in seconds, or exposure_s under [instrument]."));
    }
    if (!facts.band) {
        const std::string filter = facts.filter ? facts.filter->value : std::string();
        return fail(missing(
            facts,
            filter.empty() ? "The frame does not say through which filter it was taken."
                           : fmt::format("The filter '{}' is not known.", filter),
            "FILTER",
            filter.empty()
                ? "Add FILTER to the header, or say the band of frames without one: bands = { \"\" = \"CV\" "
                  "} under "
                  "[instrument]."
                : advice_on_filter(filter)));
    }
    if (facts.pixel_type == "uint8") {
        return fail(missing(facts, "An 8-bit picture: stretched or rounded, it no longer counts light.",
                            "BITPIX", "Save the frame as the camera gave it, with 16 bits or more."));
    }
    return light_needs(facts);
}

FrameNeeds light_needs(const frame::FrameFacts& facts) {
    FrameNeeds needs;
    if (facts.band) needs.band = facts.band->value;
    if (facts.gain_e_per_adu) needs.gain_e_per_adu = facts.gain_e_per_adu->value;
    if (facts.read_noise_e) needs.read_noise_e = facts.read_noise_e->value;
    if (facts.saturation_adu) needs.saturation_adu = facts.saturation_adu->value;
    needs.linear_to_adu = facts.linear_to_adu ? std::min(facts.linear_to_adu->value, needs.saturation_adu)
                                              : needs.saturation_adu;
    return needs;
}

}  // namespace emberline::night
