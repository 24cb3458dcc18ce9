// SPDX-License-Identifier: MIT
#include "frame/read_time.hpp"

#include <fmt/format.h>

#include <cmath>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::frame {
namespace {

constexpr double most_exposure_s = 1e6;
constexpr double first_year = 1960.0, last_year = 2100.0;
constexpr double agree_s = 2.0;         // clocks that differ by more contradict each other
constexpr double stack_interval = 1.3;  // interval over exposure above: light is missing from it somewhere

struct Candidate {
    Instant instant;
    std::string source;
    double rounding_s = 0.0;  // how coarsely it was written
};

double year_of(const Instant& instant) {
    return 2000.0 + (instant.jd() - 2451545.0) / 365.25;
}

bool plausible(const Instant& instant) {
    const double year = year_of(instant);
    return year > first_year && year < last_year;
}

TimeScale header_scale(const Header& header, FrameFacts& facts) {
    const std::string name = upper_case(header.text("TIMESYS").value_or("UTC"));
    if (name == "UTC" || name == "UT" || name == "UT1" || name == "GMT") return TimeScale::utc;
    if (name == "TAI") return TimeScale::tai;
    if (name == "TT" || name == "TDT" || name == "ET") return TimeScale::tt;
    if (name == "TDB") return TimeScale::tdb;
    facts.remarks.push_back(
        fmt::format("TIMESYS is '{}', which is not known: times are taken as UTC.", name));
    return TimeScale::utc;
}

void refuse(FrameFacts& facts, const char* keyword, const std::string& text, const std::string& why) {
    facts.remarks.push_back(fmt::format("{} = '{}' is not used: {}", keyword, text, why));
}

// One of the keywords that hold date and time in one text.
std::optional<Candidate> date_and_time(const Header& header, const char* keyword, TimeScale scale,
                                       FrameFacts& facts) {
    const auto text = header.text(keyword);
    if (!text) return std::nullopt;
    const auto time = sky::parse_calendar(*text);
    if (!time) {
        refuse(facts, keyword, *text, time.error().what);
        return std::nullopt;
    }
    if (!time->has_time) return std::nullopt;
    const auto instant = sky::instant_of(*time, time->has_offset ? TimeScale::utc : scale);
    if (!instant) {
        refuse(facts, keyword, *text, instant.error().what);
        return std::nullopt;
    }
    if (!plausible(*instant)) {
        refuse(facts, keyword, *text,
               fmt::format("the year is outside {:.0f} to {:.0f}.", first_year, last_year));
        return std::nullopt;
    }
    if (time->has_offset && time->offset_s != 0.0) {
        facts.remarks.push_back(fmt::format("{} is a local time, {:+.1f} h from UTC: it was converted.",
                                            keyword, time->offset_s / 3600.0));
    }
    return Candidate{*instant, keyword, text->find('.') == std::string::npos ? 1.0 : 0.0};
}

std::optional<Candidate> julian(const Header& header, const char* keyword, double zero, TimeScale scale) {
    const auto card = header.find(keyword);
    const auto value = header.number(keyword);
    if (!value) return std::nullopt;
    const double whole = std::floor(*value);
    Instant instant = sky::from_jd(zero + whole, *value - whole, scale);
    if (!plausible(instant)) return std::nullopt;
    const std::size_t point = card->value.find('.');
    const auto decimals =
        point == std::string::npos ? 0.0 : static_cast<double>(card->value.size() - point - 1);
    return Candidate{instant, keyword, 86400.0 * std::pow(10.0, -std::min(decimals, 9.0))};
}

// A date without a time of day, and the keyword that holds the time.
std::optional<Candidate> date_beside_time(const Header& header, TimeScale scale, FrameFacts& facts) {
    for (const char* date_keyword : {"DATE-OBS", "UTDATE", "DATE_OBS"}) {
        const auto date = header.text(date_keyword);
        if (!date) continue;
        auto calendar = sky::parse_calendar(*date);
        if (!calendar || calendar->has_time) continue;
        for (const char* keyword :
             {"TIME-OBS", "UT", "UTC", "UT-OBS", "UTSTART", "UTC-OBS", "TIME-BEG", "UT-START"}) {
            const auto text = header.text(keyword);
            if (!text) continue;
            const auto seconds = sky::parse_time_of_day(*text);
            if (!seconds) {
                refuse(facts, keyword, *text, seconds.error().what);
                continue;
            }
            calendar->seconds_of_day = *seconds;
            calendar->has_time = true;
            if (const auto instant = sky::instant_of(*calendar, scale); instant && plausible(*instant)) {
                return Candidate{*instant, fmt::format("{} + {}", date_keyword, keyword), 1.0};
            }
        }
    }
    return std::nullopt;
}

bool says_middle(const Header& header, const char* keyword) {
    const Card* card = header.find(keyword);
    if (card == nullptr) return false;
    const std::string comment = lower_case(card->comment);
    return comment.find("mid") != std::string::npos || comment.find("center of exp") != std::string::npos ||
           comment.find("centre of exp") != std::string::npos;
}

void compare(const std::optional<Candidate>& chosen, const std::optional<Candidate>& other,
             FrameFacts& facts) {
    if (!chosen || !other) return;
    const double apart = std::abs(sky::seconds_between(chosen->instant, other->instant));
    if (apart <= agree_s + chosen->rounding_s + other->rounding_s) return;
    facts.remarks.push_back(fmt::format("{} and {} differ by {:.0f} s: {} was taken.", chosen->source,
                                        other->source, apart, chosen->source));
}

// Of the first exposure, where headers write its start.
std::optional<Candidate> start_of(const Header& header, TimeScale scale, FrameFacts& facts) {
    // A field that is UTC by its name wins over one that may be local.
    const auto ut = date_and_time(header, "UT-OBS", TimeScale::utc, facts);
    const auto date_utc = date_and_time(header, "DATE-UTC", TimeScale::utc, facts);
    const auto begin = date_and_time(header, "DATE-BEG", scale, facts);
    const auto obs = date_and_time(header, "DATE-OBS", scale, facts);
    const auto split = date_beside_time(header, scale, facts);
    const auto mjd_begin = julian(header, "MJD-BEG", jd_minus_mjd, scale);
    const auto mjd = julian(header, "MJD-OBS", jd_minus_mjd, scale);
    const auto jd_plain = julian(header, "JD", 0.0, scale);
    const auto jd = jd_plain ? jd_plain : julian(header, "JD-OBS", 0.0, scale);
    std::optional<Candidate> chosen;
    for (const auto* candidate : {&ut, &date_utc, &begin, &obs, &split, &mjd_begin, &mjd, &jd}) {
        if (!chosen && *candidate) chosen = *candidate;
    }
    if (chosen && obs && chosen->source != obs->source) compare(chosen, obs, facts);
    if (chosen && mjd && chosen->source != mjd->source) compare(chosen, mjd, facts);
    return chosen;
}

void set_middle(FrameFacts& facts, const Instant& instant, std::string source) {
    facts.mid_exposure = Fact<Instant>{sky::to_utc(instant), std::move(source)};
}

}  // namespace

void read_exposure(const Header& header, const Instrument& instrument, FrameFacts& facts) {
    const auto from_campaign = [&] {
        if (instrument.exposure_s)
            facts.exposure_s = Fact<double>{*instrument.exposure_s, "campaign.toml, instrument.exposure_s"};
    };
    int stacked = 1;
    for (const char* keyword : {"NCOMBINE", "STACKCNT", "NFRAMES", "SNAPSHOT", "NSTACK", "NIMAGES"}) {
        const auto n = header.integer(keyword);
        if (!n || *n < 1 || *n > 100000) continue;
        facts.stacked_exposures = Fact<int>{static_cast<int>(*n), keyword};
        stacked = static_cast<int>(*n);
        break;
    }
    if (!facts.stacked_exposures) facts.stacked_exposures = Fact<int>{1, "assumed"};
    if (instrument.override_header && instrument.exposure_s) return from_campaign();
    // The total of a stack has keywords of its own; EXPTIME may be one exposure or the sum.
    for (const char* keyword :
         {"XPOSURE", "LIVETIME", "TOTALEXP", "EXPTIME", "EXPOSURE", "EXP_TIME", "ITIME"}) {
        const Card* card = header.find(keyword);
        if (card == nullptr || card->value.empty()) continue;
        const auto seconds = header.number(keyword);
        if (!seconds) {
            facts.remarks.push_back(fmt::format("{} = '{}' is no number of seconds.", keyword, card->value));
        } else if (!(*seconds > 0.0) || *seconds > most_exposure_s) {
            facts.remarks.push_back(fmt::format("{} = {:g} s is no exposure.", keyword, *seconds));
        } else {
            facts.exposure_s = Fact<double>{*seconds, keyword};
            break;
        }
    }
    if (!facts.exposure_s) return from_campaign();
    const bool ambiguous =
        stacked > 1 && (facts.exposure_s->source == "EXPTIME" || facts.exposure_s->source == "EXPOSURE");
    if (!ambiguous) return;
    // The interval decides: a stack cannot hold more light than fits between its first and last instant.
    const auto begin = header.text("DATE-BEG") ? header.text("DATE-BEG") : header.text("DATE-OBS");
    const auto end = header.text("DATE-END");
    double interval_s = 0.0;
    if (begin && end) {
        const auto a = sky::parse_instant(*begin), b = sky::parse_instant(*end);
        if (a && b) interval_s = sky::seconds_between(*a, *b);
    }
    if (interval_s >= 0.8 * stacked * facts.exposure_s->value) {
        facts.remarks.push_back(fmt::format("{} is one of {} exposures: together {:g} s.",
                                            facts.exposure_s->source, stacked,
                                            stacked * facts.exposure_s->value));
        facts.exposure_s->value *= stacked;
        facts.exposure_s->source += " × " + facts.stacked_exposures->source;
    } else {
        facts.remarks.push_back(
            fmt::format("{} is taken as the sum of {} exposures.", facts.exposure_s->source, stacked));
    }
}

void read_time(const Header& header, FrameFacts& facts) {
    const TimeScale scale = header_scale(header, facts);
    if (auto average = date_and_time(header, "DATE-AVG", scale, facts)) {
        return set_middle(facts, average->instant, "DATE-AVG");
    }
    if (const auto average = julian(header, "MJD-AVG", jd_minus_mjd, scale)) {
        return set_middle(facts, average->instant, "MJD-AVG");
    }
    if (const auto middle = julian(header, "MJD-MID", jd_minus_mjd, scale)) {
        return set_middle(facts, middle->instant, "MJD-MID");
    }
    const auto start = start_of(header, scale, facts);
    if (!start) {
        if (!header.text("DATE-OBS")) {
            facts.remarks.emplace_back("No keyword says when the exposure was: DATE-OBS is missing.");
        }
        return;
    }
    const double exposure_s = facts.exposure_s ? facts.exposure_s->value : 0.0;
    const bool stack = facts.stacked_exposures && facts.stacked_exposures->value > 1;
    if (start->source == "DATE-OBS" && says_middle(header, "DATE-OBS")) {
        return set_middle(facts, start->instant, "DATE-OBS (its comment says the middle)");
    }
    const auto end = date_and_time(header, "DATE-END", scale, facts);
    const double interval_s = end ? sky::seconds_between(start->instant, end->instant) : 0.0;
    // Reading the camera out may lengthen the interval; only a stack's light is spread over all of it.
    if (end && stack && interval_s > 0.0) {
        if (interval_s > stack_interval * exposure_s) facts.caveats.add(Caveat::time_uncertain);
        return set_middle(facts, sky::later_by(start->instant, 0.5 * interval_s),
                          start->source + ", DATE-END");
    }
    if (stack) facts.caveats.add(Caveat::time_uncertain);
    set_middle(facts, sky::later_by(start->instant, 0.5 * exposure_s),
               fmt::format("{} + half of {}", start->source,
                           facts.exposure_s ? facts.exposure_s->source : std::string("nothing")));
}

}  // namespace emberline::frame
