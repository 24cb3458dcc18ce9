// SPDX-License-Identifier: MIT
#include "exchange/observer_code.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "quantities/text.hpp"

namespace emberline::exchange {
namespace {

// Codes that networks issue have three letters or figures, or a few more. Common practice, no source.
constexpr std::size_t longest_usual = 5;

}  // namespace

bool is_observer_code(std::string_view code) {
    return !code.empty() && std::all_of(code.begin(), code.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
    });
}

std::optional<std::string> observer_code_doubt(const std::string& code) {
    if (code == example_observer_code)
        return fmt::format(
            "The observer's code is the example's, {}: give the one that the network issued to you.", code);
    if (code.size() > longest_usual)
        return fmt::format(
            "'{}' is long for an observer's code: give the one that the network issued, not the name.", code);
    if (code != upper_case(code))
        return fmt::format("Observers' codes are written in capitals: {}, not {}.", upper_case(code), code);
    return std::nullopt;
}

}  // namespace emberline::exchange
