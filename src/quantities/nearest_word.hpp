// SPDX-License-Identifier: MIT
// quantities/nearest_word — "did you mean …?"
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace emberline {
inline namespace quantities {

// The candidate that the fewest edits (insert, delete, replace, exchange of neighbours) turn `word` into,
// whatever its case; empty where each takes more than a third of the word, and three at most.
[[nodiscard]] std::string nearest_word(std::string_view word, const std::vector<std::string>& candidates);

}  // namespace quantities
}  // namespace emberline
