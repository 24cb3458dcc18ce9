// SPDX-License-Identifier: MIT
// frame/time_candidates — each way that headers write a moment, read by itself; read_time chooses among them.
// Private to this room. What is there and cannot be used becomes a remark.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "frame/frame_facts.hpp"
#include "frame/header.hpp"

namespace emberline::frame {

inline constexpr double clocks_agree_s = 2.0;  // clocks that differ by more contradict each other

enum class Moment { start, middle, end };  // of the exposure

struct Candidate {
    Instant instant;
    std::string source;
    double rounding_s = 0.0;  // how coarsely it was written
    Moment moment = Moment::start;
};

// TIMESYS, and what a time in it needs on top.
struct HeaderScale {
    TimeScale scale = TimeScale::utc;
    double behind_s = 0.0;
    bool local = false;
};
[[nodiscard]] HeaderScale header_scale(const Header& header, FrameFacts& facts);

// One of the keywords that hold date and time in one text.
[[nodiscard]] std::optional<Candidate> date_and_time(const Header& header, const char* keyword,
                                                     const HeaderScale& scale, FrameFacts& facts);
// A Julian date, or with `zero` a modified one.
[[nodiscard]] std::optional<Candidate> julian(const Header& header, const char* keyword, double zero,
                                              const HeaderScale& scale, FrameFacts& facts);
// A date without a time of day, and the keyword that holds the time.
[[nodiscard]] std::optional<Candidate> date_beside_time(const Header& header, const HeaderScale& scale,
                                                        FrameFacts& facts);
// DATE-OBS as the clock on the wall had it, beside a time of day that is UTC by its name.
[[nodiscard]] std::optional<Candidate> local_beside_utc(const Header& header, FrameFacts& facts);

// In lower case; empty where the keyword is not there.
[[nodiscard]] std::string comment_of(const Header& header, std::string_view keyword);

}  // namespace emberline::frame
