// SPDX-License-Identifier: MIT
// standard/chosen_labels — names of stars as charts give them. Private to this room.
#pragma once

#include <string>
#include <vector>

namespace emberline::standard {

struct LabelWish {
    double magnitude_mag = 0.0;
    std::string former;  // kept where it is not empty
};

// The magnitude in tenths without the point: 12.61 -> "126"; where several would be called so, letters follow
// in the order given: "126a", "126b". No two are the same.
[[nodiscard]] std::vector<std::string> chart_labels(const std::vector<LabelWish>& stars);

}  // namespace emberline::standard
