// SPDX-License-Identifier: MIT
#include "frame/write_defects.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "frame/row_writer.hpp"

namespace emberline::frame {

std::vector<Defect> joined(std::vector<Defect> all) {
    std::sort(all.begin(), all.end(),
              [](const Defect& a, const Defect& b) { return std::pair(a.y, a.x) < std::pair(b.y, b.x); });
    std::vector<Defect> out;
    for (const Defect& one : all) {
        if (!out.empty() && out.back().x == one.x && out.back().y == one.y)
            out.back().bits |= one.bits;
        else
            out.push_back(one);
    }
    return out;
}

Result<void> write_defects(const std::string& path, int width_px, int height_px,
                           const std::vector<Defect>& defects, const std::vector<Card>& cards) {
    std::vector<Card> all{{"IMAGETYP", "Defect Map", "", true}};
    all.insert(all.end(), cards.begin(), cards.end());
    const auto count = [&](int bit) {
        return fmt::format("{}", std::count_if(defects.begin(), defects.end(),
                                               [&](const Defect& d) { return (d.bits & bit) != 0; }));
    };
    all.push_back({"NHOT", count(defect_hot), "pixels with bit 1: dark current", false});
    all.push_back({"NDEAD", count(defect_dead), "pixels with bit 2: response", false});
    all.push_back({"NUNSTABL", count(defect_unstable), "pixels with bit 4: come and go", false});
    auto writer = RowWriter::create(path, width_px, height_px, {{"", 16, std::move(all)}});
    if (!writer) return fail(writer.error());
    auto next = defects.begin();
    std::vector<float> row(static_cast<std::size_t>(width_px));
    for (int y = 0; y < height_px; ++y) {
        std::fill(row.begin(), row.end(), 0.0F);
        for (; next != defects.end() && next->y == y; ++next)
            row[static_cast<std::size_t>(next->x)] = static_cast<float>(next->bits);
        if (auto good = (*writer)->write(0, y, row); !good) return good;
    }
    return (*writer)->finish();
}

}  // namespace emberline::frame
