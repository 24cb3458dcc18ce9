// SPDX-License-Identifier: MIT
#include "frame/read_sensor.hpp"

#include <fmt/format.h>

#include <cmath>
#include <initializer_list>

#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr double least_gain = 0.005,
                 most_gain = 20.0;          // e-/ADU of sensors in use; common practice, no source
constexpr double usual_read_noise_e = 5.0;  // common practice, no source

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
    return {value, fmt::format("campaign.toml, instrument.{}", key)};
}

// GAIN beside OFFSET, or as a whole number, is a register of the camera.
bool gain_is_a_setting(const Header& header, double gain) {
    const Card* card = header.find("GAIN");
    const std::string comment = lower_case(card->comment);
    if (comment.find("e-/adu") != std::string::npos || comment.find("electron") != std::string::npos)
        return false;
    const bool whole = card->value.find('.') == std::string::npos;
    return gain < least_gain || gain > most_gain || (whole && header.find("OFFSET") != nullptr) ||
           comment.find("setting") != std::string::npos || comment.find("sensor gain") != std::string::npos;
}

void read_gain(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    if (instrument.gain_e_per_adu && instrument.override_header) {
        facts.gain_e_per_adu = stated(*instrument.gain_e_per_adu, "gain");
        return;
    }
    if (const auto egain = header.number("EGAIN"); egain && *egain > least_gain && *egain < most_gain) {
        facts.gain_e_per_adu = Fact<double>{*egain, "EGAIN"};
        return;
    }
    const auto gain = header.number("GAIN");
    if (gain && !gain_is_a_setting(header, *gain)) {
        facts.gain_e_per_adu = Fact<double>{*gain, "GAIN"};
        // A plausible number may still be a setting; the campaign knows its camera.
        if (instrument.gain_e_per_adu && std::abs(*gain / *instrument.gain_e_per_adu - 1.0) > 0.2) {
            facts.gain_e_per_adu = stated(*instrument.gain_e_per_adu, "gain");
            facts.remarks.push_back(
                fmt::format("GAIN = {:g} differs from the campaign's {:g} e-/ADU, which was taken.", *gain,
                            *instrument.gain_e_per_adu));
        }
        return;
    }
    if (gain) {
        facts.remarks.push_back(fmt::format(
            "GAIN = {:g} is taken for a setting of the camera, not for electrons per ADU.", *gain));
    }
    if (instrument.gain_e_per_adu) {
        facts.gain_e_per_adu = stated(*instrument.gain_e_per_adu, "gain");
        return;
    }
    facts.gain_e_per_adu = Fact<double>{1.0, "assumed"};
    facts.caveats.add(Caveat::gain_assumed);
    facts.remarks.emplace_back("The gain is not known: 1 e-/ADU is assumed. Put `gain` under [instrument].");
}

void read_read_noise(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto noise = first_number(header, {"RDNOISE", "READNOIS", "READNOISE", "RON", "ENOISE"});
    const bool good = noise && noise->value >= 0.0 && noise->value < 1000.0;
    if (instrument.read_noise_e && (instrument.override_header || !good)) {
        facts.read_noise_e = stated(*instrument.read_noise_e, "read_noise");
    } else if (good) {
        facts.read_noise_e = Fact<double>{noise->value, noise->keyword};
    } else {
        facts.read_noise_e = Fact<double>{usual_read_noise_e, "assumed"};
        facts.caveats.add(Caveat::read_noise_assumed);
    }
}

double top_of(const std::string& pixel_type, const Header& header) {
    const double scale = header.number("BSCALE").value_or(1.0), zero = header.number("BZERO").value_or(0.0);
    if (pixel_type == "uint8") return 255.0 * scale + zero;
    if (pixel_type == "int16" || pixel_type == "uint16") return 32767.0 * scale + zero;
    return 65535.0;  // wider types hold what a 16-bit converter gave; common practice, no source
}

void read_saturation(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto level = first_number(header, {"SATURATE", "SATLEVEL", "DATAMAX"});
    const bool good = level && level->value > 1.0 && std::isfinite(level->value);
    if (instrument.saturation_adu && (instrument.override_header || !good)) {
        facts.saturation_adu = stated(*instrument.saturation_adu, "saturation");
    } else if (good) {
        facts.saturation_adu = Fact<double>{level->value, level->keyword};
    } else {
        facts.saturation_adu = Fact<double>{top_of(facts.pixel_type, header), "assumed from the pixel type"};
        facts.caveats.add(Caveat::saturation_assumed);
    }
    if (instrument.linear_to_adu) facts.linear_to_adu = stated(*instrument.linear_to_adu, "linear_to");
}

// A stack's pixels are not one exposure's: gain and read noise are those of what was stored.
void follow_stack(const Header& header, FrameFacts& facts) {
    const int n = facts.stacked_exposures ? facts.stacked_exposures->value : 1;
    if (n < 2) return;
    std::string how;
    for (const char* keyword : {"STACKMOD", "COMBINE", "STACKTYP", "COMBTYPE", "IMCMBMTH"}) {
        if (how.empty()) how = lower_case(header.text(keyword).value_or(""));
    }
    const double root = std::sqrt(static_cast<double>(n));
    const bool mean = how.find("mean") != std::string::npos || how.find("aver") != std::string::npos ||
                      how.find("median") != std::string::npos;
    const bool sum = how.find("sum") != std::string::npos || how.find("add") != std::string::npos;
    if (!mean && !sum) {
        facts.remarks.push_back(fmt::format(
            "A stack of {} exposures whose header does not say sum or mean: a mean is assumed.", n));
        facts.caveats.add(Caveat::gain_assumed);
    }
    if (!sum) {
        facts.gain_e_per_adu->value *= n;
        facts.gain_e_per_adu->source += fmt::format(" × {} (mean of a stack)", n);
    }
    facts.read_noise_e->value *= root;
    facts.read_noise_e->source += fmt::format(" × √{}", n);
}

}  // namespace

void read_sensor(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    read_gain(header, instrument, facts);
    read_read_noise(header, instrument, facts);
    read_saturation(header, instrument, facts);
    if (const auto binning = header.integer("XBINNING"); binning && *binning >= 1 && *binning <= 64) {
        facts.binning = Fact<int>{static_cast<int>(*binning), "XBINNING"};
    }
    follow_stack(header, facts);
}

}  // namespace emberline::frame
