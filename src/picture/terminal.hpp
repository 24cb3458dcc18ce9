// SPDX-License-Identifier: MIT
// picture/terminal — the kinds of paper that curves and nights are drawn on. Private to this room.
#pragma once

#include <string>

#include "quantities/problem.hpp"

namespace emberline::picture {

enum class PaperKind { svg, pdf, png };

// By the path's ending. Problem (request): another one, or none.
[[nodiscard]] Result<PaperKind> paper_kind_of(const std::string& path);
inline constexpr int paper_width = 960;  // units, see below
// gnuplot's words for it, 960 units wide; `name` tells several pictures of one page apart.
[[nodiscard]] std::string terminal(PaperKind kind, const std::string& name, int height = 680);

}  // namespace emberline::picture
