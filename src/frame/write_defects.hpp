// SPDX-License-Identifier: MIT
// frame/write_defects — a map of a sensor's bad pixels as a 16-bit image: bits 1 hot, 2 dead, 4 unstable.
#pragma once

#include <string>
#include <vector>

#include "frame/build_master.hpp"
#include "frame/header.hpp"
#include "quantities/problem.hpp"

namespace emberline::frame {

// Several lists into one: a pixel keeps all its bits. Sorted by row and column.
[[nodiscard]] std::vector<Defect> joined(std::vector<Defect> all);
// Defects lie inside the image and are sorted. An existing file is replaced. Problem (storage).
[[nodiscard]] Result<void> write_defects(const std::string& path, int width_px, int height_px,
                                         const std::vector<Defect>& defects, const std::vector<Card>& cards);

}  // namespace emberline::frame
