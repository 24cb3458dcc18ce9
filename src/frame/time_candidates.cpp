// SPDX-License-Identifier: MIT
#include "frame/time_candidates.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "quantities/text.hpp"
#include "sky/time_scales.hpp"

namespace emberline::frame {
namespace {

constexpr double first_year = 1960.0, last_year = 2100.0;
constexpr double unset_clock_mjd = 40587.0;  // 1970-01-01, where computers' clocks begin
constexpr double quarter_hour_s = 900.0, hour_s = 3600.0;
constexpr double westmost_h = -10.75, eastmost_h = 13.25;  // zones where telescopes stand
constexpr double gps_behind_tai_s = 19.0;                  // exact, by definition of GPS time
constexpr const char* utc_times[] = {"UT-OBS", "UTC-OBS", "UTSTART", "UT-START", "UT", "UTC"};

bool plausible(const Instant& instant) {
    const double year = 2000.0 + (instant.jd() - 2451545.0) / 365.25;
    return year > first_year && year < last_year && std::floor(instant.mjd()) != unset_clock_mjd;
}

void refuse(FrameFacts& facts, const char* keyword, const std::string& text, const std::string& why) {
    facts.remarks.push_back(fmt::format("{} = '{}' is not used: {}", keyword, text, why));
}

std::string absurd() {
    return fmt::format("it is before {:.0f}, after {:.0f}, or what a clock shows that was never set.",
                       first_year, last_year);
}

Moment moment_of(const Header& header, std::string_view keyword) {
    const std::string comment = comment_of(header, keyword);
    if (contains_any(comment, {"start", "begin"})) return Moment::start;
    const bool middle = comment.find("mid") != std::string::npos && !contains_any(comment, {"midnight"});
    if (middle || contains_any(comment, {"center of exp", "centre of exp"})) return Moment::middle;
    if (contains_any(comment, {"end of exp", "exposure end", "end of obs", "at end", "end time"}))
        return Moment::end;
    return Moment::start;
}

bool says_local(const Header& header, const char* keyword) {
    const std::string comment = comment_of(header, keyword);
    if (contains_any(comment, {"utc", "universal", "gmt"})) return false;
    return comment.find("local") != std::string::npos || comment.ends_with(" lt") ||
           comment.ends_with("(lt)") || comment == "lt";
}

std::optional<double> time_of_day(const Header& header, const char* keyword, FrameFacts& facts) {
    const auto text = header.text(keyword);
    if (!text || text->find('-') != std::string::npos || text->find(':') == std::string::npos)
        return std::nullopt;
    const auto seconds = sky::parse_time_of_day(*text);
    if (seconds) return *seconds;
    refuse(facts, keyword, *text, seconds.error().what);
    return std::nullopt;
}

}  // namespace

std::string comment_of(const Header& header, std::string_view keyword) {
    const Card* card = header.find(keyword);
    return card != nullptr ? lower_case(card->comment) : std::string();
}

HeaderScale header_scale(const Header& header, FrameFacts& facts) {
    const std::string name = upper_case(header.text("TIMESYS").value_or("UTC"));
    if (name.starts_with("UT") || name == "GMT" || name == "ZULU") return {};
    if (name == "TAI" || name == "IAT") return {.scale = TimeScale::tai};
    if (name == "GPS") return {.scale = TimeScale::tai, .behind_s = gps_behind_tai_s};
    if (name == "TT" || name == "TDT" || name == "ET") return {.scale = TimeScale::tt};
    if (name == "TDB") return {.scale = TimeScale::tdb};
    if (name == "LOCAL" || name == "LT") return {.local = true};
    facts.remarks.push_back(
        fmt::format("TIMESYS is '{}', which is not known: times are taken as UTC.", name));
    return {};
}

std::optional<Candidate> date_and_time(const Header& header, const char* keyword, const HeaderScale& scale,
                                       FrameFacts& facts) {
    const auto text = header.text(keyword);
    // A time of day alone stands beside a date elsewhere.
    if (!text || (text->find(':') < 4 && text->find('-') == std::string::npos)) return std::nullopt;
    const auto time = sky::parse_calendar(*text);
    if (!time) {
        refuse(facts, keyword, *text, time.error().what);
        return std::nullopt;
    }
    if (!time->has_time) return std::nullopt;
    if (!time->has_offset && (scale.local || says_local(header, keyword))) {
        refuse(facts, keyword, *text, "it is local time, and nothing says how far from UTC.");
        return std::nullopt;
    }
    auto instant = sky::instant_of(*time, time->has_offset ? TimeScale::utc : scale.scale);
    if (!instant) {
        refuse(facts, keyword, *text, instant.error().what);
        return std::nullopt;
    }
    if (!plausible(*instant)) {
        refuse(facts, keyword, *text, absurd());
        return std::nullopt;
    }
    if (scale.behind_s != 0.0 && !time->has_offset) *instant = sky::later_by(*instant, scale.behind_s);
    const bool said = std::any_of(facts.remarks.begin(), facts.remarks.end(), [](const std::string& r) {
        return r.find("it was converted") != std::string::npos;
    });
    if (time->has_offset && time->offset_s != 0.0 && !said) {
        facts.remarks.push_back(fmt::format("{} is a local time, {:+g} h from UTC: it was converted.",
                                            keyword, time->offset_s / hour_s));
    }
    return Candidate{*instant, keyword, text->find('.') == std::string::npos ? 1.0 : 0.0,
                     moment_of(header, keyword)};
}

std::optional<Candidate> julian(const Header& header, const char* keyword, double zero,
                                const HeaderScale& scale, FrameFacts& facts) {
    const Card* card = header.find(keyword);
    const auto value = header.number(keyword);
    if (!value) return std::nullopt;
    const std::size_t point = card->value.find('.');
    const auto decimals =
        point == std::string::npos ? 0.0 : static_cast<double>(card->value.size() - point - 1);
    const double whole = std::floor(*value);
    if (*value == whole && decimals < 3.0) return std::nullopt;  // a date, without the time of day
    Instant instant = sky::from_jd(zero + whole, *value - whole, scale.scale);
    if (!plausible(instant)) {
        refuse(facts, keyword, card->value, absurd());
        return std::nullopt;
    }
    if (scale.behind_s != 0.0) instant = sky::later_by(instant, scale.behind_s);
    return Candidate{instant, keyword, seconds_per_day * std::pow(10.0, -std::min(decimals, 9.0)),
                     moment_of(header, keyword)};
}

std::optional<Candidate> date_beside_time(const Header& header, const HeaderScale& scale, FrameFacts& facts) {
    for (const char* date_keyword : {"DATE-OBS", "UTDATE", "DATE_OBS"}) {
        const auto date = header.text(date_keyword);
        if (!date) continue;
        auto calendar = sky::parse_calendar(*date);
        if (!calendar || calendar->has_time) continue;
        const auto joined = [&](const char* keyword, const HeaderScale& of) -> std::optional<Candidate> {
            const auto seconds = time_of_day(header, keyword, facts);
            if (!seconds) return std::nullopt;
            calendar->seconds_of_day = *seconds;
            calendar->has_time = true;
            auto instant = sky::instant_of(*calendar, of.scale);
            if (!instant) return std::nullopt;
            if (!plausible(*instant)) {
                refuse(facts, date_keyword, *date, absurd());
                return std::nullopt;
            }
            if (of.behind_s != 0.0) *instant = sky::later_by(*instant, of.behind_s);
            return Candidate{*instant, fmt::format("{} + {}", date_keyword, keyword), 1.0,
                             moment_of(header, keyword)};
        };
        for (const char* keyword : {"TIME-OBS", "TIME-BEG", "TAIHMS"}) {
            if (scale.local || (std::string_view(keyword) == "TAIHMS" && scale.scale != TimeScale::tai))
                continue;
            if (auto found = joined(keyword, scale)) return found;
        }
        for (const char* keyword : utc_times) {
            if (auto found = joined(keyword, HeaderScale{})) return found;
        }
    }
    return std::nullopt;
}

std::optional<Candidate> local_beside_utc(const Header& header, FrameFacts& facts) {
    const auto text = header.text("DATE-OBS");
    if (!text) return std::nullopt;
    auto local = sky::parse_calendar(*text);
    if (!local || !local->has_time || local->has_offset) return std::nullopt;
    for (const char* keyword : utc_times) {
        const auto utc = time_of_day(header, keyword, facts);
        if (!utc) continue;
        double offset_s = local->seconds_of_day - *utc;
        while (offset_s < westmost_h * hour_s)
            offset_s += seconds_per_day;
        while (offset_s >= eastmost_h * hour_s)
            offset_s -= seconds_per_day;
        const double off_a_zone_s =
            std::abs(offset_s - quarter_hour_s * std::round(offset_s / quarter_hour_s));
        const bool same = std::abs(offset_s) <= clocks_agree_s;
        if (off_a_zone_s > clocks_agree_s || (!same && std::abs(offset_s) < hour_s - clocks_agree_s))
            continue;
        if (same && !says_local(header, "DATE-OBS")) continue;
        local->has_offset = true;
        local->offset_s = offset_s;
        const auto instant = sky::instant_of(*local, TimeScale::utc);
        if (!instant || !plausible(*instant)) continue;
        const double zone_h = std::round(offset_s / quarter_hour_s) * quarter_hour_s / hour_s;
        if (!same) {
            facts.remarks.push_back(
                fmt::format("DATE-OBS is a local time, {:+g} h from {}, which was taken.", zone_h, keyword));
        }
        return Candidate{*instant, fmt::format("DATE-OBS + {}", keyword), 1.0, moment_of(header, "DATE-OBS")};
    }
    return std::nullopt;
}

}  // namespace emberline::frame
