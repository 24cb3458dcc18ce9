// SPDX-License-Identifier: MIT
#include "tasks/curve_words.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"
#include "tasks/command_line.hpp"

namespace emberline::tasks {
namespace {

struct End {
    double moment_bjd_tdb = 0.0;
    bool is_date = false;
};

Result<std::optional<End>> read_end(const std::string& text, std::string_view option) {
    if (text.empty()) return std::nullopt;
    const auto moment = read_moment(text, option);
    if (!moment) return fail(moment.error());
    return End{*moment, is_date(text)};
}

void set_end(const std::optional<End>& end, const std::string& text, bool last, CurveRequest& request) {
    if (!end) return;
    if (end->is_date && request.series.empty()) {
        (last ? request.to_night : request.from_night) = text;
    } else {
        (last ? request.to_bjd_tdb : request.from_bjd_tdb) =
            end->moment_bjd_tdb + (last && end->is_date ? 1.0 : 0.0);
    }
}

std::vector<std::string> once_each(const std::vector<std::string>& words) {
    std::vector<std::string> kept;
    for (const std::string& word : words) {
        if (std::find(kept.begin(), kept.end(), word) == kept.end()) kept.push_back(word);
    }
    return kept;
}

}  // namespace

bool is_date(std::string_view text) {
    return text.size() == 10 && text[4] == '-' && text[7] == '-' && sky::parse_calendar(text);
}

Result<double> read_moment(const std::string& text, std::string_view option) {
    if (const auto number = parse_number(text)) return *number;
    if (is_date(text)) return sky::to_tdb(*sky::parse_instant(text)).jd();
    return fail({.what = fmt::format("'{}' is no date.", text),
                 .where = std::string(option),
                 .mend = "Write it as 2024-02-03, or as a Julian date.",
                 .kind = ProblemKind::request});
}

Result<lightcurve::Interval> read_interval(const std::string& text) {
    const auto colon = text.find(':');
    if (colon == std::string::npos) {
        return fail({.what = fmt::format("'{}' is no interval.", text),
                     .where = "--rate",
                     .mend = "Write it as FROM:TO, each a date or a Julian date.",
                     .kind = ProblemKind::request});
    }
    const auto from = read_moment(text.substr(0, colon), "--rate"),
               to = read_moment(text.substr(colon + 1), "--rate");
    if (!from) return fail(from.error());
    if (!to) return fail(to.error());
    if (*from >= *to) {
        return fail({.what = fmt::format("The interval {} ends before it begins.", text),
                     .where = "--rate",
                     .mend = "Exchange its ends.",
                     .kind = ProblemKind::request});
    }
    return lightcurve::Interval{*from, *to};
}

Result<void> read_words(const CurveWords& words, CurveRequest& request) {
    request.series = words.series;
    request.bands = once_each(words.bands);
    request.models = once_each(words.models);
    request.frames = words.frames;
    const auto from = read_end(words.from, "--from"), to = read_end(words.to, "--to");
    if (!from) return fail(from.error());
    if (!to) return fail(to.error());
    if (*from && *to && (*from)->moment_bjd_tdb > (*to)->moment_bjd_tdb + ((*to)->is_date ? 1.0 : 0.0)) {
        return fail({.what = fmt::format("From {} to {} there is no time at all.", words.from, words.to),
                     .where = "--from, --to",
                     .mend = "Exchange them.",
                     .kind = ProblemKind::request});
    }
    set_end(*from, words.from, false, request);
    set_end(*to, words.to, true, request);
    for (const std::string& text : once_each(words.rates)) {
        const auto interval = read_interval(text);
        if (!interval) return fail(interval.error());
        request.rates.push_back(*interval);
    }
    return {};
}

std::string command_line(const CurveWords& words) {
    return CommandLine("curve")
        .option("--series", words.series)
        .option("--band", once_each(words.bands))
        .option("--from", words.from)
        .option("--to", words.to)
        .option("--model", once_each(words.models))
        .option("--rate", once_each(words.rates))
        .flag("--frames", words.frames)
        .text();
}

}  // namespace emberline::tasks
