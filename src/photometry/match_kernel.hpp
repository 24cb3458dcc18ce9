// SPDX-License-Identifier: MIT
// photometry/match_kernel — the convolution that makes stars of one image look like those of another: a sum
// of Gaussians times polynomials, solved from stamps of the stars, each with a constant of sky of its own.
// Source: Alard & Lupton 1998 (ApJ 503, 325); the one basis function that carries all light: Alard 2000
// (A&AS 144, 363).
#pragma once

#include <cstddef>
#include <string>
#include <utility>
#include <vector>

#include "frame/pixels.hpp"
#include "frame/wcs.hpp"
#include "numerics/matrix.hpp"
#include "quantities/problem.hpp"

namespace emberline::photometry {

// Light on a box of pixels, row-major.
struct PixelPlane {
    frame::PixelBox box;
    std::vector<double> v;
};
[[nodiscard]] frame::PixelBox grown(const frame::PixelBox& box, int by_px);

// (K ⊗ T)(x) = Σ K(u) T(x − u), on the pixels where all of it is known: the box shrinks by `half`.
[[nodiscard]] PixelPlane convolve(const PixelPlane& plane, const std::vector<double>& kernel, int half);

struct KernelShape {
    std::vector<double> sigma_px;  // of the Gaussians
    std::vector<int> degree;       // of the polynomial with each
    std::size_t main = 0;          // the Gaussian without polynomial that carries the light
};

// Functions K_0 … K_n−1 on (2 half + 1)² pixels: K_0 sums to 1; the others sum to 0 and have Σ K² = 1. A
// single bright pixel is among them, so that images that are alike already need no blur.
class KernelBasis {
  public:
    explicit KernelBasis(const KernelShape& shape);
    [[nodiscard]] std::size_t size() const { return functions_.size(); }
    [[nodiscard]] int half() const { return half_; }
    [[nodiscard]] const std::vector<std::vector<double>>& functions() const { return functions_; }
    [[nodiscard]] std::vector<double> sum(const std::vector<double>& coefficients) const;
    // C_n = K_n ⊗ plane, all of them.
    [[nodiscard]] std::vector<PixelPlane> convolve_all(const PixelPlane& plane) const;

  private:
    int half_ = 0;
    std::vector<std::vector<double>> factors_;                   // one-dimensional, 2 half + 1 values
    std::vector<std::pair<std::size_t, std::size_t>> products_;  // along x, along y
    std::vector<double> of_main_, length_;                       // K = (product − of_main K_0) / length
    std::vector<std::vector<double>> functions_;
};
// Widths about σ_m² = |σ_image² − σ_reference²|, of fewer degrees where fewer stars shape them.
[[nodiscard]] KernelShape kernel_shape(double reference_fwhm_px, double image_fwhm_px, std::size_t stars,
                                       int most_half);

// One star: `reference` and its variance reach `half` further than `image` on every side. Sky is taken away
// but for a constant.
struct KernelStamp {
    std::string label;
    frame::PixelPosition position;
    PixelPlane reference, reference_variance;
    PixelPlane image, image_variance;
    std::vector<bool> usable;  // of the image's pixels
};

struct KernelOptions {
    double radius_px = 10.0;          // of the stamps
    double expected_sum = 1.0;        // for the variance before there is a kernel
    std::vector<double> correlation;  // of neighbouring reference pixels, (2 reach + 1)²; empty: independent
    double image_correlation = 1.0;   // Σ over lags, of neighbouring image pixels
};

struct MatchKernel {
    int half = 0;
    std::vector<double> values;        // (2 half + 1)²
    double sum = 0.0, sum_err = 0.0;   // light of the image over that of the reference
    std::vector<double> coefficients;  // of the basis
    numerics::Matrix covariance;       // of the coefficients, grown where the stamps are left with more
    std::vector<std::vector<double>> without_one;  // coefficients with each star left out; from 4 stars on
    double chi2 = 0.0;                             // per pixel
    double excess = 0.0;           // rms of what is left beyond noise, over the light, in the cores
    double reference_share = 0.0;  // of the variance: by the reference's noise
    std::vector<std::string> used;
    std::vector<std::string> left_out;  // "126: unlike the others"
    // One sigma of Σ gradient · coefficients.
    [[nodiscard]] double err_along(const std::vector<double>& gradient) const;
};
// The reference's own noise in the normal equations is taken off (it would make the kernel too faint), and
// functions that the stars do not determine are held near 0. Pixels 5 sigma off are left out, and stars
// whose light or shape is unlike the others', at most half of them.
// Problem: no star is left.
[[nodiscard]] Result<MatchKernel> solve_kernel(const std::vector<KernelStamp>& stamps,
                                               const KernelBasis& basis, const KernelOptions& options);

}  // namespace emberline::photometry
