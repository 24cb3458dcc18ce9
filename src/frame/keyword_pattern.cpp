// SPDX-License-Identifier: MIT
#include "frame/keyword_pattern.hpp"

namespace emberline::frame {

bool matches(std::string_view keyword, std::string_view pattern) {
    std::size_t k = 0;
    for (const char p : pattern) {
        if (p == 'i') {
            if (k >= keyword.size() || (keyword[k] != '1' && keyword[k] != '2')) return false;
            ++k;
        } else if (p == 'n') {
            const std::size_t start = k;
            while (k < keyword.size() && keyword[k] >= '0' && keyword[k] <= '9')
                ++k;
            if (k == start) return false;
        } else {
            if (k >= keyword.size() || keyword[k] != p) return false;
            ++k;
        }
    }
    return k == keyword.size();
}

}  // namespace emberline::frame
