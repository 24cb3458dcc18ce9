// SPDX-License-Identifier: MIT
#include "frame/read_calibration_facts.hpp"

#include <algorithm>
#include <cmath>

#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr const char* kind_keywords[] = {"IMAGETYP", "IMAGETYPE", "OBSTYPE", "FRAME"};

std::optional<FrameKind> kind_of(const std::string& word) {
    const bool dark = word.find("dark") != std::string::npos, flat = word.find("flat") != std::string::npos;
    if (dark && flat) return FrameKind::flat_dark;
    if (contains_any(word, {"bias", "zero", "offset"})) return FrameKind::bias;
    if (dark) return FrameKind::dark;
    if (flat) return FrameKind::flat;
    if (contains_any(word, {"light", "object", "science", "target", "sky"})) return FrameKind::light;
    return std::nullopt;
}

// Degrees Celsius; some cameras write kelvins, which lie outside.
void read_temperature(const Header& header, FrameFacts& facts) {
    for (const char* keyword : {"CCD-TEMP", "CCDTEMP", "SENSTEMP", "DET-TEMP", "TEMPERAT", "SET-TEMP"}) {
        const auto t = header.number(keyword);
        if (!t || *t < -150.0 || *t > 70.0) continue;
        facts.temperature_c = Fact<double>{*t, keyword};
        return;
    }
}

// A GAIN that read_sensor took for electrons is none.
void read_gain_setting(const Header& header, FrameFacts& facts) {
    const bool electrons = facts.gain_e_per_adu && facts.gain_e_per_adu->source.starts_with("GAIN") &&
                           !facts.caveats.has(Caveat::gain_assumed);
    for (const char* keyword : {"GAIN", "GAINRAW", "ISOSPEED", "ISO"}) {
        const auto setting = header.number(keyword);
        if (!setting || (electrons && std::string_view(keyword) == "GAIN")) continue;
        facts.gain_setting = Fact<double>{*setting, keyword};
        return;
    }
}

struct Done {
    bool bias = false, dark = false, flat = false;
    std::string source;
    void add(bool& letter, const char* keyword) {
        letter = true;
        if (source.empty()) {
            source = keyword;
        } else if (source.find(keyword) == std::string::npos) {
            source += std::string(", ") + keyword;
        }
    }
};

// T, the date of the step, or the name of the master; not F, OMIT, PERFORM …
bool says_done(const Header& header, const char* keyword) {
    const std::string value = lower_case(header.text(keyword).value_or(""));
    if (value.empty()) return false;
    for (const char* no : {"f", "0", "no", "none", "omit", "perform", "false", "skipped", "n"}) {
        if (value == no) return false;
    }
    return true;
}

void read_words(const Header& header, Done& done) {
    for (const Card& card : header.cards()) {
        if (card.keyword != "HISTORY") continue;
        const std::string line = lower_case(card.value.empty() ? card.comment : card.value);
        if (contains_any(line, {"not ", "no ", "without", "skip", "undo", "none"})) continue;
        if (contains_any(line, {"bias sub", "biassub", "bias corr", "bias frame sub", "bias removed",
                                "subtracted bias", "subtract bias", "zero level corr"}))
            done.add(done.bias, "HISTORY");
        if (contains_any(line, {"dark sub", "darksub", "dark corr", "dark frame sub", "dark removed",
                                "subtracted dark", "subtract dark", "dark count corr"}))
            done.add(done.dark, "HISTORY");
        if (contains_any(line, {"flat field", "flatfield", "flat-field", "flat div", "flat corr", "flattened",
                                "flat frame div", "divided by flat", "divide by flat"}))
            done.add(done.flat, "HISTORY");
    }
}

void read_calibrated(const Header& header, FrameFacts& facts) {
    Done done;
    const std::string status = upper_case(header.text("CALSTAT").value_or(""));
    if (status.find('B') != std::string::npos) done.add(done.bias, "CALSTAT");
    if (status.find('D') != std::string::npos) done.add(done.dark, "CALSTAT");
    if (status.find('F') != std::string::npos) done.add(done.flat, "CALSTAT");
    for (const char* keyword : {"ZEROCOR", "BIASCOR", "BIASCORR", "BIASSUB"}) {
        if (says_done(header, keyword)) done.add(done.bias, keyword);
    }
    for (const char* keyword : {"DARKCOR", "DARKCORR", "DARKSUB"}) {
        if (says_done(header, keyword)) done.add(done.dark, keyword);
    }
    for (const char* keyword : {"FLATCOR", "FLATCORR", "FLATDIV"}) {
        if (says_done(header, keyword)) done.add(done.flat, keyword);
    }
    read_words(header, done);
    std::string letters;
    if (done.bias) letters += 'B';
    if (done.dark) letters += 'D';
    if (done.flat) letters += 'F';
    if (!letters.empty()) facts.calibrated = Fact<std::string>{letters, done.source};
}

// PEDESTAL is the level to add, or the level that was added: with either sign its size is what a pixel
// without light holds. Zero is written by programs that know of none, and means something only where the
// offset was taken away.
void read_offset(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto pedestal = header.number("PEDESTAL");
    const bool told = pedestal && *pedestal != 0.0;
    const bool subtracted =
        facts.calibrated && facts.calibrated->value.find_first_of("BD") != std::string::npos;
    if (instrument.offset_adu && (instrument.override_header || (!told && !subtracted))) {
        facts.offset_adu = Fact<double>{*instrument.offset_adu, campaign_source("offset")};
    } else if (told) {
        facts.offset_adu = Fact<double>{std::abs(*pedestal), "PEDESTAL"};
    } else if (subtracted) {
        facts.offset_adu = Fact<double>{0.0, facts.calibrated->source};
    }
}

}  // namespace

void read_kind(const Header& header, FrameFacts& facts) {
    for (const char* keyword : kind_keywords) {
        if (const auto kind = kind_of(lower_case(header.text(keyword).value_or("")))) {
            facts.kind = Fact<FrameKind>{*kind, keyword};
            return;
        }
    }
}

bool is_made(const Header& header) {
    return std::any_of(std::begin(kind_keywords), std::end(kind_keywords), [&](const char* keyword) {
        return contains_any(lower_case(header.text(keyword).value_or("")), {"master", "defect"});
    });
}

SubFrameOrigin sub_frame_origin(const Header& header) {
    constexpr long long most_px = 200'000;
    const auto left = header.integer("XORGSUBF"), bottom = header.integer("YORGSUBF");
    const auto is_place = [](const std::optional<long long>& px) { return px && *px >= 0 && *px <= most_px; };
    return {.left_px = is_place(left) ? static_cast<int>(*left) : 0,
            .bottom_px = is_place(bottom) ? static_cast<int>(*bottom) : 0,
            .stated = is_place(left) && is_place(bottom)};
}

void read_calibration_facts(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    read_temperature(header, facts);
    read_gain_setting(header, facts);
    read_calibrated(header, facts);
    read_offset(header, instrument, facts);
}

}  // namespace emberline::frame
