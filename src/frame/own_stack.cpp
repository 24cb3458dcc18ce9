// SPDX-License-Identifier: MIT
#include "frame/own_stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace emberline::frame {
namespace {

constexpr std::size_t longest_name = 66;  // of one card, with room for quotes that are doubled

std::string numbered(const char* beginning, std::size_t i) {
    return fmt::format("{}{:04d}", beginning, i + 1);
}

Card number_card(const char* keyword, double value, const char* comment) {
    // A decimal point, so that no reader takes it for a whole number.
    std::string text = fmt::format("{:.16G}", value);
    if (text.find_first_of(".E") == std::string::npos) text += ".0";
    return {keyword, text, comment, false};
}

// The end of a long path tells more than its beginning.
std::string short_name(const std::string& name) {
    return name.size() > longest_name ? name.substr(name.size() - longest_name) : name;
}

std::optional<double> positive(const Header& header, const char* keyword) {
    const auto value = header.number(keyword);
    return value && std::isfinite(*value) && *value > 0.0 ? value : std::nullopt;
}

}  // namespace

std::vector<Card> own_stack_cards(const OwnStack& stack) {
    std::vector<Card> cards;
    cards.push_back(number_card("EXPTIME", stack.exposure_s, "[s] total of all frames"));
    cards.push_back(number_card("XPOSURE", stack.exposure_s, "[s] total of all frames"));
    cards.push_back(number_card("GAIN", stack.gain_e_per_adu, "[e-/adu] electrons per ADU of the mean"));
    cards.push_back(number_card("RDNOISE", stack.read_noise_e, "[e-] of a pixel of the mean"));
    cards.push_back(number_card("SATURATE", stack.saturation_adu, "[adu] trusted below it"));
    cards.push_back(number_card("STKSKY", stack.sky_adu, "[adu] sky of the frame that gave the pixels"));
    cards.push_back(
        {"STKCLIP", fmt::format("{}", stack.clipped_pixels), "values of pixels that were left out", false});
    cards.push_back({"STKCOUNT", fmt::format("{}", stack.frames.size()), "frames in the mean", false});
    for (std::size_t i = 0; i < stack.frames.size(); ++i) {
        const StackedFrame& one = stack.frames[i];
        cards.push_back({numbered("STKF", i), one.fingerprint, "fingerprint", true});
        cards.push_back({numbered("STKN", i), short_name(one.name), "", true});
        cards.push_back(number_card(numbered("STKW", i).c_str(), one.weight, "share of the weight"));
    }
    return cards;
}

std::optional<OwnStack> read_own_stack(const Header& header) {
    const auto count = header.integer("STKCOUNT");
    if (!count || *count < 2 || *count > static_cast<long long>(most_stacked_frames)) return std::nullopt;
    const auto gain = positive(header, "GAIN"), exposure = positive(header, "EXPTIME"),
               saturation = positive(header, "SATURATE");
    const auto read_noise = header.number("RDNOISE");
    if (!gain || !exposure || !saturation || !read_noise || !(*read_noise >= 0.0)) return std::nullopt;
    OwnStack stack;
    stack.gain_e_per_adu = *gain;
    stack.read_noise_e = *read_noise;
    stack.exposure_s = *exposure;
    stack.saturation_adu = *saturation;
    stack.sky_adu = header.number("STKSKY").value_or(0.0);
    stack.clipped_pixels = static_cast<std::size_t>(std::max(0LL, header.integer("STKCLIP").value_or(0)));
    for (std::size_t i = 0; i < static_cast<std::size_t>(*count); ++i) {
        const auto fingerprint = header.text(numbered("STKF", i));
        if (!fingerprint) return std::nullopt;
        stack.frames.push_back({header.text(numbered("STKN", i)).value_or(""), *fingerprint,
                                header.number(numbered("STKW", i)).value_or(0.0)});
    }
    return stack;
}

void take_own_stack(const OwnStack& stack, FrameFacts& facts) {
    const int count = static_cast<int>(stack.frames.size());
    facts.exposure_s = Fact<double>{stack.exposure_s, "EXPTIME"};
    facts.stacked_exposures = Fact<int>{count, "STKCOUNT"};
    facts.stack_kind = Fact<StackKind>{StackKind::mean, "STKCOUNT"};
    facts.gain_e_per_adu = Fact<double>{stack.gain_e_per_adu, "GAIN, of the mean"};
    facts.read_noise_e = Fact<double>{stack.read_noise_e, "RDNOISE, of the mean"};
    facts.saturation_adu = Fact<double>{stack.saturation_adu, "SATURATE"};
    facts.linear_to_adu = Fact<double>{stack.saturation_adu, "SATURATE"};
    for (const StackedFrame& one : stack.frames)
        facts.stack_of.push_back(one.fingerprint);
}

Instrument instrument_of_stack(const Instrument& instrument) {
    Instrument out;
    out.name = instrument.name;
    out.match = instrument.match;
    out.aperture_mm = instrument.aperture_mm;
    out.bands = instrument.bands;
    out.pattern = "none";
    return out;
}

}  // namespace emberline::frame
