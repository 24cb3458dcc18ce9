// SPDX-License-Identifier: MIT
#include "rehearsal/blur_table.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "photometry/circle_pixel.hpp"
#include "quantities/angle.hpp"

namespace emberline::rehearsal {
namespace {

constexpr int rim_points = 3;  // that interpolation and shifts reach beyond

// Lagrange's cubic through points at −1, 0, 1, 2.
std::array<double, 4> cubic_weights(double t) {
    return {-t * (t - 1.0) * (t - 2.0) / 6.0, (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
            -(t + 1.0) * t * (t - 2.0) / 2.0, (t + 1.0) * t * (t - 1.0) / 6.0};
}

// A row of the disk: cells wholly inside it, and those that its edge cuts.
struct DiskRow {
    int dy = 0, first = 0, last = -1;
    std::vector<std::pair<int, double>> cut;
};

std::vector<DiskRow> disk_rows(double radius) {
    std::vector<DiskRow> rows;
    const int reach = static_cast<int>(std::ceil(radius + 0.5));
    for (int dy = -reach; dy <= reach; ++dy) {
        DiskRow row{.dy = dy};
        for (int dx = -reach; dx <= reach; ++dx) {
            const double share = photometry::circle_pixel_overlap(dx, dy, radius);
            if (share > 1.0 - 1e-9) {
                if (row.last < row.first) row.first = dx;
                row.last = dx;
            } else if (share > 0.0) {
                row.cut.emplace_back(dx, share);
            }
        }
        rows.push_back(std::move(row));
    }
    return rows;
}

}  // namespace

BlurTable::BlurTable(const std::function<double(double, double)>& sharp, const Blur& blur, double reach_px,
                     double step_px)
    : half_(static_cast<int>(std::ceil(reach_px / step_px)) + rim_points),
      side_(2 * half_ + 1),
      step_px_(step_px),
      values_(static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_)) {
    for (int j = 0; j < side_; ++j) {
        for (int i = 0; i < side_; ++i)
            values_[index(i, j)] = sharp((i - half_) * step_px, (j - half_) * step_px);
    }
    if (blur.trail_px > 0.0) trail(blur);
    if (blur.defocus_px > 0.0) defocus(blur.defocus_px / step_px);
}

void BlurTable::trail(const Blur& blur) {
    const double steps = blur.trail_px / step_px_;
    const int number = 1 + static_cast<int>(std::ceil(steps));
    const double direction = Angle::degrees(blur.trail_direction_deg).radians();
    std::vector<double> sum(values_.size());
    for (int k = 0; k < number; ++k) {
        const double along = ((k + 0.5) / number - 0.5) * steps;
        const double x = along * std::cos(direction), y = along * std::sin(direction);
        const int x0 = static_cast<int>(std::floor(x)), y0 = static_cast<int>(std::floor(y));
        const double tx = x - x0, ty = y - y0;
        for (int j = std::max(0, y0 + 1); j < std::min(side_, side_ + y0); ++j) {
            for (int i = std::max(0, x0 + 1); i < std::min(side_, side_ + x0); ++i) {
                const double* low = values_.data() + index(i - x0 - 1, j - y0 - 1);
                const double* high = low + side_;
                sum[index(i, j)] += ((1.0 - ty) * (tx * high[0] + (1.0 - tx) * high[1]) +
                                     ty * (tx * low[0] + (1.0 - tx) * low[1])) /
                                    number;
            }
        }
    }
    values_ = std::move(sum);
}

// Rows of whole cells by running sums: the time does not grow with the disk's area.
void BlurTable::defocus(double radius_steps) {
    const std::vector<DiskRow> rows = disk_rows(radius_steps);
    double area = 0.0;
    for (const DiskRow& row : rows) {
        area += std::max(0, row.last - row.first + 1);
        for (const auto& [dx, share] : row.cut)
            area += share;
    }
    std::vector<double> result(values_.size());
    std::vector<double> running(static_cast<std::size_t>(side_) + 1);
    for (int from = 0; from < side_; ++from) {
        for (int i = 0; i < side_; ++i)
            running[static_cast<std::size_t>(i) + 1] =
                running[static_cast<std::size_t>(i)] + values_[index(i, from)];
        for (const DiskRow& row : rows) {
            const int to = from + row.dy;
            if (to < 0 || to >= side_) continue;
            for (int i = 0; i < side_; ++i) {
                double light = 0.0;
                const int first = std::max(0, i + row.first), last = std::min(side_ - 1, i + row.last);
                if (row.last >= row.first && last >= first)
                    light += running[static_cast<std::size_t>(last) + 1] -
                             running[static_cast<std::size_t>(first)];
                for (const auto& [dx, share] : row.cut) {
                    if (i + dx >= 0 && i + dx < side_) light += share * values_[index(i + dx, from)];
                }
                result[index(i, to)] += light / area;
            }
        }
    }
    values_ = std::move(result);
}

double BlurTable::at(double dx, double dy) const {
    const double x = dx / step_px_ + half_, y = dy / step_px_ + half_;
    if (!(x >= 1.0 && y >= 1.0 && x < side_ - 2.0 && y < side_ - 2.0)) return 0.0;
    const int i = static_cast<int>(x), j = static_cast<int>(y);
    const auto across = cubic_weights(x - i), up = cubic_weights(y - j);
    double sum = 0.0;
    for (int b = 0; b < 4; ++b) {
        const double* row = values_.data() + index(i - 1, j - 1 + b);
        sum += up[static_cast<std::size_t>(b)] *
               (across[0] * row[0] + across[1] * row[1] + across[2] * row[2] + across[3] * row[3]);
    }
    return sum;
}

}  // namespace emberline::rehearsal
