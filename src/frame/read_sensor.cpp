// SPDX-License-Identifier: MIT
#include "frame/read_sensor.hpp"

#include <fmt/format.h>

#include <cmath>
#include <initializer_list>

#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

// Of sensors in use, e-/ADU; EGAIN is nothing else by its name. Common practice, no source.
constexpr double least_gain = 0.005, most_gain = 20.0, most_egain = 100.0;
constexpr double gains_agree = 0.2;         // relative; gains in headers are seldom better
constexpr double usual_read_noise_e = 5.0;  // common practice, no source
constexpr double usual_top_adu = 65535.0;   // wider types hold what 16 bits gave; common practice, no source

struct Named {
    double value;
    const char* keyword;
};
std::optional<Named> first_number(const Header& header, std::initializer_list<const char*> keywords) {
    for (const char* keyword : keywords) {
        if (const auto v = header.number(keyword)) return Named{*v, keyword};
    }
    return std::nullopt;
}

Fact<double> stated(double value, const char* key) {
    return {value, campaign_source(key)};
}

enum class GainMeaning { electrons, perhaps, setting };

// GAIN beside OFFSET, or as a whole number, is most often a register of the camera.
GainMeaning meaning_of(const Header& header, double gain) {
    const Card* card = header.find("GAIN");
    const std::string comment = lower_case(card->comment);
    if (gain < least_gain || gain > most_egain) return GainMeaning::setting;
    if (contains_any(comment, {"e-/adu", "e/adu", "e-/dn", "e/dn", "e-/count", "electron", "el/adu"}))
        return GainMeaning::electrons;
    if (gain > most_gain || contains_any(comment, {"setting", "gain set", "sensor gain", "camera gain",
                                                   "sub gain", "gain value", "iso", "db"}))
        return GainMeaning::setting;
    const bool whole = gain == std::floor(gain);
    if (whole && header.find("OFFSET") != nullptr) return GainMeaning::setting;
    return whole ? GainMeaning::perhaps : GainMeaning::electrons;
}

void remark_disagreement(const Instrument& instrument, const char* keyword, FrameFacts& facts) {
    if (!instrument.gain_e_per_adu) return;
    const double gain = facts.gain_e_per_adu->value;
    if (std::abs(gain / *instrument.gain_e_per_adu - 1.0) <= gains_agree) return;
    facts.remarks.push_back(
        fmt::format("{} = {:g} e-/ADU was taken, though the campaign says {:g}; `override = true` under "
                    "[instrument] lets the campaign win.",
                    keyword, gain, *instrument.gain_e_per_adu));
}

void read_gain(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    if (instrument.gain_e_per_adu && instrument.override_header) {
        facts.gain_e_per_adu = stated(*instrument.gain_e_per_adu, "gain");
        return;
    }
    const auto egain = header.number("EGAIN");
    if (egain && *egain >= least_gain && *egain <= most_egain) {
        facts.gain_e_per_adu = Fact<double>{*egain, "EGAIN"};
        remark_disagreement(instrument, "EGAIN", facts);
        return;
    }
    if (egain) facts.remarks.push_back(fmt::format("EGAIN = {:g} is no gain in e-/ADU.", *egain));
    const auto gain = header.number("GAIN");
    const GainMeaning meaning = gain ? meaning_of(header, *gain) : GainMeaning::setting;
    if (meaning == GainMeaning::electrons) {
        facts.gain_e_per_adu = Fact<double>{*gain, "GAIN"};
        remark_disagreement(instrument, "GAIN", facts);
        return;
    }
    if (gain && meaning == GainMeaning::setting) {
        facts.remarks.push_back(fmt::format(
            "GAIN = {:g} is taken for a setting of the camera, not for electrons per ADU.", *gain));
    }
    if (instrument.gain_e_per_adu) {
        facts.gain_e_per_adu = stated(*instrument.gain_e_per_adu, "gain");
        return;
    }
    facts.caveats.add(Caveat::gain_assumed);
    if (meaning == GainMeaning::perhaps) {
        facts.gain_e_per_adu = Fact<double>{*gain, "GAIN"};
        facts.remarks.push_back(fmt::format(
            "GAIN = {:g} is taken for e-/ADU, though it may be a setting of the camera. Put `gain` under "
            "[instrument].",
            *gain));
        return;
    }
    facts.gain_e_per_adu = Fact<double>{1.0, "assumed"};
    facts.remarks.emplace_back("The gain is not known: 1 e-/ADU is assumed. Put `gain` under [instrument].");
}

void read_read_noise(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto noise = first_number(header, {"RDNOISE", "READNOIS", "READNOISE", "READNSE", "RON", "ENOISE"});
    // Zero stands where a program had nothing to write.
    const bool good = noise && noise->value > 0.0 && noise->value < 1000.0;
    if (instrument.read_noise_e && (instrument.override_header || !good)) {
        facts.read_noise_e = stated(*instrument.read_noise_e, "read_noise");
    } else if (good) {
        facts.read_noise_e = Fact<double>{noise->value, noise->keyword};
    } else {
        facts.read_noise_e = Fact<double>{usual_read_noise_e, "assumed"};
        facts.caveats.add(Caveat::read_noise_assumed);
    }
}

void read_saturation(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto level = first_number(header, {"SATURATE", "SATLEVEL", "DATAMAX"});
    const bool good = level && level->value > 1.0 && std::isfinite(level->value);
    if (instrument.saturation_adu && (instrument.override_header || !good)) {
        facts.saturation_adu = stated(*instrument.saturation_adu, "saturation");
    } else if (good) {
        facts.saturation_adu = Fact<double>{level->value, level->keyword};
    } else {
        facts.saturation_adu = Fact<double>{top_of_type(facts.pixel_type, header).value_or(usual_top_adu),
                                            "assumed from the pixel type"};
        facts.caveats.add(Caveat::saturation_assumed);
    }
    if (instrument.linear_to_adu) facts.linear_to_adu = stated(*instrument.linear_to_adu, "linear_to");
}

// "2", "2*2", "2x2", "2 2": the first number.
void read_binning(const Header& header, FrameFacts& facts) {
    for (const char* keyword : {"XBINNING", "CCDXBIN", "XBIN", "BINX", "BINNING", "CCDSUM"}) {
        const auto text = header.text(keyword);
        if (!text) continue;
        auto n = header.integer(keyword);
        if (!n) n = parse_integer(std::string_view(*text).substr(0, text->find_first_of("*xX ")));
        if (!n || *n < 1 || *n > 64) continue;
        facts.binning = Fact<int>{static_cast<int>(*n), keyword};
        return;
    }
}

}  // namespace

std::optional<double> top_of_type(const std::string& pixel_type, const Header& header) {
    const double scale = header.number("BSCALE").value_or(1.0), zero = header.number("BZERO").value_or(0.0);
    double top = 0.0;
    if (pixel_type == "uint8") top = 255.0 * scale + zero;
    if (pixel_type == "int16" || pixel_type == "uint16") top = 32767.0 * scale + zero;
    return std::isfinite(top) && top > 1.0 ? std::optional(top) : std::nullopt;
}

void read_sensor(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    read_gain(header, instrument, facts);
    read_read_noise(header, instrument, facts);
    read_saturation(header, instrument, facts);
    read_binning(header, facts);
}

}  // namespace emberline::frame
