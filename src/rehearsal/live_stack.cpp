// SPDX-License-Identifier: MIT
// Notation: N exposures in the stack, d drift of one of them against the first, g gain of the camera.
#include "rehearsal/live_stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>

#include "numerics/random.hpp"
#include "rehearsal/campaign_text.hpp"
#include "rehearsal/mosaic.hpp"
#include "sky/barycentre.hpp"
#include "sky/horizon.hpp"
#include "sky/time_scales.hpp"

namespace emberline::rehearsal {
namespace {

using frame::StackKind;

constexpr std::uint64_t drift_stream = 1, dropped_stream = 2, habit_stream = 3, first_exposure_stream = 100;
constexpr double top_adu = 65535.0;

struct Shift {
    double dx_px = 0.0, dy_px = 0.0;
};

// One aligned exposure; NaN where it does not reach.
using Aligned = std::vector<float>;

// What lies at (x + d) of the exposure comes to (x): by bilinear weights, or the nearest pixel's.
Aligned shifted_back(const InventedFrame& from, const Shift& d, double taken_away_adu) {
    const int width = from.width_px, height = from.height_px;
    const int whole_x = static_cast<int>(std::floor(d.dx_px));
    const int whole_y = static_cast<int>(std::floor(d.dy_px));
    const auto part_x = static_cast<float>(d.dx_px - whole_x);
    const auto part_y = static_cast<float>(d.dy_px - whole_y);
    const int reach_x = part_x > 0.0F ? 1 : 0, reach_y = part_y > 0.0F ? 1 : 0;
    const auto taken_away = static_cast<float>(taken_away_adu);
    Aligned out(from.adu.size(), std::numeric_limits<float>::quiet_NaN());
    for (int y = std::max(0, -whole_y); y < height && y + whole_y + reach_y < height; ++y) {
        const std::uint16_t* row = from.adu.data() + std::ptrdiff_t{y + whole_y} * width;
        const std::uint16_t* next = row + std::ptrdiff_t{reach_y} * width;
        float* to = out.data() + std::ptrdiff_t{y} * width;
        for (int x = std::max(0, -whole_x); x < width && x + whole_x + reach_x < width; ++x) {
            const int i = x + whole_x, j = i + reach_x;
            const float here =
                static_cast<float>(row[i]) * (1.0F - part_x) + static_cast<float>(row[j]) * part_x;
            const float above =
                static_cast<float>(next[i]) * (1.0F - part_x) + static_cast<float>(next[j]) * part_x;
            to[x] = here * (1.0F - part_y) + above * part_y - taken_away;
        }
    }
    return out;
}

// Where an exposure does not reach, at the rim, the others stand for it. Covered by none: the offset.
std::vector<float> combined(const std::vector<Aligned>& exposures, StackKind kind, double offset_adu) {
    const std::size_t pixels = exposures.front().size();
    const double times = kind == StackKind::sum ? static_cast<double>(exposures.size()) : 1.0;
    std::vector<float> out(pixels, static_cast<float>(times * offset_adu));
    std::vector<float> values;
    for (std::size_t i = 0; i < pixels; ++i) {
        values.clear();
        double sum = 0.0;
        for (const Aligned& exposure : exposures) {
            if (std::isnan(exposure[i])) continue;
            values.push_back(exposure[i]);
            sum += static_cast<double>(exposure[i]);
        }
        if (values.empty()) continue;
        double value = sum / static_cast<double>(values.size());
        if (kind == StackKind::median) {
            const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
            std::nth_element(values.begin(), middle, values.end());
            value = static_cast<double>(*middle);
            if (values.size() % 2 == 0)
                value = 0.5 * (value + static_cast<double>(*std::max_element(values.begin(), middle)));
        }
        out[i] = static_cast<float>(times * value);
    }
    return out;
}

int taken_in(const StackOptions& options) {
    return std::max(1, options.exposures) + std::max(0, options.dropped);
}

// Which of those that were taken are in the stack: the first and the last are, for a program knows no others'
// times.
std::vector<int> added(const StackOptions& options, const PlannedFrame& frame) {
    const int taken = taken_in(options);
    numerics::Random random = numerics::Random(frame.seed).stream(dropped_stream);
    std::vector<int> inner;
    for (int i = 1; i + 1 < taken; ++i)
        inner.push_back(i);
    for (std::size_t i = inner.size(); i > 1; --i)
        std::swap(inner[i - 1], inner[static_cast<std::size_t>(random.uniform() * static_cast<double>(i))]);
    const int ends = std::min(2, std::max(1, options.exposures));
    inner.resize(std::min(inner.size(), static_cast<std::size_t>(std::max(1, options.exposures) - ends)));
    inner.push_back(0);
    if (ends == 2) inner.push_back(taken - 1);
    std::sort(inner.begin(), inner.end());
    return inner;
}

const char* word_of(StackKind kind, bool other_habit) {
    switch (kind) {
        case StackKind::sum:
            return other_habit ? "add" : "sum";
        case StackKind::median:
            return "median";
        case StackKind::mean:
            return other_habit ? "Average" : "mean";
        case StackKind::single:
            break;
    }
    return "none";
}

struct Interval {
    Instant begin, middle, end;
};

std::string date(const Instant& instant) {
    std::string text = sky::iso(instant, 3);
    if (text.ends_with('Z')) text.pop_back();  // FITS dates carry no zone
    return text;
}

// Programs differ in what they call things; none writes them all.
void tell_all(std::vector<frame::Card>& cards, const StackOptions& options, double one_s,
              const Interval& when, int habit) {
    const auto whole = [](const char* keyword, int n, const char* comment) {
        return frame::Card{keyword, std::to_string(n), comment, false};
    };
    const auto seconds = [](const char* keyword, double s, const char* comment) {
        return frame::Card{keyword, fmt::format("{:.6G}", s), comment, false};
    };
    const auto words = [](const char* keyword, std::string text, const char* comment) {
        return frame::Card{keyword, std::move(text), comment, true};
    };
    const double total_s = options.exposures * one_s;
    const auto exposure = std::find_if(cards.begin(), cards.end(),
                                       [](const frame::Card& card) { return card.keyword == "EXPTIME"; });
    if (habit == 0) {
        *exposure = seconds("EXPTIME", total_s, "[s] total open shutter");
        cards.push_back(whole("NCOMBINE", options.exposures, "frames in this one"));
        cards.push_back(words("STACKMOD", word_of(options.kind, false), "how they were put together"));
        cards.push_back(whole("NREJECT", options.dropped, "frames left out"));
        cards.push_back(words("DATE-AVG", date(when.middle), "mean of the frames"));
    } else if (habit == 1) {
        *exposure = seconds("EXPTIME", one_s, "[s] each frame");
        cards.push_back(whole("STACKCNT", options.exposures, "frames stacked"));
        cards.push_back(seconds("TOTALEXP", total_s, "[s]"));
        cards.push_back(whole("DROPPED", options.dropped, "frames"));
        cards.push_back(words("COMBINE", word_of(options.kind, true), ""));
    } else {
        *exposure = seconds("EXPTIME", one_s, "[s] single");
        cards.push_back(seconds("LIVETIME", total_s, "[s]"));
        cards.push_back({"HISTORY", "",
                         fmt::format("stack of {} frames, {}, {} rejected", options.exposures,
                                     word_of(options.kind, true), options.dropped),
                         false});
    }
    cards.push_back(words("DATE-BEG", date(when.begin), "first frame opened"));
    cards.push_back(words("DATE-END", date(when.end), "last frame closed"));
}

}  // namespace

InventedStack head_stack(const InventedCampaign& campaign, const PlannedFrame& frame,
                         const StackOptions& options) {
    const int taken = taken_in(options);
    const double cadence_s = frame.exposure_s + options.between_s;
    InventedStack out;
    double middle_s = 0.0;
    for (const int i : added(options, frame))
        middle_s += (i * cadence_s + 0.5 * frame.exposure_s) / options.exposures;
    const Interval when{frame.start_utc, sky::later_by(frame.start_utc, middle_s),
                        sky::later_by(frame.start_utc, (taken - 1) * cadence_s + frame.exposure_s)};
    const SkyPosition& place = campaign.sky.transient.position;
    out.width_px = campaign.instrument.width_px;
    out.height_px = campaign.instrument.height_px;
    out.middle_of_light = when.middle;
    out.exposure_s = options.exposures * frame.exposure_s;
    out.gain_e_per_adu =
        campaign.instrument.gain_e_per_adu * (options.kind == StackKind::sum ? 1.0 : options.exposures);
    out.airmass = sky::airmass(when.middle, place, campaign.site).value_or(out.airmass);
    const double bjd_tdb = sky::bjd_tdb(when.middle, place, campaign.site);
    out.transient_mag = campaign.sky.transient.magnitude(frame.band, bjd_tdb);
    for (const Band& colour : campaign.instrument.pattern.empty() ? std::span<const Band>()
                                                                  : std::span<const Band>(mosaic_bands())) {
        out.colours.push_back(
            {.band = colour, .transient_mag = campaign.sky.transient.magnitude(colour, bjd_tdb)});
    }
    out.cards = header_cards(campaign, frame, out.airmass);
    if (options.header == StackHeader::all) {
        tell_all(out.cards, options, frame.exposure_s, when,
                 static_cast<int>(numerics::Random(frame.seed).stream(habit_stream).uniform(0.0, 3.0)));
    } else if (options.header == StackHeader::count) {
        out.cards.push_back({"NCOMBINE", std::to_string(options.exposures), "frames", false});
    }
    return out;
}

std::vector<StackExposure> expose_parts(const InventedCampaign& campaign, const PlannedFrame& frame,
                                        const StackOptions& options) {
    const numerics::Random random(frame.seed);
    const int taken = taken_in(options);
    const double direction = random.stream(drift_stream).uniform(0.0, 2.0 * std::numbers::pi);
    std::vector<StackExposure> parts;
    for (const int i : added(options, frame)) {
        const double drift_px = taken > 1 ? options.drift_px * i / (taken - 1) : 0.0;
        StackExposure part{.dx_px = drift_px * std::cos(direction), .dy_px = drift_px * std::sin(direction)};
        PlannedFrame one = frame;
        one.start_utc = sky::later_by(frame.start_utc, i * (frame.exposure_s + options.between_s));
        one.pointing.dx_px += part.dx_px;
        one.pointing.dy_px += part.dy_px;
        one.seed = random.stream(first_exposure_stream + static_cast<std::uint64_t>(i)).bits();
        part.frame = expose(campaign, one);
        parts.push_back(std::move(part));
    }
    return parts;
}

InventedStack put_together(const InventedCampaign& campaign, const PlannedFrame& frame,
                           const StackOptions& options, const std::vector<StackExposure>& parts) {
    const double offset_adu = options.offset_removed ? 0.0 : campaign.instrument.offset_adu;
    const double taken_away_adu = campaign.instrument.offset_adu - offset_adu;
    // A mosaic keeps its pattern only when it is moved by whole cells.
    const double cell_px = campaign.instrument.pattern.empty() ? 1.0 : 2.0;
    const bool by_parts = options.interpolated && campaign.instrument.pattern.empty();
    const auto aligned_px = [&](double px) { return by_parts ? px : cell_px * std::round(px / cell_px); };

    InventedStack out = head_stack(campaign, frame, options);
    std::vector<Aligned> aligned;
    for (const StackExposure& part : parts) {
        aligned.push_back(
            shifted_back(part.frame, {aligned_px(part.dx_px), aligned_px(part.dy_px)}, taken_away_adu));
        out.transient_flux_e += part.frame.transient_flux_e;
        for (std::size_t c = 0; c < part.frame.colours.size() && c < out.colours.size(); ++c)
            out.colours[c].transient_flux_e += part.frame.colours[c].transient_flux_e;
    }
    out.adu = combined(aligned, options.kind, offset_adu);
    if (options.whole_numbers) {
        for (float& adu : out.adu)
            adu = static_cast<float>(std::clamp(std::floor(static_cast<double>(adu) + 0.5), 0.0, top_adu));
    }
    return out;
}

InventedStack expose_stack(const InventedCampaign& campaign, const PlannedFrame& frame,
                           const StackOptions& options) {
    return put_together(campaign, frame, options, expose_parts(campaign, frame, options));
}

}  // namespace emberline::rehearsal
