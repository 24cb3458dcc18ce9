// SPDX-License-Identifier: MIT
#include "photometry/smooth_host_surface.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace emberline::photometry::smooth {
namespace {

// Bumps (1 − u²)², u = distance / radius, on a square grid.
constexpr double bump_radius_fwhm = 2.0;
constexpr double bump_step_fwhm = 1.0;
constexpr double bumps_to_fwhm = 3.0;  // from the place

// Σ φ² over the grid, by its integral.
constexpr double bump_overlap =
    std::numbers::pi * bump_radius_fwhm * bump_radius_fwhm / (5.0 * bump_step_fwhm * bump_step_fwhm);
// (∫ φ)² / ∫ φ²: the area that structure shares, FWHM².
constexpr double clump_area = 5.0 / 9.0 * std::numbers::pi * bump_radius_fwhm * bump_radius_fwhm;

double far_variance(const PixelMap& pixels, std::size_t i, double fwhm_px) {
    return pixels.variance_adu2[i] + pixels.rough_adu2[i] * clump_area * fwhm_px * fwhm_px;
}

struct Sum {
    numerics::Matrix& normal;
    std::vector<double>& right;
    // Lower triangle; columns ascend.
    void add(std::span<const std::size_t> column, std::span<const double> value, double y, double weight) {
        for (std::size_t a = 0; a < column.size(); ++a) {
            const double wv = weight * value[a];
            right[column[a]] += wv * y;
            for (std::size_t b = 0; b <= a; ++b)
                normal(column[a], column[b]) += wv * value[b];
        }
    }
};

void fill_mean(std::span<const double> row, std::vector<std::size_t>& column, std::vector<double>& value) {
    column.clear();
    value.clear();
    for (std::size_t j = 0; j < row.size(); ++j) {
        if (row[j] == 0.0) continue;
        column.push_back(j);
        value.push_back(row[j]);
    }
}

}  // namespace

WholeNormal whole_normal(const PixelMap& pixels, const MeanBasis& mean, double fwhm_px,
                         const std::vector<char>& leave_out) {
    WholeNormal out{numerics::Matrix(mean.columns, mean.columns), std::vector<double>(mean.columns, 0.0)};
    if (!mean.whole_box) return out;
    Sum sum{out.normal, out.right};
    std::vector<std::size_t> column;
    std::vector<double> value;
    for (std::size_t i = 0; i < pixels.size(); ++i) {
        if (pixels.used[i] == 0 || leave_out[i] != 0) continue;
        fill_mean(mean.row(i), column, value);
        sum.add(column, value, pixels.light_adu[i], 1.0 / far_variance(pixels, i, fwhm_px));
    }
    return out;
}

Surface::Surface(const PixelMap& pixels, const MeanBasis& mean, const WholeNormal& whole,
                 const frame::PixelPosition& place, const std::vector<char>& leave_out,
                 const SurfaceOptions& options)
    : pixels_(&pixels), mean_(&mean) {
    lay_bumps(place, options.fwhm_px, options.structure_adu2);
    const std::size_t host_columns = mean.columns + bumps_.size();
    const std::size_t columns = host_columns + (options.psf != nullptr ? 1 : 0);
    numerics::Matrix normal(columns, columns);
    std::vector<double> right(columns, 0.0);
    for (std::size_t a = 0; a < mean.columns; ++a) {
        right[a] = whole.right[a];
        for (std::size_t b = 0; b <= a; ++b)
            normal(a, b) = whole.normal(a, b);
    }
    Sum sum{normal, right};
    Row row;
    const frame::PixelBox box = pixels.near(place, options.reach_px);
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double distance2 = squared_distance({x + 0.0, y + 0.0}, place);
            const std::size_t i = pixels.box.index(x, y);
            if (distance2 > options.reach_px * options.reach_px || pixels.used[i] == 0 || leave_out[i] != 0)
                continue;
            // Counted before as one far from the place.
            if (mean.whole_box) {
                fill_mean(mean.row(i), row.column, row.value);
                sum.add(row.column, row.value, pixels.light_adu[i],
                        -1.0 / far_variance(pixels, i, options.fwhm_px));
            }
            fill(row, i);
            double variance = pixels.variance_adu2[i];
            if (options.psf != nullptr) {
                const double share = options.psf->share(place, x, y);
                const double mistrust = options.image_err * share * options.point_adu;
                variance += mistrust * mistrust;
                row.column.push_back(host_columns);
                row.value.push_back(share);
            }
            sum.add(row.column, row.value, pixels.light_adu[i], 1.0 / variance);
            ++near_;
        }
    }
    prior_weight_.resize(columns, 0.0);
    solve(std::move(normal), std::move(right));
    if (options.psf != nullptr) point_adu_ = coefficients_.back();
}

void Surface::lay_bumps(const frame::PixelPosition& place, double fwhm_px, double structure_adu2) {
    prior_weight_ = mean_->prior_weight;
    if (!(structure_adu2 > 0.0)) return;
    bump_px_ = bump_radius_fwhm * fwhm_px;
    const int most = static_cast<int>(bumps_to_fwhm / bump_step_fwhm);
    for (int j = -most; j <= most; ++j) {
        for (int i = -most; i <= most; ++i) {
            if (std::hypot(i, j) * bump_step_fwhm > bumps_to_fwhm) continue;
            const double step = bump_step_fwhm * fwhm_px;
            bumps_.push_back({place.x + step * i, place.y + step * j});
            prior_weight_.push_back(bump_overlap / structure_adu2);
        }
    }
}

void Surface::fill(Row& row, std::size_t pixel) const {
    fill_mean(mean_->row(pixel), row.column, row.value);
    const frame::PixelPosition place = pixels_->place(pixel);
    for (std::size_t k = 0; k < bumps_.size(); ++k) {
        const double u2 = squared_distance(place, bumps_[k]) / (bump_px_ * bump_px_);
        if (u2 >= 1.0) continue;
        row.column.push_back(mean_->columns + k);
        row.value.push_back((1.0 - u2) * (1.0 - u2));
    }
}

void Surface::solve(numerics::Matrix normal, std::vector<double> right) {
    const std::size_t n = right.size();
    scale_.assign(n, 1.0);
    for (std::size_t a = 0; a < n; ++a) {
        normal(a, a) += prior_weight_[a];
        if (normal(a, a) > 0.0) scale_[a] = 1.0 / std::sqrt(normal(a, a));
    }
    for (std::size_t a = 0; a < n; ++a) {
        right[a] *= scale_[a];
        for (std::size_t b = 0; b <= a; ++b) {
            normal(a, b) *= scale_[a] * scale_[b];
            normal(b, a) = normal(a, b);
        }
        if (!(normal(a, a) > 0.0)) normal(a, a) = 1.0;
    }
    lower_ = numerics::cholesky_lower(normal);
    coefficients_ = numerics::solve_cholesky(lower_, std::move(right));
    for (std::size_t a = 0; a < n; ++a)
        coefficients_[a] *= scale_[a];
}

double Surface::host_adu(std::size_t pixel) const {
    Row row;
    fill(row, pixel);
    double light = 0.0;
    for (std::size_t k = 0; k < row.column.size(); ++k)
        light += row.value[k] * coefficients_[row.column[k]];
    return light;
}

Surface::Known Surface::known(const Footprint& footprint) const {
    std::vector<double> sum(coefficients_.size(), 0.0);
    Row row;
    for (std::size_t f = 0; f < footprint.pixel.size(); ++f) {
        fill(row, footprint.pixel[f]);
        for (std::size_t k = 0; k < row.column.size(); ++k)
            sum[row.column[k]] += footprint.weight[f] * row.value[k];
    }
    Known out;
    std::vector<double> scaled = sum;
    for (std::size_t a = 0; a < sum.size(); ++a) {
        out.host_adu += sum[a] * coefficients_[a];
        scaled[a] *= scale_[a];
    }
    const std::vector<double> x = numerics::solve_cholesky(lower_, std::move(scaled));
    double structure = 0.0;
    for (std::size_t a = 0; a < sum.size(); ++a) {
        const double c = x[a] * scale_[a];
        out.variance_adu2 += sum[a] * c;
        structure += prior_weight_[a] * c * c;
    }
    out.variance_adu2 = std::max(out.variance_adu2, 0.0);
    out.noise_variance_adu2 = std::max(out.variance_adu2 - structure, 0.0);
    return out;
}

}  // namespace emberline::photometry::smooth
