// SPDX-License-Identifier: MIT
#include "frame/read_time.hpp"

#include <fmt/format.h>

#include <cmath>

#include "frame/time_candidates.hpp"
#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::frame {
namespace {

constexpr double fine_s = 1.0;          // a middle written more coarsely is worked out instead
constexpr double stack_interval = 1.3;  // interval over exposure above: light is missing somewhere
constexpr double readout_s = 60.0;      // and the longest a camera needs to write one exposure

Instant middle_from(const Candidate& candidate, double exposure_s) {
    if (candidate.moment == Moment::middle) return candidate.instant;
    return sky::later_by(candidate.instant,
                         candidate.moment == Moment::start ? 0.5 * exposure_s : -0.5 * exposure_s);
}

// A plain JD is written for the start, the middle or the end, and seldom says which.
void compare(const Candidate& chosen, const std::optional<Candidate>& other, double exposure_s,
             FrameFacts& facts) {
    if (!other || other->source == chosen.source) return;
    const double late_s =
        sky::seconds_between(middle_from(chosen, exposure_s), middle_from(*other, exposure_s));
    const double slack_s = clocks_agree_s + chosen.rounding_s + other->rounding_s;
    const bool any_moment = other->source.starts_with("JD");
    double apart_s = std::abs(late_s);
    if (any_moment && apart_s <= 0.5 * exposure_s + slack_s) return;
    // The end as the file was written: reading out takes some seconds more.
    if (any_moment && late_s > 0.0 && late_s <= exposure_s + readout_s) return;
    if (apart_s <= slack_s) return;
    facts.remarks.push_back(fmt::format("{} and {} differ by {:.0f} s: {} was taken.", chosen.source,
                                        other->source, apart_s, chosen.source));
}

// Where the header writes one moment of the exposure, most often its start.
std::optional<Candidate> moment_in(const Header& header, const HeaderScale& scale, double exposure_s,
                                   FrameFacts& facts) {
    const HeaderScale utc;
    const auto beside = local_beside_utc(header, facts);
    // A field that is UTC by its name wins over one that may be local.
    const auto ut = date_and_time(header, "UT-OBS", utc, facts);
    const auto date_utc = date_and_time(header, "DATE-UTC", utc, facts);
    const auto begin = date_and_time(header, "DATE-BEG", scale, facts);
    const auto obs = beside ? beside : date_and_time(header, "DATE-OBS", scale, facts);
    const auto split = date_beside_time(header, scale, facts);
    const auto mjd_begin = julian(header, "MJD-BEG", jd_minus_mjd, scale, facts);
    const auto mjd = julian(header, "MJD-OBS", jd_minus_mjd, scale, facts);
    std::optional<Candidate> jd;
    for (const char* keyword : {"JD", "JD-OBS", "JD_UTC", "JD-UTC"}) {
        if (!jd) jd = julian(header, keyword, 0.0, scale, facts);
    }
    std::optional<Candidate> chosen;
    for (const auto& candidate : {ut, date_utc, begin, obs, split, mjd_begin, mjd, jd}) {
        if (!chosen) chosen = candidate;
    }
    if (!chosen) return chosen;
    compare(*chosen, obs, exposure_s, facts);
    compare(*chosen, mjd, exposure_s, facts);
    compare(*chosen, jd, exposure_s, facts);
    return chosen;
}

std::optional<Candidate> stated_middle(const Header& header, const HeaderScale& scale, FrameFacts& facts) {
    for (const char* keyword : {"DATE-AVG", "DATE-MID"}) {
        if (auto found = date_and_time(header, keyword, scale, facts)) return found;
    }
    std::optional<Candidate> found;
    for (const char* keyword : {"MJD-AVG", "MJD-MID", "JD-AVG", "JD-MID"}) {
        const double zero = keyword[0] == 'M' ? jd_minus_mjd : 0.0;
        if (!found) found = julian(header, keyword, zero, scale, facts);
    }
    return found;
}

void set_middle(FrameFacts& facts, const Instant& instant, std::string source) {
    facts.mid_exposure = Fact<Instant>{sky::to_utc(instant), std::move(source)};
}

// Reading the camera out lengthens the interval a little; only a stack's light is spread over all of it.
bool middle_of_interval(const Candidate& start, const std::optional<Candidate>& end, FrameFacts& facts) {
    if (!end || start.moment != Moment::start) return false;
    const double exposure_s = facts.exposure_s ? facts.exposure_s->value : 0.0;
    const double interval_s = sky::seconds_between(start.instant, end->instant);
    const double slack_s = clocks_agree_s + start.rounding_s + end->rounding_s;
    if (interval_s + slack_s < exposure_s || interval_s <= 0.0) {
        facts.remarks.push_back(
            fmt::format("{} lies {:g} s after {}, too soon for an exposure of {:g} s: it was not used.",
                        end->source, interval_s, start.source, exposure_s));
        return false;
    }
    const bool stack = facts.stacked_exposures && facts.stacked_exposures->value > 1;
    const bool gaps = interval_s > stack_interval * exposure_s;
    const bool spread = gaps && interval_s > 2.0 * exposure_s + readout_s;
    if (!stack && !spread && facts.exposure_s) return false;
    if (stack && gaps) {
        facts.caveats.add(Caveat::time_uncertain);
        facts.remarks.push_back(
            fmt::format("{:.0f} s of light lie somewhere in {:.0f} s: their middle is within {:.0f} s of the "
                        "interval's.",
                        exposure_s, interval_s, 0.5 * (interval_s - exposure_s)));
    }
    if (!stack && spread && facts.exposure_s) {
        facts.caveats.add(Caveat::time_uncertain);
        facts.remarks.push_back(
            fmt::format("{} lies {:.0f} s after {} for an exposure of {:g} s: taken for a stack.",
                        end->source, interval_s, start.source, exposure_s));
    }
    set_middle(facts, sky::later_by(start.instant, 0.5 * interval_s),
               fmt::format("{}, {}", start.source, end->source));
    return true;
}

// TELAPSE: from the beginning of the first exposure to the end of the last.
std::optional<Candidate> end_in(const Header& header, const HeaderScale& scale, const Candidate& start,
                                FrameFacts& facts) {
    if (auto end = date_and_time(header, "DATE-END", scale, facts)) return end;
    if (auto end = julian(header, "MJD-END", jd_minus_mjd, scale, facts)) return end;
    const auto elapsed_s = header.number("TELAPSE");
    if (!elapsed_s || !(*elapsed_s > 0.0) || *elapsed_s > seconds_per_day) return std::nullopt;
    return Candidate{sky::later_by(start.instant, *elapsed_s), "TELAPSE", 0.0, Moment::end};
}

// A stack that says when it began, and not when it ended: exposures that were left out are known to have
// taken their time, gaps between them are not.
void middle_of_unended(const Candidate& start, FrameFacts& facts) {
    const double exposure_s = facts.exposure_s->value;
    const double one_s = exposure_s / facts.stacked_exposures->value;
    const double dropped_s = facts.dropped_exposures ? one_s * facts.dropped_exposures->value : 0.0;
    set_middle(facts, sky::later_by(start.instant, 0.5 * (exposure_s + dropped_s)),
               fmt::format("{} + half of {}", start.source, facts.exposure_s->source));
    facts.caveats.add(Caveat::time_uncertain);
    std::string remark = fmt::format(
        "No keyword says when the last of {} exposures ended: the middle is taken {:.0f} s after {}; pauses "
        "between them put it later by half their sum",
        facts.stacked_exposures->value, 0.5 * (exposure_s + dropped_s), start.source);
    if (dropped_s > 0.0)
        remark += fmt::format(", and what was left out moves it by {:.0f} s at most", 0.5 * dropped_s);
    facts.remarks.push_back(remark + ".");
}

}  // namespace

void read_time(const Header& header, FrameFacts& facts) {
    const HeaderScale scale = header_scale(header, facts);
    const double exposure_s = facts.exposure_s ? facts.exposure_s->value : 0.0;
    const bool stack = facts.stacked_exposures && facts.stacked_exposures->value > 1;
    const auto middle = stated_middle(header, scale, facts);
    const auto moment = moment_in(header, scale, exposure_s, facts);
    if (middle && (middle->rounding_s <= fine_s || !moment)) {
        if (moment && !stack) {
            Candidate stated = *middle;
            stated.moment = Moment::middle;
            compare(stated, moment, exposure_s, facts);
        }
        return set_middle(facts, middle->instant, middle->source);
    }
    if (!moment) {
        const auto date = header.text("DATE-OBS");
        if (!date) {
            facts.remarks.emplace_back("No keyword says when the exposure was: DATE-OBS is missing.");
        } else if (const auto day = sky::parse_calendar(*date); day && !day->has_time) {
            facts.remarks.push_back(fmt::format(
                "DATE-OBS = '{}' is a date without a time of day, and no other keyword says the time.",
                *date));
        }
        return;
    }
    if (middle_of_interval(*moment, end_in(header, scale, *moment, facts), facts)) return;
    if (stack) facts.caveats.add(Caveat::time_uncertain);
    const std::string& source = moment->source;
    if (contains_any(comment_of(header, source), {"creat", "written", "saved"})) {
        facts.caveats.add(Caveat::time_uncertain);
        facts.remarks.push_back(fmt::format(
            "{} says when the file was made, by its comment: it is taken for the start.", source));
    }
    if (moment->moment == Moment::middle) {
        return set_middle(facts, moment->instant, source + " (its comment says the middle)");
    }
    if (!facts.exposure_s) {
        facts.caveats.add(Caveat::time_uncertain);
        return set_middle(facts, moment->instant, source + ", without half the exposure");
    }
    if (stack && moment->moment == Moment::start) return middle_of_unended(*moment, facts);
    set_middle(facts, middle_from(*moment, exposure_s),
               fmt::format("{} {} half of {}", source, moment->moment == Moment::start ? "+" : "-",
                           facts.exposure_s->source));
}

}  // namespace emberline::frame
