// SPDX-License-Identifier: MIT
// frame/header_counts — counts and texts of a header that make cfitsio 4.2 write past its arrays or use what
// it never set: it must not see them. Private to this room.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <string>

namespace emberline::frame {

// Fills `block` from that place in the file on and says how many bytes there were.
using ReadBlock = std::function<std::size_t(long long offset, std::span<char> block)>;

// A sentence on the first impossible one in the header that begins there; nothing where all are possible.
[[nodiscard]] std::optional<std::string> impossible_count(const ReadBlock& read, long long offset);

}  // namespace emberline::frame
