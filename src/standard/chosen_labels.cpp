// SPDX-License-Identifier: MIT
#include "standard/chosen_labels.hpp"

#include <fmt/format.h>

#include <cmath>
#include <map>
#include <set>

namespace emberline::standard {
namespace {

// a, b, …, z, aa, ab, …
std::string letters_of(std::size_t n) {
    std::string text;
    for (++n; n > 0; n = (n - 1) / 26)
        text.insert(text.begin(), static_cast<char>('a' + (n - 1) % 26));
    return text;
}

}  // namespace

std::vector<std::string> chart_labels(const std::vector<LabelWish>& stars) {
    std::set<std::string> taken;
    std::map<std::string, std::size_t> wanting;
    std::vector<std::string> labels(stars.size());
    for (std::size_t i = 0; i < stars.size(); ++i) {
        if (!stars[i].former.empty() && taken.insert(stars[i].former).second) {
            labels[i] = stars[i].former;
        } else {
            ++wanting[fmt::format("{:02d}", std::lround(10.0 * stars[i].magnitude_mag))];
        }
    }
    std::map<std::string, std::size_t> used;
    for (std::size_t i = 0; i < stars.size(); ++i) {
        if (!labels[i].empty()) continue;
        const std::string base = fmt::format("{:02d}", std::lround(10.0 * stars[i].magnitude_mag));
        std::string label = base;
        if (wanting[base] > 1 || taken.contains(base)) {
            do
                label = base + letters_of(used[base]++);
            while (taken.contains(label));
        }
        taken.insert(label);
        labels[i] = label;
    }
    return labels;
}

}  // namespace emberline::standard
