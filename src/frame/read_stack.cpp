// SPDX-License-Identifier: MIT
#include "frame/read_stack.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "frame/read_sensor.hpp"
#include "frame/time_candidates.hpp"
#include "quantities/text.hpp"

namespace emberline::frame {
namespace {

constexpr long long most_stacked = 100000;
constexpr double whole_within = 0.02;  // how near the ratio of two exposures comes to a count

// No program writes them all. The first of a family that makes sense counts.
constexpr const char* count_keywords[] = {
    "NCOMBINE", "STACKCNT", "NFRAMES", "SNAPSHOT", "NSTACK",   "NSTACKED", "NSUBEXP", "NSUBS",
    "NIMAGES",  "STACKNUM", "STACKED", "FRAMES",   "NUMFRAME", "SUBCOUNT", "NCOADDS", "COADDS"};
constexpr const char* how_keywords[] = {"STACKMOD", "STACKMTH", "STKMODE",  "STACKALG", "STACKTYP",
                                        "COMBINE",  "COMBTYPE", "COMBMETH", "IMCMBMTH"};
constexpr const char* dropped_keywords[] = {"NREJECT",  "NREJ",     "DROPPED", "NDROP",
                                            "REJECTED", "NSKIPPED", "DISCARD", "STACKREJ"};
constexpr const char* total_keywords[] = {"TOTALEXP", "LIVETIME", "EXPTOTAL", "TOTEXP"};
constexpr const char* one_keywords[] = {"EXPTIME", "EXPOSURE"};

// Words of how; a "clipped mean" is a mean, and "coadded" is a sum.
struct HowWord {
    const char* word;
    StackKind kind;
};
constexpr HowWord how_words[] = {{"median", StackKind::median}, {"mean", StackKind::mean},
                                 {"aver", StackKind::mean},     {"sigma", StackKind::mean},
                                 {"winsor", StackKind::mean},   {"sum", StackKind::sum},
                                 {"add", StackKind::sum},       {"accum", StackKind::sum}};

std::optional<StackKind> kind_in(const std::string& text) {
    for (const HowWord& how : how_words) {
        if (text.find(how.word) != std::string::npos) return how.kind;
    }
    return std::nullopt;
}

struct Stated {
    MaybeFact<int> count, dropped;
    MaybeFact<StackKind> kind;
};

MaybeFact<int> first_count(const Header& header, const char* const* first, const char* const* last,
                           long long least) {
    for (; first != last; ++first) {
        const auto n = header.integer(*first);
        if (n && *n >= least && *n <= most_stacked) return Fact<int>{static_cast<int>(*n), *first};
    }
    return std::nullopt;
}

// Of "20 frames": the number before the word.
std::optional<int> number_of_frames(const std::string& line, std::initializer_list<const char*> words) {
    for (const char* word : words) {
        std::size_t at = line.find(word);
        for (; at != std::string::npos; at = line.find(word, at + 1)) {
            std::size_t end = at;
            while (end > 0 && line[end - 1] == ' ')
                --end;
            std::size_t begin = end;
            while (begin > 0 && line[begin - 1] >= '0' && line[begin - 1] <= '9')
                --begin;
            const auto n = parse_integer(std::string_view(line).substr(begin, end - begin));
            if (n && *n >= 0 && *n <= most_stacked) return static_cast<int>(*n);
        }
    }
    return std::nullopt;
}

// "stack of 20 frames, average, 3 rejected". A master dark's history is none of the light's.
void read_history(const Header& header, Stated& stated) {
    for (const Card& card : header.cards()) {
        if (card.keyword != "HISTORY" && card.keyword != "COMMENT") continue;
        const std::string line = lower_case(card.value.empty() ? card.comment : card.value);
        if (!contains_any(line, {"stack", "combin", "averag", "coadd", "co-add", "summed", "sum of",
                                 "median of", "mean of"}))
            continue;
        if (contains_any(line, {"dark", "flat", "bias", "master", "template", "catalog"})) continue;
        const auto n = number_of_frames(line, {"frame", "image", "exposure", "sub", "light"});
        if (!n || *n < 1) continue;
        if (!stated.count) stated.count = Fact<int>{*n, card.keyword};
        if (const auto kind = kind_in(line); kind && !stated.kind)
            stated.kind = Fact<StackKind>{*kind, card.keyword};
        if (const auto lost = number_of_frames(line, {"rejected", "dropped", "left out", "discarded"});
            lost && !stated.dropped)
            stated.dropped = Fact<int>{*lost, card.keyword};
    }
}

// A total beside one exposure's time is a count.
void read_ratio(const Header& header, Stated& stated) {
    if (stated.count) return;
    for (const char* total : total_keywords) {
        const auto all_s = header.number(total);
        if (!all_s) continue;
        for (const char* one : one_keywords) {
            const auto one_s = header.number(one);
            if (!one_s || !(*one_s > 0.0)) continue;
            const double ratio = *all_s / *one_s, n = std::round(ratio);
            if (n < 2.0 || n > static_cast<double>(most_stacked) ||
                std::abs(ratio / n - 1.0) > whole_within / n)
                continue;
            stated.count = Fact<int>{static_cast<int>(n), fmt::format("{} over {}", total, one)};
            return;
        }
    }
}

Stated stated_by_header(const Header& header, FrameFacts& facts) {
    Stated stated;
    stated.count = first_count(header, std::begin(count_keywords), std::end(count_keywords), 1);
    stated.dropped = first_count(header, std::begin(dropped_keywords), std::end(dropped_keywords), 0);
    for (const char* keyword : how_keywords) {
        const std::string how = lower_case(header.text(keyword).value_or(""));
        if (how.empty() || stated.kind) continue;
        if (const auto kind = kind_in(how)) {
            stated.kind = Fact<StackKind>{*kind, keyword};
        } else if (contains_any(how, {"maxim", "minim", "lighten", "darken", "brightest"})) {
            facts.remarks.push_back(fmt::format(
                "{} = '{}': such a stack keeps the brightest or faintest value of each pixel, and its light "
                "is no measure. Stack the exposures by sum, mean or median.",
                keyword, how));
        }
    }
    // "NCOMBINE = 20 / frames averaged"; coadds are sums by their name.
    if (stated.count && !stated.kind) {
        const std::string& keyword = stated.count->source;
        const auto kind = kind_in(lower_case(keyword) + " " + comment_of(header, keyword));
        if (kind && stated.count->value > 1) stated.kind = Fact<StackKind>{*kind, keyword};
    }
    read_history(header, stated);
    read_ratio(header, stated);
    return stated;
}

// The campaign where it is asked or where the header is silent.
void follow_campaign(const Instrument& instrument, Stated& stated, FrameFacts& facts) {
    if (instrument.stacked) {
        if (stated.count && stated.count->value != *instrument.stacked && !instrument.override_header) {
            facts.remarks.push_back(fmt::format(
                "{} says {} exposures, the campaign {}: {} was taken; `override = true` under "
                "[instrument] lets the campaign win.",
                stated.count->source, stated.count->value, *instrument.stacked, stated.count->source));
        } else {
            stated.count = Fact<int>{*instrument.stacked, campaign_source("stacked")};
        }
    }
    if (!instrument.stack || (stated.kind && !instrument.override_header)) return;
    if (const auto kind = kind_in(*instrument.stack))
        stated.kind = Fact<StackKind>{*kind, campaign_source("stack")};
}

// SATURATE of a sum above any camera's converter was written for the sum.
constexpr double most_of_a_camera_adu = 65536.0;

}  // namespace

double median_efficiency(double n) {
    if (n <= 2.0) return 1.0;
    const bool even = std::fmod(std::round(n), 2.0) == 0.0;
    const double limit = 2.0 / std::numbers::pi;
    return std::min(1.0, limit * (1.0 + ((even ? 6.0 : 4.0) - std::numbers::pi) / (2.0 * n)));
}

StackScale stack_scale(StackKind kind, double n) {
    switch (kind) {
        case StackKind::sum:
            return {1.0, std::sqrt(n), n};
        case StackKind::mean:
            return {n, std::sqrt(n), 1.0};
        case StackKind::median: {
            const double counted = n * median_efficiency(n);
            return {counted, std::sqrt(counted), 1.0};
        }
        case StackKind::single:
            break;
    }
    return {};
}

const char* word(StackKind kind) {
    switch (kind) {
        case StackKind::sum:
            return "sum";
        case StackKind::mean:
            return "mean";
        case StackKind::median:
            return "median";
        case StackKind::single:
            break;
    }
    return "single exposure";
}

void read_stack(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    Stated stated = stated_by_header(header, facts);
    follow_campaign(instrument, stated, facts);
    facts.stacked_exposures = stated.count ? *stated.count : Fact<int>{1, "assumed"};
    const bool one = stated.count && stated.count->value == 1;
    facts.stack_kind = one ? Fact<StackKind>{StackKind::single, stated.count->source} : stated.kind;
    if (!one) facts.dropped_exposures = stated.dropped;
}

void apply_stack(const Header& header, FrameFacts& facts) {
    const int n = facts.stacked_exposures ? facts.stacked_exposures->value : 1;
    if (n < 2) return;
    if (!facts.stack_kind) {
        facts.remarks.push_back(
            fmt::format("A stack of {} exposures whose header does not say sum or mean: a "
                        "mean is assumed where the noise does not tell.",
                        n));
        facts.caveats.add(Caveat::gain_assumed);
    }
    const StackKind kind = facts.stack_kind ? facts.stack_kind->value : StackKind::mean;
    const StackScale scale = stack_scale(kind, n);
    if (facts.gain_e_per_adu && scale.gain != 1.0) {
        facts.gain_e_per_adu->value *= scale.gain;
        facts.gain_e_per_adu->source +=
            kind == StackKind::median ? fmt::format(" × {:.4g} (median of a stack of {})", scale.gain, n)
                                      : fmt::format(" × {} (mean of a stack)", n);
    }
    if (facts.read_noise_e) {
        facts.read_noise_e->value *= scale.read_noise;
        facts.read_noise_e->source +=
            kind == StackKind::median ? fmt::format(" × √{:.4g}", scale.gain) : fmt::format(" × √{}", n);
    }
    if (facts.saturation_adu) {
        Fact<double>& saturation = *facts.saturation_adu;
        if (!facts.linear_to_adu) facts.linear_to_adu = saturation;
        const bool of_the_stack = saturation.value > most_of_a_camera_adu;
        const double level = of_the_stack ? 1.0 : scale.level;
        // Wider types hold any sum.
        const double top =
            std::max(saturation.value,
                     top_of_type(facts.pixel_type, header).value_or(std::numeric_limits<double>::infinity()));
        saturation.value = std::min(level * saturation.value, top);
        if (level != 1.0) saturation.source += fmt::format(" × {} (sum)", n);
        facts.linear_to_adu->value =
            std::min(trusted_of_a_stack * scale.level * facts.linear_to_adu->value, saturation.value);
        facts.linear_to_adu->source += fmt::format(", {:g} of it in a stack", trusted_of_a_stack);
    }
    // PEDESTAL was written for the picture that it stands in, the campaign's offset for one exposure.
    if (facts.offset_adu && scale.level != 1.0 && is_from_campaign(facts.offset_adu->source)) {
        facts.offset_adu->value *= scale.level;
        facts.offset_adu->source += fmt::format(" × {} (sum)", n);
    }
}

}  // namespace emberline::frame
