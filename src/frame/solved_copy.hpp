// SPDX-License-Identifier: MIT
// frame/solved_copy — a copy of a file that carries another plate solution. The original is never touched.
#pragma once

#include <string>
#include <vector>

#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// All HDUs and pixels as they are; of the image's header the cards of any former plate solution are taken out
// and `cards` put in. Written beside `to` and renamed. Problem: cannot be read; `to` is the original, or is
// there already (kind request); (storage) the disk.
[[nodiscard]] Result<void> write_solved_copy(const std::string& from, const std::string& to,
                                             const std::vector<Card>& cards,
                                             const std::vector<std::string>& history);

}  // namespace emberline::frame
