// SPDX-License-Identifier: MIT
// Notation: β, α of the profile; q = r²/α² on the ellipse, so that every contour is one value of q.
#include "rehearsal/moffat.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "rehearsal/blur_table.hpp"

namespace emberline::rehearsal {
namespace {

// Gauss–Legendre nodes and weights on a pixel of width 1 about 0. Two points a side are exact for cubics,
// four for polynomials of degree seven (Abramowitz & Stegun 1964, table 25.4).
struct Node {
    double at, weight;
};
constexpr std::array<Node, 2> two = {{{-0.28867513459481287, 0.5}, {0.28867513459481287, 0.5}}};
constexpr std::array<Node, 4> four = {{{-0.43056815579702629, 0.17392742256872693},
                                       {-0.16999052179242813, 0.32607257743127307},
                                       {0.16999052179242813, 0.32607257743127307},
                                       {0.43056815579702629, 0.17392742256872693}}};

// In full widths from the centre: inside the first the profile bends within a pixel; beyond the second, and
// some pixels, the middle of a pixel stands for all of it to 2/r² of itself, r in pixels.
constexpr double bends_fwhm = 2.0;
constexpr double straight_fwhm = 5.0;
constexpr double straight_px = 15.0;
// Wide wings (small β) end here, whatever is left: farther than any sky annulus.
constexpr double widest_fwhm = 40.0;
// A blurred image is tabulated so finely that cubic interpolation errs by 1e-4 of its peak.
constexpr double points_a_fwhm = 12.5, finest_step_px = 0.1, widest_step_px = 0.5;

}  // namespace

Moffat::Moffat(const PointSpread& spread) : beta_(spread.moffat_beta) {
    // FWHM = 2 α sqrt(2^(1/β) − 1)
    const double alpha_per_fwhm = 0.5 / std::sqrt(std::pow(2.0, 1.0 / beta_) - 1.0);
    const double alpha = spread.fwhm_px * alpha_per_fwhm;
    const double root = std::sqrt(spread.elongation);
    const double long_2 = 1.0 / (alpha * alpha * root * root);
    const double short_2 = root * root / (alpha * alpha);
    const double angle = spread.direction_deg * std::numbers::pi / 180.0;
    const double c = std::cos(angle);
    const double s = std::sin(angle);
    xx_ = c * c * long_2 + s * s * short_2;
    yy_ = s * s * long_2 + c * c * short_2;
    xy_ = c * s * (long_2 - short_2);
    peak_ = (beta_ - 1.0) / (std::numbers::pi * alpha * alpha);
    fwhm_squared_ = 1.0 / (alpha_per_fwhm * alpha_per_fwhm);
    last_ =
        std::min(std::pow(left_out, -1.0 / (beta_ - 1.0)) - 1.0, widest_fwhm * widest_fwhm * fwhm_squared_);
    if (spread.defocus_px <= 0.0 && spread.trail_px <= 0.0) return;
    blur_px_ = std::max(0.0, spread.defocus_px) + 0.5 * std::max(0.0, spread.trail_px);
    const double step_px = std::clamp(spread.fwhm_px / root / points_a_fwhm, finest_step_px, widest_step_px);
    blurred_ = std::make_shared<const BlurTable>(
        [this](double dx, double dy) { return elliptical(dx, dy) > last_ ? 0.0 : sharp_over_pixel(dx, dy); },
        Blur{.defocus_px = spread.defocus_px,
             .trail_px = spread.trail_px,
             .trail_direction_deg = spread.trail_direction_deg},
        std::sqrt(last_ / std::min(long_2, short_2)) + blur_px_, step_px);
}

double Moffat::density_at(double q) const {
    return peak_ * std::pow(1.0 + q, -beta_);
}

double Moffat::over_pixel(double dx, double dy) const {
    return blurred_ ? blurred_->at(dx, dy) : sharp_over_pixel(dx, dy);
}

double Moffat::sharp_over_pixel(double dx, double dy) const {
    const double q = elliptical(dx, dy);
    const auto integrate = [&](const auto& nodes) {
        double sum = 0.0;
        for (const Node& y : nodes) {
            for (const Node& x : nodes)
                sum += x.weight * y.weight * density(dx + x.at, dy + y.at);
        }
        return sum;
    };
    // The pixel that holds the centre bends most where the image is narrow, hence the pixel's own half width.
    const double near_q = bends_fwhm * bends_fwhm * fwhm_squared_ + std::max(xx_, yy_);
    if (q < near_q) return integrate(four);
    if (q < straight_fwhm * straight_fwhm * fwhm_squared_ || dx * dx + dy * dy < straight_px * straight_px)
        return integrate(two);
    return density_at(q);
}

void Moffat::add_star(LightMap& map, const frame::PixelPosition& position, double flux_e) const {
    const double determinant = xx_ * yy_ - xy_ * xy_;
    const double reach_x = std::sqrt(last_ * yy_ / determinant) + blur_px_;
    const double reach_y = std::sqrt(last_ * xx_ / determinant) + blur_px_;
    if (!(position.x + reach_x > -1.0 && position.x - reach_x < map.width_px && position.y + reach_y > -1.0 &&
          position.y - reach_y < map.height_px)) {
        return;
    }
    const int x0 = std::max(0, static_cast<int>(std::ceil(position.x - reach_x)));
    const int x1 = std::min(map.width_px - 1, static_cast<int>(std::floor(position.x + reach_x)));
    const int y0 = std::max(0, static_cast<int>(std::ceil(position.y - reach_y)));
    const int y1 = std::min(map.height_px - 1, static_cast<int>(std::floor(position.y + reach_y)));
    for (int y = y0; y <= y1; ++y) {
        const double dy = y - position.y;
        for (int x = x0; x <= x1; ++x) {
            const double dx = x - position.x;
            if (!blurred_ && elliptical(dx, dy) > last_) continue;
            map.e[map.index(x, y)] += flux_e * over_pixel(dx, dy);
        }
    }
}

Moffat::Kernel Moffat::kernel(double x, double y, double fwhms) const {
    const double last = fwhms * fwhms * fwhm_squared_;
    const double determinant = xx_ * yy_ - xy_ * xy_;
    Kernel kernel;
    kernel.reach_x = static_cast<int>(std::ceil(std::sqrt(last * yy_ / determinant) + blur_px_));
    kernel.reach_y = static_cast<int>(std::ceil(std::sqrt(last * xx_ / determinant) + blur_px_));
    double sum = 0.0;
    for (int j = -kernel.reach_y; j <= kernel.reach_y; ++j) {
        for (int i = -kernel.reach_x; i <= kernel.reach_x; ++i) {
            const bool beyond = !blurred_ && elliptical(i - x, j - y) > last;
            const double share = beyond ? 0.0 : over_pixel(i - x, j - y);
            kernel.share.push_back(share);
            sum += share;
        }
    }
    for (double& share : kernel.share)
        share /= sum;
    return kernel;
}

}  // namespace emberline::rehearsal
