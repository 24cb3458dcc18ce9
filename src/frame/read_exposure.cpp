// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>

#include "frame/read_stack.hpp"
#include "frame/read_time.hpp"
#include "frame/time_candidates.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::frame {
namespace {

constexpr double most_exposure_s = 1e6;
constexpr double same_exposure = 0.01;     // relative; headers round
constexpr double full_interval = 0.8;      // of an interval at most a fifth is spent reading out
constexpr double ratio_of_a_count = 0.02;  // how near two exposures' ratio comes to the count
// Exposures that are stacked take some 20 s, within a factor of a few either way. Common practice, no source.
constexpr double usual_of_a_stack_s = 20.0;

std::optional<double> seconds_in(std::string_view unit) {
    const std::string word = lower_case(trimmed(unit));
    if (word == "s" || word == "sec" || word == "secs" || word == "second" || word == "seconds") return 1.0;
    if (word == "ms" || word == "msec" || word == "millisecond" || word == "milliseconds") return 1e-3;
    if (word == "us" || word == "usec" || word == "microsecond" || word == "microseconds") return 1e-6;
    if (word == "min" || word == "minute" || word == "minutes") return 60.0;
    if (word == "h" || word == "hour" || word == "hours") return 3600.0;
    if (word == "d" || word == "day" || word == "days") return seconds_per_day;
    return std::nullopt;
}

// FITS standard 4.0, section 4.3.2: a unit stands in square brackets at the head of the comment.
double unit_of(const Header& header, const Card& card) {
    const std::size_t open = card.comment.find('['), close = card.comment.find(']');
    if (open != std::string::npos && close != std::string::npos && open < close) {
        if (const auto s = seconds_in(std::string_view(card.comment).substr(open + 1, close - open - 1)))
            return *s;
    }
    const std::string comment = lower_case(card.comment);
    for (const char* word : {"milliseconds", "microseconds", "minutes", "hours"}) {
        if (comment.find(word) != std::string::npos) return *seconds_in(word);
    }
    // Section 9.3: TIMEUNIT is the unit of the standard's own time keywords.
    if (card.keyword == "EXPOINUS") return 1e-6;
    if (card.keyword == "XPOSURE") return seconds_in(header.text("TIMEUNIT").value_or("s")).value_or(1.0);
    return 1.0;
}

// "060.00", 3.0D+02, "53.9", "30s", "500 ms".
std::optional<double> seconds_of(const Header& header, const Card& card) {
    if (const auto number = header.number(card.keyword)) return *number * unit_of(header, card);
    const std::string_view text = card.value;
    const std::size_t last = text.find_last_of("0123456789.");
    if (last == std::string_view::npos) return std::nullopt;
    const auto number = parse_number(text.substr(0, last + 1));
    const auto unit = seconds_in(text.substr(last + 1));
    if (!number || !unit) return std::nullopt;
    return *number * *unit;
}

// A keyword that is there and holds an exposure; what it holds otherwise is remarked.
std::optional<double> usable(const Header& header, const char* keyword, FrameFacts& facts) {
    const Card* card = header.find(keyword);
    if (card == nullptr || card->value.empty()) return std::nullopt;
    const auto seconds = seconds_of(header, *card);
    if (!seconds) {
        facts.remarks.push_back(fmt::format("{} = '{}' is no number of seconds.", keyword, card->value));
        return std::nullopt;
    }
    if (!(*seconds > 0.0) || *seconds > most_exposure_s) {
        facts.remarks.push_back(fmt::format("{} = {:g} s is no exposure.", keyword, *seconds));
        return std::nullopt;
    }
    return seconds;
}

double interval_s(const Header& header) {
    const auto begin = header.text("DATE-BEG") ? header.text("DATE-BEG") : header.text("DATE-OBS");
    const auto end = header.text("DATE-END");
    if (!begin || !end) return 0.0;
    const auto a = sky::parse_instant(*begin), b = sky::parse_instant(*end);
    return a && b ? sky::seconds_between(*a, *b) : 0.0;
}

// EXPTIME of a stack is one exposure or the sum: its comment, the other keyword and the interval decide; else
// which of the two makes the exposures of an ordinary length.
bool is_one_of_many(const Header& header, const Fact<double>& exposure, int stacked) {
    const std::string comment = comment_of(header, exposure.source);
    if (contains_any(comment, {"sub exp", "sub-exp", "subexp", "single", "each", "per frame", "individual"}))
        return true;
    if (contains_any(comment, {"total", "sum"})) return false;
    const double interval = interval_s(header);
    if (interval > 0.0) return interval >= full_interval * stacked * exposure.value;
    return exposure.value < usual_of_a_stack_s * std::sqrt(static_cast<double>(stacked));
}

}  // namespace

void read_exposure(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto from_campaign = [&] {
        facts.exposure_s = Fact<double>{*instrument.exposure_s, campaign_source("exposure_s")};
    };
    read_stack(header, instrument, facts);
    const int stacked = facts.stacked_exposures->value;
    if (instrument.override_header && instrument.exposure_s) return from_campaign();
    // The total of a stack has keywords of its own.
    for (const char* keyword : {"XPOSURE", "LIVETIME", "TOTALEXP", "EXPTOTAL", "TOTEXP"}) {
        if (facts.exposure_s) break;
        if (const auto seconds = usable(header, keyword, facts)) {
            facts.exposure_s = Fact<double>{*seconds, keyword};
        }
    }
    if (facts.exposure_s) return;
    std::optional<Fact<double>> other;
    for (const char* keyword : {"EXPTIME", "EXPOSURE", "EXP_TIME", "EXP", "ITIME", "EXPOINUS"}) {
        const auto seconds = usable(header, keyword, facts);
        if (!seconds) continue;
        auto& place = facts.exposure_s ? other : facts.exposure_s;
        if (!place) place = Fact<double>{*seconds, keyword};
    }
    if (!facts.exposure_s) {
        if (instrument.exposure_s) return from_campaign();
        const bool silent =
            std::none_of(facts.remarks.begin(), facts.remarks.end(),
                         [](const std::string& r) { return r.find("EXP") != std::string::npos; });
        if (silent)
            facts.remarks.emplace_back("No keyword says how long the exposure was: EXPTIME is missing.");
        return;
    }
    Fact<double>& exposure = *facts.exposure_s;
    const bool differ = other && std::abs(other->value / exposure.value - 1.0) > same_exposure;
    if (stacked > 1 && differ) {
        const double ratio = std::max(other->value / exposure.value, exposure.value / other->value);
        if (std::abs(ratio / stacked - 1.0) < ratio_of_a_count) {
            if (other->value > exposure.value) exposure = *other;
            return;  // the longer of the two is the sum
        }
    }
    if (differ) {
        facts.remarks.push_back(fmt::format("{} = {:g} s and {} = {:g} s differ: {} was taken.",
                                            exposure.source, exposure.value, other->source, other->value,
                                            exposure.source));
    }
    if (stacked == 1) return;
    // A master's exposure is that of each of its frames: so is the dark current in it.
    if (facts.kind && facts.kind->value != FrameKind::light) return;
    if (is_one_of_many(header, exposure, stacked)) {
        facts.remarks.push_back(fmt::format("{} is one of {} exposures: together {:g} s.", exposure.source,
                                            stacked, stacked * exposure.value));
        exposure.value *= stacked;
        exposure.source += " × " + facts.stacked_exposures->source;
    } else {
        facts.remarks.push_back(
            fmt::format("{} is taken as the sum of {} exposures.", exposure.source, stacked));
    }
}

}  // namespace emberline::frame
