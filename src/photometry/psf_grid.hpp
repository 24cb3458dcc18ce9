// SPDX-License-Identifier: MIT
// photometry/psf_grid — a point's image tabulated so finely that looking up a pixel costs 16 products.
// A node holds the light share of a whole pixel centred there, the effective PSF of Anderson & King 2000
// (PASP 112, 1360); between nodes runs a bicubic B-spline through them.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace emberline::photometry {

struct MoffatCore;
struct PsfTable;

// Between nodes the spline keeps to this of the peak, for widths from 1.2 px up.
inline constexpr double psf_grid_accuracy = 1e-4;

// Weights of the four nodes about a place `t` of a step beyond the second of them.
using FourWeights = std::array<double, 4>;

class PsfGrid {
  public:
    // A square of (2 half + 1)² nodes, `per_px` of them a pixel (even), all zero.
    PsfGrid(int half, int per_px);

    // Nodes of the core integrated over pixels: the plane's integral of it is 1 before any reach cuts it.
    static PsfGrid of_core(const MoffatCore& core, int half, int per_px);
    // Nodes of one of a table's images, by cubic convolution between the table's own nodes.
    static PsfGrid of_table(const PsfTable& table, const std::vector<double>& values, int half, int per_px);

    // Of all light within `reach_px`: Σ over nodes, those at the rim by the area inside.
    [[nodiscard]] double sum_within(double reach_px) const;
    void add(const PsfGrid& other, double factor);
    void scale(double factor);
    // Turns node values into spline coefficients. Before it, `at` makes no sense; after it, `sum_within`.
    void to_coefficients();

    // A place between nodes: the first of four nodes on an axis, and their weights.
    struct Place {
        int first = 0;
        FourWeights weights{};
    };
    // `offset_px` from the star's centre; |offset_px| must stay a step and a half inside the square.
    [[nodiscard]] Place place(double offset_px) const;
    [[nodiscard]] int per_px() const { return per_px_; }
    [[nodiscard]] double at(const Place& x, const Place& y) const {
        const double* row = v_.data() + static_cast<std::ptrdiff_t>(y.first) * side_ + x.first;
        double sum = 0.0;
        for (const double wy : y.weights) {
            sum += wy * (x.weights[0] * row[0] + x.weights[1] * row[1] + x.weights[2] * row[2] +
                         x.weights[3] * row[3]);
            row += side_;
        }
        return sum;
    }

  private:
    [[nodiscard]] double& node(int i, int j) {
        return v_[static_cast<std::size_t>(j + half_) * static_cast<std::size_t>(side_) +
                  static_cast<std::size_t>(i + half_)];
    }
    [[nodiscard]] double node(int i, int j) const {
        return v_[static_cast<std::size_t>(j + half_) * static_cast<std::size_t>(side_) +
                  static_cast<std::size_t>(i + half_)];
    }
    int half_, per_px_, side_;
    std::vector<double> v_;
};

}  // namespace emberline::photometry
