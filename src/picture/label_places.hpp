// SPDX-License-Identifier: MIT
// picture/label_places — where words stand beside marks so that they cover neither stars nor each other.
// Private to this room. Places are in units of terminal(), y down.
#pragma once

#include <vector>

#include "picture/curve_page.hpp"

namespace emberline::picture {

struct Disc {
    double x = 0.0, y = 0.0, radius = 0.0;
};

struct WantedLabel {
    double x = 0.0, y = 0.0;  // of the mark
    double half_size = 0.0;   // of the mark: no word comes nearer
    double width = 0.0, height = 0.0;
};

struct LabelPlace {
    PaperBox box;
    bool far = false;  // not beside its mark: a line should lead to it
};

// One for each, in order. Nothing to the right of a mark is asked to move; where something is, the label goes
// round and then further out, to where it covers least. Words stay inside `area`. `taken`: boxes that no word
// may cover.
[[nodiscard]] std::vector<LabelPlace> place_labels(const std::vector<WantedLabel>& labels,
                                                   const std::vector<Disc>& discs,
                                                   const std::vector<PaperBox>& taken, const PaperBox& area);

}  // namespace emberline::picture
