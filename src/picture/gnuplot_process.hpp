// SPDX-License-Identifier: MIT
// picture/gnuplot_process — one run of gnuplot: a script in, a picture file out, nothing in between.
#pragma once

#include <string>
#include <string_view>

#include "quantities/problem.hpp"

namespace emberline::picture {

inline constexpr double gnuplot_patience_s = 60.0;

// Whatever the script draws to standard output ends up in the file at `path`, which is replaced whole or not
// at all. No shell is involved, and gnuplot never learns the path. Problem (storage): gnuplot is missing,
// fails (its message), draws nothing or takes too long; the file cannot be written.
[[nodiscard]] Result<void> run_gnuplot(std::string_view script, const std::string& path,
                                       double patience_s = gnuplot_patience_s);

// A text as gnuplot reads it literally: in single quotes, on one line, without control characters or bytes
// that are not UTF-8; an apostrophe becomes the typographic one.
[[nodiscard]] std::string gnuplot_text(std::string_view text);

}  // namespace emberline::picture
