// SPDX-License-Identifier: MIT
// Headers as lines of text, and the facts read from them.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <initializer_list>
#include <string>
#include <vector>

#include "frame/parse_header.hpp"
#include "frame/read_facts.hpp"
#include "sky/time_scales.hpp"

namespace emberline::test {

inline frame::Header header_of(std::initializer_list<std::string> lines) {
    std::string raw;
    for (const std::string& line : lines) {
        REQUIRE(line.size() <= 80);
        raw += line + std::string(80 - line.size(), ' ');
    }
    return frame::parse_header(raw + "END" + std::string(77, ' '));
}

inline frame::FrameFacts facts_of(std::initializer_list<std::string> lines,
                                  const std::vector<frame::Instrument>& instruments = {},
                                  frame::FrameFacts seed = {}) {
    if (seed.pixel_type.empty()) seed.pixel_type = "uint16";
    return frame::read_facts(header_of(lines), instruments, std::move(seed));
}

inline bool remarks_on(const frame::FrameFacts& facts, const std::string& word) {
    return std::any_of(facts.remarks.begin(), facts.remarks.end(),
                       [&](const std::string& r) { return r.find(word) != std::string::npos; });
}

// "2024-02-03T21:04:05.250Z", or "none".
inline std::string middle_of(const frame::FrameFacts& facts) {
    return facts.mid_exposure ? sky::iso(facts.mid_exposure->value) : "none";
}

}  // namespace emberline::test
