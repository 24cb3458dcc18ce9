// SPDX-License-Identifier: MIT
// Notation: K_n = Σ exp(−(u² + v²)/2σ²) u^p v^q, p + q ≤ degree (Alard & Lupton 1998, section 2).
#include <algorithm>
#include <cmath>

#include "numerics/gaussian.hpp"
#include "photometry/match_kernel.hpp"

namespace emberline::photometry {
namespace {

constexpr double support_sigma = 3.0;  // of the widest Gaussian

std::vector<double> moment_factor(double sigma, int power, int half) {
    std::vector<double> out;
    for (int u = -half; u <= half; ++u)
        out.push_back(std::exp(-0.5 * u * u / (sigma * sigma)) * std::pow(u / sigma, power));
    return out;
}

double total(const std::vector<double>& v) {
    double sum = 0.0;
    for (const double x : v)
        sum += x;
    return sum;
}

// Along rows, then along columns; both boxes shrink.
PixelPlane along_x(const PixelPlane& in, const std::vector<double>& factor, int half) {
    PixelPlane out{{in.box.x0 + half, in.box.y0, in.box.width - 2 * half, in.box.height}, {}};
    const auto width = static_cast<std::size_t>(out.box.width);
    out.v.assign(width * static_cast<std::size_t>(out.box.height), 0.0);
    for (std::size_t y = 0; y < static_cast<std::size_t>(out.box.height); ++y) {
        double* to = out.v.data() + y * width;
        for (int u = -half; u <= half; ++u) {
            const double f = factor[static_cast<std::size_t>(u + half)];
            const double* from = in.v.data() + y * static_cast<std::size_t>(in.box.width) + (half - u);
            for (std::size_t x = 0; f != 0.0 && x < width; ++x)
                to[x] += f * from[x];
        }
    }
    return out;
}

PixelPlane along_y(const PixelPlane& in, const std::vector<double>& factor, int half) {
    PixelPlane out{{in.box.x0, in.box.y0 + half, in.box.width, in.box.height - 2 * half}, {}};
    const auto width = static_cast<std::size_t>(out.box.width);
    out.v.assign(width * static_cast<std::size_t>(out.box.height), 0.0);
    for (std::size_t y = 0; y < static_cast<std::size_t>(out.box.height); ++y) {
        double* to = out.v.data() + y * width;
        for (int u = -half; u <= half; ++u) {
            const double f = factor[static_cast<std::size_t>(u + half)];
            const double* from = in.v.data() + (y + static_cast<std::size_t>(half - u)) * width;
            for (std::size_t x = 0; f != 0.0 && x < width; ++x)
                to[x] += f * from[x];
        }
    }
    return out;
}

}  // namespace

frame::PixelBox grown(const frame::PixelBox& box, int by_px) {
    return {box.x0 - by_px, box.y0 - by_px, box.width + 2 * by_px, box.height + 2 * by_px};
}

PixelPlane convolve(const PixelPlane& plane, const std::vector<double>& kernel, int half) {
    PixelPlane out{grown(plane.box, -half), {}};
    if (out.box.empty()) return {};
    const auto width = static_cast<std::size_t>(out.box.width);
    out.v.assign(width * static_cast<std::size_t>(out.box.height), 0.0);
    for (std::size_t y = 0; y < static_cast<std::size_t>(out.box.height); ++y) {
        double* to = out.v.data() + y * width;
        std::size_t k = 0;
        for (int v = -half; v <= half; ++v) {
            for (int u = -half; u <= half; ++u, ++k) {
                const double f = kernel[k];
                const double* from =
                    plane.v.data() +
                    (y + static_cast<std::size_t>(half - v)) * static_cast<std::size_t>(plane.box.width) +
                    (half - u);
                for (std::size_t x = 0; f != 0.0 && x < width; ++x)
                    to[x] += f * from[x];
            }
        }
    }
    return out;
}

KernelBasis::KernelBasis(const KernelShape& shape) {
    double widest = 0.5;
    for (const double sigma : shape.sigma_px)
        widest = std::max(widest, sigma);
    half_ = std::max(2, static_cast<int>(std::ceil(support_sigma * widest)));
    const auto add = [&](std::size_t along, std::size_t across) { products_.emplace_back(along, across); };
    // First the function that carries the light, then the single pixel, then the rest.
    factors_.push_back(moment_factor(shape.sigma_px[shape.main], 0, half_));
    factors_.emplace_back(static_cast<std::size_t>(2 * half_ + 1), 0.0);
    factors_.back()[static_cast<std::size_t>(half_)] = 1.0;
    add(0, 0);
    add(1, 1);
    for (std::size_t g = 0; g < shape.sigma_px.size(); ++g) {
        const std::size_t first = factors_.size();
        for (int p = 0; p <= shape.degree[g]; ++p)
            factors_.push_back(moment_factor(shape.sigma_px[g], p, half_));
        for (int p = 0; p <= shape.degree[g]; ++p) {
            for (int q = 0; p + q <= shape.degree[g]; ++q) {
                if (g == shape.main && p + q == 0) continue;
                add(first + static_cast<std::size_t>(p), first + static_cast<std::size_t>(q));
            }
        }
    }
    const auto side = static_cast<std::size_t>(2 * half_ + 1);
    for (const auto& [along, across] : products_) {
        std::vector<double> k(side * side);
        for (std::size_t v = 0; v < side; ++v) {
            for (std::size_t u = 0; u < side; ++u)
                k[v * side + u] = factors_[along][u] * factors_[across][v];
        }
        const double sum = total(k);
        double length = sum;
        if (!functions_.empty()) {
            double square = 0.0;
            for (std::size_t i = 0; i < k.size(); ++i) {
                k[i] -= sum * functions_.front()[i];
                square += k[i] * k[i];
            }
            length = std::sqrt(square);
        }
        for (double& value : k)
            value /= length;
        of_main_.push_back(functions_.empty() ? 0.0 : sum);
        length_.push_back(length);
        functions_.push_back(std::move(k));
    }
}

std::vector<double> KernelBasis::sum(const std::vector<double>& coefficients) const {
    std::vector<double> k(functions_.front().size(), 0.0);
    for (std::size_t n = 0; n < functions_.size(); ++n) {
        for (std::size_t i = 0; i < k.size(); ++i)
            k[i] += coefficients[n] * functions_[n][i];
    }
    return k;
}

std::vector<PixelPlane> KernelBasis::convolve_all(const PixelPlane& plane) const {
    std::vector<PixelPlane> rows(factors_.size());
    std::vector<PixelPlane> out;
    for (std::size_t n = 0; n < products_.size(); ++n) {
        const auto& [along, across] = products_[n];
        if (rows[along].v.empty()) rows[along] = along_x(plane, factors_[along], half_);
        PixelPlane c = along_y(rows[along], factors_[across], half_);
        for (std::size_t i = 0; i < c.v.size(); ++i) {
            const double main = n == 0 ? 0.0 : out.front().v[i];
            c.v[i] = (c.v[i] - of_main_[n] * main) / length_[n];
        }
        out.push_back(std::move(c));
    }
    return out;
}

KernelShape kernel_shape(double reference_fwhm_px, double image_fwhm_px, std::size_t stars, int most_half) {
    const double a = reference_fwhm_px / numerics::fwhm_per_sigma,
                 b = image_fwhm_px / numerics::fwhm_per_sigma;
    // Between alike images the kernel only reshapes: on the scale of the stars themselves.
    const double match = std::max({std::sqrt(std::abs(b * b - a * a)), 0.35 * std::max(a, b), 0.7});
    KernelShape shape;
    shape.sigma_px = {std::max(0.5 * match, 0.5), match, 1.8 * match};
    const double widest = most_half / support_sigma;
    for (double& sigma : shape.sigma_px)
        sigma = std::min(sigma, widest);
    shape.main = 1;
    if (stars >= 8) {
        shape.degree = {6, 4, 2};
    } else if (stars >= 4) {
        shape.degree = {4, 2, 2};
    } else if (stars >= 2) {
        shape.degree = {2, 2, 0};
    } else {
        shape.degree = {2, 0, 0};
    }
    return shape;
}

}  // namespace emberline::photometry
