// SPDX-License-Identifier: MIT
// frame/file_kind — what a file is that is no FITS file, by its first bytes. Private to this room.
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"

namespace emberline::frame {

// `start`: the first bytes, some hundreds where there are as many.
[[nodiscard]] Problem not_fits(std::string_view start, std::string path);

}  // namespace emberline::frame
