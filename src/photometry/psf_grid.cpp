// SPDX-License-Identifier: MIT
// Notation: h = 1/per_px step of the nodes; a pixel spans per_px cells of side h, whose integrals are summed.
// q = r²/α² along the core's ellipse (Moffat 1969, A&A 3, 455): density (β − 1)/(π α²) (1 + q)^−β.
#include "photometry/psf_grid.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "photometry/circle_pixel.hpp"
#include "photometry/psf.hpp"

namespace emberline::photometry {
namespace {

// Two Gauss–Legendre points a side of a cell where the core bends, one beyond: at two widths the profile is
// below 2 % of its peak, and the middle of a cell is off by 0.2 % of that.
constexpr double bends_fwhm = 2.0;
constexpr double gauss_two = 0.28867513459481287;

class Density {
  public:
    explicit Density(const MoffatCore& core) : beta_(core.moffat_beta) {
        const double two_root = std::expm1(std::numbers::ln2 / beta_);  // 2^(1/β) − 1
        const double alpha_2 = core.fwhm_px * core.fwhm_px / (4.0 * two_root);
        const double c = std::cos(core.direction_rad), s = std::sin(core.direction_rad);
        const double along = 1.0 / (alpha_2 * core.elongation), across = core.elongation / alpha_2;
        xx_ = c * c * along + s * s * across;
        yy_ = s * s * along + c * c * across;
        xy_ = c * s * (along - across);
        peak_ = (beta_ - 1.0) / (std::numbers::pi * alpha_2);
        bends_q_ = bends_fwhm * bends_fwhm * 4.0 * two_root;
    }
    // The integral over a small square about (x, y).
    [[nodiscard]] double cell(double x, double y, double side) const {
        const double q = elliptical(x, y);
        if (q > bends_q_) return side * side * density(q);
        const double d = gauss_two * side;
        return 0.25 * side * side *
               (density(elliptical(x - d, y - d)) + density(elliptical(x + d, y - d)) +
                density(elliptical(x - d, y + d)) + density(elliptical(x + d, y + d)));
    }

  private:
    [[nodiscard]] double elliptical(double x, double y) const {
        return xx_ * x * x + 2.0 * xy_ * x * y + yy_ * y * y;
    }
    [[nodiscard]] double density(double q) const { return peak_ * std::exp(-beta_ * std::log1p(q)); }
    double beta_, peak_ = 0.0, xx_ = 0.0, xy_ = 0.0, yy_ = 0.0, bends_q_ = 0.0;
};

// Coefficients of the cubic B-spline through values, in place (Unser, Aldroubi & Eden 1993, IEEE Trans. Sig.
// Proc. 41, 821): one recursion each way with the pole √3 − 2. Beyond the ends the values count as zero.
void to_spline(double* v, int n, int stride) {
    constexpr double pole = std::numbers::sqrt3 - 2.0;
    const auto at = [&](int i) -> double& { return v[static_cast<std::ptrdiff_t>(i) * stride]; };
    for (int i = 1; i < n; ++i)
        at(i) += pole * at(i - 1);
    at(n - 1) *= -pole / (1.0 - pole * pole);
    for (int i = n - 2; i >= 0; --i)
        at(i) = pole * (at(i + 1) - at(i));
    for (int i = 0; i < n; ++i)
        at(i) *= 6.0;
}

// Of the uniform cubic B-spline: of coefficients.
FourWeights spline_weights(double t) {
    const double u = 1.0 - t;
    return {u * u * u / 6.0, (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
            (4.0 - 6.0 * u * u + 3.0 * u * u * u) / 6.0, t * t * t / 6.0};
}

// Of cubic convolution (Keys 1981, IEEE Trans. Acoust. 29, 1153): of values.
FourWeights keys_weights(double t) {
    const double u = 1.0 - t;
    return {-0.5 * t * u * u, 1.0 + t * t * (1.5 * t - 2.5), 1.0 + u * u * (1.5 * u - 2.5), -0.5 * u * t * t};
}

}  // namespace

PsfGrid::PsfGrid(int half, int per_px)
    : half_(half),
      per_px_(per_px),
      side_(2 * half + 1),
      v_(static_cast<std::size_t>(side_) * static_cast<std::size_t>(side_), 0.0) {}

PsfGrid PsfGrid::of_core(const MoffatCore& core, int half, int per_px) {
    PsfGrid grid(half, per_px);
    const Density density(core);
    const double h = 1.0 / per_px;
    const int cells = 2 * half + per_px;  // on a side; even, and alike about the centre
    const auto index = [&](int i, int j) {
        return static_cast<std::size_t>(j) * static_cast<std::size_t>(cells) + static_cast<std::size_t>(i);
    };
    std::vector<double> light(static_cast<std::size_t>(cells) * static_cast<std::size_t>(cells));
    for (int j = 0; j < cells / 2; ++j) {
        for (int i = 0; i < cells; ++i) {
            const double value = density.cell((i + 0.5 - 0.5 * cells) * h, (j + 0.5 - 0.5 * cells) * h, h);
            light[index(i, j)] = value;
            light[index(cells - 1 - i, cells - 1 - j)] = value;
        }
    }
    // Sums of per_px cells along rows, then along columns.
    std::vector<double> rows(static_cast<std::size_t>(grid.side_) * static_cast<std::size_t>(cells));
    for (int j = 0; j < cells; ++j) {
        for (int i = 0; i < grid.side_; ++i) {
            double sum = 0.0;
            for (int k = 0; k < per_px; ++k)
                sum += light[index(i + k, j)];
            rows[static_cast<std::size_t>(j) * static_cast<std::size_t>(grid.side_) +
                 static_cast<std::size_t>(i)] = sum;
        }
    }
    const auto width = static_cast<std::size_t>(grid.side_);
    for (std::size_t j = 0; j < width; ++j) {
        for (std::size_t k = 0; k < static_cast<std::size_t>(per_px); ++k) {
            for (std::size_t i = 0; i < width; ++i)
                grid.v_[j * width + i] += rows[(j + k) * width + i];
        }
    }
    return grid;
}

PsfGrid PsfGrid::of_table(const PsfTable& table, const std::vector<double>& values, int half, int per_px) {
    PsfGrid grid(half, per_px);
    const int side = 2 * table.half + 1;
    const auto value = [&](int i, int j) {
        return i < 0 || j < 0 || i >= side || j >= side
                   ? 0.0
                   : values[static_cast<std::size_t>(j) * static_cast<std::size_t>(side) +
                            static_cast<std::size_t>(i)];
    };
    struct Between {
        int first;
        FourWeights weights;
    };
    const auto between = [&](int node) {
        const double s = node / (per_px * table.step_px) + table.half;
        const double floor = std::floor(s);
        return Between{static_cast<int>(floor) - 1, keys_weights(s - floor)};
    };
    const int reach = std::min(half, static_cast<int>(std::ceil((table.half + 2) * table.step_px * per_px)));
    for (int j = -reach; j <= reach; ++j) {
        const Between y = between(j);
        for (int i = -reach; i <= reach; ++i) {
            const Between x = between(i);
            double sum = 0.0;
            for (int b = 0; b < 4; ++b) {
                for (int a = 0; a < 4; ++a)
                    sum += y.weights[static_cast<std::size_t>(b)] * x.weights[static_cast<std::size_t>(a)] *
                           value(x.first + a, y.first + b);
            }
            grid.node(i, j) = sum;
        }
    }
    return grid;
}

double PsfGrid::sum_within(double reach_px) const {
    const double radius = reach_px * per_px_;
    double sum = 0.0;
    for (int j = -half_; j <= half_; ++j) {
        for (int i = -half_; i <= half_; ++i)
            sum += circle_pixel_overlap(i, j, radius) * node(i, j);
    }
    return sum / (static_cast<double>(per_px_) * per_px_);
}

void PsfGrid::add(const PsfGrid& other, double factor) {
    for (std::size_t k = 0; k < v_.size(); ++k)
        v_[k] += factor * other.v_[k];
}

void PsfGrid::scale(double factor) {
    for (double& v : v_)
        v *= factor;
}

void PsfGrid::to_coefficients() {
    for (int j = 0; j < side_; ++j)
        to_spline(v_.data() + static_cast<std::ptrdiff_t>(j) * side_, side_, 1);
    for (int i = 0; i < side_; ++i)
        to_spline(v_.data() + i, side_, side_);
}

PsfGrid::Place PsfGrid::place(double offset_px) const {
    const double s = offset_px * per_px_ + half_;
    const double floor = std::floor(s);
    return {static_cast<int>(floor) - 1, spline_weights(s - floor)};
}

}  // namespace emberline::photometry
