// SPDX-License-Identifier: MIT
// night/toml_advice — a line that is no TOML: what its writer most likely meant. Private to this room.
#pragma once

#include <string>
#include <string_view>

namespace emberline::night {

// Of the campaign file `text`, its line `line` (from 1) and what the reader of TOML said of it: a sentence
// that tells what to do.
[[nodiscard]] std::string toml_advice(std::string_view text, std::size_t line, std::string_view said);

}  // namespace emberline::night
