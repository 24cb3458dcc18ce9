// SPDX-License-Identifier: MIT
// frame/parse_header — from 80-character cards to a Header. Never fails: what is no card is kept as a
// comment, and bytes that no header may have are shown as question marks.
#pragma once

#include <string>

#include "frame/header.hpp"

namespace emberline::frame {

[[nodiscard]] Header parse_header(std::string raw);

}  // namespace emberline::frame
