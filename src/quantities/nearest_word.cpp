// SPDX-License-Identifier: MIT
#include "quantities/nearest_word.hpp"

#include <algorithm>

#include "quantities/text.hpp"

namespace emberline {
inline namespace quantities {
namespace {

constexpr std::size_t most_edits = 3;

// Optimal string alignment: Levenshtein's distance, where neighbours exchanged count once.
std::size_t edits(std::string_view a, std::string_view b) {
    std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
    for (std::size_t k = 0; k <= b.size(); ++k)
        last[k] = k;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        row[0] = i;
        for (std::size_t k = 1; k <= b.size(); ++k) {
            row[k] = std::min({last[k - 1] + (a[i - 1] == b[k - 1] ? 0 : 1), last[k] + 1, row[k - 1] + 1});
            if (i > 1 && k > 1 && a[i - 1] == b[k - 2] && a[i - 2] == b[k - 1])
                row[k] = std::min(row[k], before[k - 2] + 1);
        }
        before = last;
        last = row;
    }
    return last[b.size()];
}

}  // namespace

std::string nearest_word(std::string_view word, const std::vector<std::string>& candidates) {
    const std::string own = lower_case(word);
    // Of a short word every other is a few letters away.
    std::size_t least = std::min(most_edits, own.size() / 3 + 1) + 1;
    std::string best;
    for (const std::string& candidate : candidates) {
        const std::size_t distance = edits(own, lower_case(candidate));
        if (distance >= least || distance >= std::max(own.size(), candidate.size())) continue;
        least = distance;
        best = candidate;
    }
    return best;
}

}  // namespace quantities
}  // namespace emberline
