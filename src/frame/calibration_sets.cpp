// SPDX-License-Identifier: MIT
#include "frame/calibration_sets.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <tuple>

#include "frame/colour_pattern.hpp"
#include "frame/fits_image.hpp"
#include "frame/read_calibration_facts.hpp"
#include "frame/read_facts.hpp"
#include "numerics/robust.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr double exposures_agree = 0.01, exposures_agree_s = 0.005;
constexpr double temperatures_agree_c = 2.0;  // from the coldest to the warmest of one master
// So many stragglers beside three times as many of another size or temperature are a mistake, no wish.
constexpr std::size_t stragglers = 2, many_times = 3;

constexpr const char* kept_keywords[] = {
    "INSTRUME", "TELESCOP", "GAIN",     "GAINRAW",  "ISOSPEED", "ISO",       "EGAIN",    "OFFSET",
    "BLKLEVEL", "READOUTM", "READMODE", "RDMODE",   "SET-TEMP", "XBINNING",  "YBINNING", "CCDSUM",
    "BINNING",  "XPIXSZ",   "YPIXSZ",   "XORGSUBF", "YORGSUBF", "FILTER",    "BAYERPAT", "BAYERPATTERN",
    "BAYRPAT",  "BAYER",    "CFAPAT",   "CFAPATT",  "COLORTYP", "COLORTYPE", "CFATYPE",  "XBAYROFF",
    "YBAYROFF", "BAYOFFX",  "BAYOFFY",  "CFAOFFX",  "CFAOFFY",  "ROWORDER"};

std::optional<FrameKind> kind_in(std::string_view name) {
    const std::string word = lower_case(name);
    const bool dark = word.find("dark") != std::string::npos, flat = word.find("flat") != std::string::npos;
    if (dark && flat) return FrameKind::flat_dark;
    if (dark) return FrameKind::dark;
    if (flat) return FrameKind::flat;
    if (word.find("bias") != std::string::npos) return FrameKind::bias;
    return std::nullopt;
}

// Where no card says what a frame is: its own name, then the folder's.
std::optional<FrameKind> kind_by_name(const std::string& path) {
    const std::size_t slash = path.find_last_of('/');
    if (slash == std::string::npos) return kind_in(path);
    if (const auto kind = kind_in(std::string_view(path).substr(slash + 1))) return kind;
    const std::size_t before = slash == 0 ? std::string::npos : path.find_last_of('/', slash - 1);
    const std::size_t from = before == std::string::npos ? 0 : before + 1;
    return kind_in(std::string_view(path).substr(from, slash - from));
}

Problem unfit(const std::string& path, std::string what, std::string mend) {
    return {.what = std::move(what), .where = path, .mend = std::move(mend)};
}

std::string size_text(const CalibrationFrame& f) {
    return fmt::format("{} × {}", f.facts.width_px, f.facts.height_px);
}

std::string filter_of(const CalibrationFrame& f) {
    return f.facts.filter ? std::string(trimmed(f.facts.filter->value)) : std::string();
}

bool same_but_size(const CalibrationFrame& a, const CalibrationFrame& b) {
    const auto number = [](const MaybeFact<double>& fact) { return fact ? fact->value : -1.0; };
    return number(a.facts.gain_setting) == number(b.facts.gain_setting) &&
           a.offset_setting == b.offset_setting && a.readout == b.readout &&
           (a.facts.binning ? a.facts.binning->value : 1) == (b.facts.binning ? b.facts.binning->value : 1);
}

// Whatever the temperature.
bool same_purpose(const CalibrationSet& set, const CalibrationFrame& f) {
    const CalibrationFrame& other = set.first();
    if (set.kind == FrameKind::flat) return filter_of(f) == filter_of(other);
    if (set.kind == FrameKind::bias) return true;
    return same_exposure(f.facts.exposure_s->value, other.facts.exposure_s->value);
}

bool warm_enough(const CalibrationSet& set, const CalibrationFrame& f) {
    if (set.kind == FrameKind::flat) return true;
    const auto& a = set.first().facts.temperature_c;
    const auto& b = f.facts.temperature_c;
    if (!a || !b) return !a && !b;
    return std::abs(a->value - b->value) <= temperatures_agree_c;
}

FrameKind kind_of_set(FrameKind kind) {
    return kind == FrameKind::flat_dark ? FrameKind::dark : kind;
}

std::optional<Problem> unfit_for(const CalibrationFrame& f, FrameKind kind) {
    const std::string& path = f.facts.path;
    const std::string done = f.facts.calibrated ? f.facts.calibrated->value : "";
    const bool flat = kind == FrameKind::flat;
    if (flat ? done.find('F') != std::string::npos : !done.empty()) {
        return unfit(path,
                     fmt::format("The frame is calibrated already, by its {}.", f.facts.calibrated->source),
                     "Give the frames as the camera saved them.");
    }
    if (kind == FrameKind::dark && !f.facts.exposure_s) {
        return unfit(path, "The dark does not say how long it was exposed.", "Add EXPTIME in seconds.");
    }
    // What the campaign says of stacking is meant for the frames of the sky.
    if (f.facts.stacked_exposures && f.facts.stacked_exposures->value > 1 &&
        !is_from_campaign(f.facts.stacked_exposures->source)) {
        return unfit(path,
                     fmt::format("The frame is a stack of {} already.", f.facts.stacked_exposures->value),
                     "Give the single exposures.");
    }
    return std::nullopt;
}

std::string temperature_text(const CalibrationSet& set) {
    const auto t = set.temperature_c();
    return t ? fmt::format("at {:.1f} °C", *t) : "without a temperature in the header";
}

// Why these few are left out beside those many; absent where they are a wish of their own.
std::optional<std::string> straggling(const CalibrationSet& few, const CalibrationSet& many) {
    if (few.kind != many.kind || few.frames.size() > stragglers ||
        many.frames.size() < many_times * few.frames.size() || !same_but_size(few.first(), many.first()) ||
        !same_purpose(many, few.first()))
        return std::nullopt;
    const bool warm = warm_enough(many, few.first());
    const bool size = few.first().facts.width_px == many.first().facts.width_px &&
                      few.first().facts.height_px == many.first().facts.height_px;
    if (warm && !size) {
        return fmt::format("The frame is {} pixels, {} others of its kind {}.", size_text(few.first()),
                           many.frames.size(), size_text(many.first()));
    }
    if (!warm && same_setting(few.first(), many.first())) {
        return fmt::format("It was taken {}, {} others of its kind {}.", temperature_text(few),
                           many.frames.size(), temperature_text(many));
    }
    return std::nullopt;
}

void leave_stragglers(SortedCalibration& sorted) {
    std::vector<CalibrationSet> kept;
    for (const CalibrationSet& few : sorted.sets) {
        std::optional<std::string> why;
        for (const CalibrationSet& many : sorted.sets) {
            if (!why) why = straggling(few, many);
        }
        if (!why) {
            kept.push_back(few);
            continue;
        }
        for (const CalibrationFrame& f : few.frames) {
            sorted.left_out.push_back(
                {f.facts.path,
                 unfit(f.facts.path, *why, "Leave it out, or take as many of it as of the others.")});
        }
    }
    sorted.sets = std::move(kept);
}

}  // namespace

bool same_exposure(double a_s, double b_s) {
    return std::abs(a_s - b_s) <= std::max(exposures_agree_s, exposures_agree * std::max(a_s, b_s));
}

bool same_setting(const CalibrationFrame& a, const CalibrationFrame& b) {
    const auto pattern = [](const CalibrationFrame& f) {
        return f.facts.pattern ? f.facts.pattern->value : std::string();
    };
    // A dark of a mosaic often forgets its pattern.
    const bool patterns = pattern(a).empty() || pattern(b).empty() || pattern(a) == pattern(b);
    return same_but_size(a, b) && a.facts.width_px == b.facts.width_px &&
           a.facts.height_px == b.facts.height_px && a.left_px == b.left_px && a.bottom_px == b.bottom_px &&
           patterns;
}

std::optional<double> CalibrationSet::exposure_s() const {
    std::vector<double> all;
    for (const CalibrationFrame& f : frames) {
        if (f.facts.exposure_s) all.push_back(f.facts.exposure_s->value);
    }
    return all.empty() ? std::nullopt : std::optional<double>(numerics::median(std::move(all)));
}

std::optional<double> CalibrationSet::temperature_c() const {
    double sum = 0.0;
    int n = 0;
    for (const CalibrationFrame& f : frames) {
        if (!f.facts.temperature_c) continue;
        sum += f.facts.temperature_c->value;
        ++n;
    }
    return n == 0 ? std::nullopt : std::optional<double>(sum / n);
}

Result<CalibrationFrame> read_calibration_frame(const std::string& path,
                                                const std::vector<Instrument>& instruments) {
    const auto image = FitsImage::open(path);
    if (!image) return fail(image.error());
    const Header& header = (*image)->header();
    if ((*image)->planes() != 1) {
        return fail(unfit(path, fmt::format("The file is a cube of {} planes.", (*image)->planes()),
                          "Save the camera's own pixels, one plane a file."));
    }
    CalibrationFrame frame;
    FrameFacts seed;
    seed.path = path;
    seed.hdu = (*image)->hdu();
    seed.width_px = (*image)->width_px();
    seed.height_px = (*image)->height_px();
    seed.pixel_type = (*image)->pixel_type();
    seed.tile_compressed = (*image)->tile_compressed();
    frame.facts = read_facts(header, instruments, std::move(seed));
    frame.kind = frame.facts.kind ? std::optional<FrameKind>(frame.facts.kind->value) : kind_by_name(path);
    frame.made = is_made(header);
    static const Instrument none;
    const Instrument* instrument = instrument_of(header, instruments);
    const auto pattern = read_colour_pattern(header, instrument != nullptr ? *instrument : none, frame.facts);
    if (pattern && *pattern) {
        frame.facts.pattern = Fact<std::string>{(*pattern)->value.word(), (*pattern)->source};
    } else if (!pattern && frame.kind == FrameKind::flat) {
        return fail(at(path, pattern.error()));
    }
    for (const char* keyword : {"OFFSET", "BLKLEVEL", "BLACKLVL", "BRIGHTNS"}) {
        if (!frame.offset_setting) frame.offset_setting = header.number(keyword);
    }
    for (const char* keyword : {"READOUTM", "READMODE", "RDMODE"}) {
        if (frame.readout.empty()) frame.readout = lower_case(header.text(keyword).value_or(""));
    }
    const SubFrameOrigin origin = sub_frame_origin(header);
    frame.left_px = origin.left_px;
    frame.bottom_px = origin.bottom_px;
    for (const char* keyword : kept_keywords) {
        if (const Card* card = header.find(keyword); card != nullptr && !card->value.empty())
            frame.kept.push_back(*card);
    }
    return frame;
}

SortedCalibration sort_calibration(const std::vector<std::string>& paths,
                                   const std::vector<Instrument>& instruments) {
    SortedCalibration sorted;
    std::vector<CalibrationFrame> frames;
    for (const std::string& path : paths) {
        auto frame = read_calibration_frame(path, instruments);
        if (!frame) {
            sorted.left_out.push_back({path, frame.error()});
        } else if (frame->made) {
            sorted.made.push_back(path);
        } else if (!frame->kind || *frame->kind == FrameKind::light) {
            sorted.lights.push_back(path);
        } else if (auto problem = unfit_for(*frame, kind_of_set(*frame->kind))) {
            sorted.left_out.push_back({path, *problem});
        } else {
            frames.push_back(std::move(*frame));
        }
    }
    // Coldest first, so that a temperature drifting by 10 °C makes several sets and no chain.
    std::stable_sort(frames.begin(), frames.end(), [](const CalibrationFrame& a, const CalibrationFrame& b) {
        const auto key = [](const CalibrationFrame& f) {
            return f.facts.temperature_c ? f.facts.temperature_c->value : 1e3;
        };
        return key(a) < key(b);
    });
    for (CalibrationFrame& frame : frames) {
        const FrameKind kind = kind_of_set(*frame.kind);
        const auto set = std::find_if(sorted.sets.begin(), sorted.sets.end(), [&](const CalibrationSet& s) {
            return s.kind == kind && same_setting(s.first(), frame) && same_purpose(s, frame) &&
                   warm_enough(s, frame);
        });
        if (set != sorted.sets.end()) {
            set->frames.push_back(std::move(frame));
        } else {
            sorted.sets.emplace_back().kind = kind;
            sorted.sets.back().frames.push_back(std::move(frame));
        }
    }
    leave_stragglers(sorted);
    std::stable_sort(sorted.sets.begin(), sorted.sets.end(), [](const auto& a, const auto& b) {
        const auto key = [](const CalibrationSet& s) {
            const int order = s.kind == FrameKind::bias ? 0 : s.kind == FrameKind::dark ? 1 : 2;
            return std::tuple(order, order == 1 ? *s.exposure_s() : 0.0,
                              order == 2 ? filter_of(s.first()) : std::string(),
                              s.temperature_c().value_or(0.0));
        };
        return key(a) < key(b);
    });
    for (CalibrationSet& set : sorted.sets) {
        std::stable_sort(set.frames.begin(), set.frames.end(),
                         [](const auto& a, const auto& b) { return a.facts.path < b.facts.path; });
    }
    return sorted;
}

}  // namespace emberline::frame
