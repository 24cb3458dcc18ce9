// SPDX-License-Identifier: MIT
// exchange/observer_code — whether a code can be, and looks like, one that a network issued.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace emberline::exchange {

// The code of the example campaigns.
inline constexpr const char* example_observer_code = "XYZ";

[[nodiscard]] bool is_observer_code(std::string_view code);  // letters and figures alone

// A sentence on a code that can be one and hardly is: the example's, a long one, small letters. Nothing: it
// looks right.
[[nodiscard]] std::optional<std::string> observer_code_doubt(const std::string& code);

}  // namespace emberline::exchange
