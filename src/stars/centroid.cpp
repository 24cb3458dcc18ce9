// SPDX-License-Identifier: MIT
// Notation: I light above sky, w Gaussian window of sigma s_w. The step of a windowed centroid is
// 2 Σ w I (x − x_c) / Σ w I, exact where the window has the star's width.
#include "stars/centroid.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "numerics/robust.hpp"

namespace emberline::stars {
namespace {

constexpr double fwhm_over_sigma = 2.3548200450309493;
constexpr double converged_px = 2e-4;
constexpr int most_iterations = 40;
constexpr double least_signal_to_noise = 4.0;
constexpr double window_reach_sigma = 3.5;
constexpr double most_undefined = 0.1;  // of the window's weight
constexpr int border_px = 2;
// One pixel this far above the mean of its four neighbours is no star, even at a FWHM of 1.8 px where the
// neighbours of a centred peak have 0.43 of it.
constexpr double lonely_ratio = 0.12;
constexpr double lonely_sigma = 6.0;

Problem no_star(std::string why) {
    return {.what = std::move(why), .where = "centroid", .mend = "Check that a star is there."};
}

struct Background {
    double level = 0.0, sigma = 0.0;
};

Background border_sky(const frame::Cutout& cutout) {
    std::vector<double> values;
    const frame::PixelBox& box = cutout.box;
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        const bool edge_row = y < box.y0 + border_px || y >= box.y0 + box.height - border_px;
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const bool edge_column = x < box.x0 + border_px || x >= box.x0 + box.width - border_px;
            if (!edge_row && !edge_column) {
                x = box.x0 + box.width - border_px - 1;
                continue;
            }
            const float v = cutout.at(x, y);
            if (std::isfinite(v)) values.push_back(static_cast<double>(v));
        }
    }
    const numerics::ClippedMean mean = numerics::clipped_mean(values, 3.0, 2.5);
    return {mean.mean, mean.sigma};
}

// The light above sky in the part that is searched; hot pixels undefined.
class Window {
  public:
    Window(const frame::Cutout& cutout, const Background& sky, const frame::PixelPosition& centre,
           double reach_px)
        : box_(around(centre, reach_px).inside_of(cutout.box)), light_(size()) {
        for (int y = box_.y0; y < box_.y0 + box_.height; ++y) {
            for (int x = box_.x0; x < box_.x0 + box_.width; ++x) {
                const float raw = cutout.at(x, y);
                at(x, y) = std::isfinite(raw) && !lonely(cutout, sky, x, y)
                               ? static_cast<double>(raw) - sky.level
                               : std::numeric_limits<double>::quiet_NaN();
            }
        }
    }
    [[nodiscard]] const frame::PixelBox& box() const { return box_; }
    [[nodiscard]] double at(int x, int y) const { return light_[index(x, y)]; }

    // Mean of the defined pixels of the 3 × 3 block, the kernel of the coarse search.
    [[nodiscard]] double smooth(int x, int y) const {
        double sum = 0.0;
        int n = 0;
        for (int v = std::max(y - 1, box_.y0); v <= std::min(y + 1, box_.y0 + box_.height - 1); ++v) {
            for (int u = std::max(x - 1, box_.x0); u <= std::min(x + 1, box_.x0 + box_.width - 1); ++u) {
                if (std::isfinite(at(u, v))) {
                    sum += at(u, v);
                    ++n;
                }
            }
        }
        return n > 0 ? sum / n : -std::numeric_limits<double>::infinity();
    }

  private:
    struct Around {
        frame::PixelBox box;
        [[nodiscard]] frame::PixelBox inside_of(const frame::PixelBox& outer) const {
            frame::PixelBox shifted{box.x0 - outer.x0, box.y0 - outer.y0, box.width, box.height};
            frame::PixelBox inner = shifted.inside(outer.width, outer.height);
            inner.x0 += outer.x0;
            inner.y0 += outer.y0;
            return inner;
        }
    };
    static Around around(const frame::PixelPosition& centre, double reach_px) {
        const int half = static_cast<int>(std::ceil(reach_px));
        return {{static_cast<int>(std::lround(centre.x)) - half,
                 static_cast<int>(std::lround(centre.y)) - half, 2 * half + 1, 2 * half + 1}};
    }
    static bool lonely(const frame::Cutout& cutout, const Background& sky, int x, int y) {
        const double own = static_cast<double>(cutout.at(x, y)) - sky.level;
        if (own < lonely_sigma * sky.sigma) return false;
        double sum = 0.0;
        int n = 0;
        constexpr int steps[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
        for (const auto& step : steps) {
            if (!cutout.contains(x + step[0], y + step[1])) continue;
            const float v = cutout.at(x + step[0], y + step[1]);
            if (!std::isfinite(v)) continue;
            sum += static_cast<double>(v) - sky.level;
            ++n;
        }
        return n > 0 && sum / n < lonely_ratio * own;
    }
    [[nodiscard]] std::size_t size() const {
        return box_.empty() ? 0
                            : static_cast<std::size_t>(box_.width) * static_cast<std::size_t>(box_.height);
    }
    [[nodiscard]] std::size_t index(int x, int y) const {
        return static_cast<std::size_t>(y - box_.y0) * static_cast<std::size_t>(box_.width) +
               static_cast<std::size_t>(x - box_.x0);
    }
    double& at(int x, int y) { return light_[index(x, y)]; }

    frame::PixelBox box_;
    std::vector<double> light_;
};

frame::PixelPosition brightest_near(const Window& window, const frame::PixelPosition& start,
                                    double reach_px) {
    frame::PixelPosition best = start;
    double most = -std::numeric_limits<double>::infinity();
    const double reach2 = (reach_px + 0.5) * (reach_px + 0.5);
    const frame::PixelBox& box = window.box();
    for (int y = box.y0; y < box.y0 + box.height; ++y) {
        for (int x = box.x0; x < box.x0 + box.width; ++x) {
            const double u = x - start.x, v = y - start.y;
            if (u * u + v * v > reach2) continue;
            const double light = window.smooth(x, y);
            if (light > most) {
                most = light;
                best = {static_cast<double>(x), static_cast<double>(y)};
            }
        }
    }
    return best;
}

struct Moments {
    double sum = 0.0;                           // Σ w I
    double x = 0.0, y = 0.0;                    // Σ w I d / Σ w I
    double square = 0.0;                        // Σ w I d² / Σ w I, of one axis
    double sum_variance = 0.0;                  // of Σ w I
    double x_variance = 0.0, y_variance = 0.0;  // of Σ w I d
    double undefined = 0.0;                     // share of the weight
    double peak = 0.0;
};

Moments windowed(const Window& window, const frame::PixelPosition& centre, double sigma_px,
                 const Background& sky, double gain) {
    Moments m;
    const double reach = window_reach_sigma * sigma_px;
    double weights = 0.0, lost = 0.0, wx = 0.0, wy = 0.0, wr = 0.0;
    const frame::PixelBox& box = window.box();
    const int x_first = std::max(box.x0, static_cast<int>(std::ceil(centre.x - reach)));
    const int x_last = std::min(box.x0 + box.width - 1, static_cast<int>(std::floor(centre.x + reach)));
    const int y_first = std::max(box.y0, static_cast<int>(std::ceil(centre.y - reach)));
    const int y_last = std::min(box.y0 + box.height - 1, static_cast<int>(std::floor(centre.y + reach)));
    for (int y = y_first; y <= y_last; ++y) {
        for (int x = x_first; x <= x_last; ++x) {
            const double dx = x - centre.x, dy = y - centre.y;
            const double w = std::exp(-0.5 * (dx * dx + dy * dy) / (sigma_px * sigma_px));
            const double light = window.at(x, y);
            weights += w;
            if (!std::isfinite(light)) {
                lost += w;
                continue;
            }
            m.sum += w * light;
            wx += w * light * dx;
            wy += w * light * dy;
            wr += w * light * (dx * dx + dy * dy);
            const double variance = sky.sigma * sky.sigma + std::max(light, 0.0) / gain;
            m.sum_variance += w * w * variance;
            m.x_variance += w * w * dx * dx * variance;
            m.y_variance += w * w * dy * dy * variance;
            m.peak = std::max(m.peak, light + sky.level);
        }
    }
    m.undefined = weights > 0.0 ? lost / weights : 1.0;
    if (m.sum > 0.0) {
        m.x = wx / m.sum;
        m.y = wy / m.sum;
        m.square = 0.5 * wr / m.sum;
    }
    return m;
}

}  // namespace

Result<Centroid> measure_centroid(const frame::Cutout& cutout, const frame::PixelPosition& start,
                                  double fwhm_guess_px, double most_shift_px, double gain_e_per_adu) {
    if (cutout.box.empty() || cutout.adu.empty()) return fail(no_star("There are no pixels to look at."));
    const Background sky = border_sky(cutout);
    double sigma = std::max(fwhm_guess_px, 1.0) / fwhm_over_sigma;
    const double reach = most_shift_px + window_reach_sigma * 2.0 * sigma + 2.0;
    const Window window(cutout, sky, start, reach);
    if (window.box().empty()) return fail(no_star("The star lies outside its cut-out."));

    frame::PixelPosition centre = brightest_near(window, start, most_shift_px);
    const double widest = 3.0 * sigma, narrowest = 0.55;
    double star_sigma = sigma;
    Moments m;
    for (int k = 0; k < most_iterations; ++k) {
        m = windowed(window, centre, sigma, sky, gain_e_per_adu);
        if (m.undefined > most_undefined)
            return fail(no_star("Too many undefined pixels lie under the star."));
        if (!(m.sum > 0.0) || m.sum < least_signal_to_noise * std::sqrt(m.sum_variance)) {
            return fail(no_star("No star stands out of the noise there."));
        }
        const double step_x = std::clamp(2.0 * m.x, -1.0, 1.0), step_y = std::clamp(2.0 * m.y, -1.0, 1.0);
        centre.x += step_x;
        centre.y += step_y;
        if (std::hypot(centre.x - start.x, centre.y - start.y) > most_shift_px + 0.5) {
            return fail(no_star("The nearest light is too far from the star's place."));
        }
        // 1/s² = 1/s_w² + 1/s_star²; the pixel's own width of 1/12 px² is part of what is seen.
        const double left = 1.0 / std::max(m.square, 1e-3) - 1.0 / (sigma * sigma);
        star_sigma = left > 0.0 ? std::clamp(1.0 / std::sqrt(left), narrowest, widest) : widest;
        const bool settled = std::hypot(step_x, step_y) < converged_px;
        if (settled && k >= 3) break;
        if (k < 3)
            sigma = std::clamp(star_sigma, narrowest, widest);  // the window follows the star, then stays
    }
    Centroid out;
    out.position = centre;
    // How far the windowed mean follows the star: 1/2 for a window of its width, s_w²/(s_w² + s_star²) in
    // general.
    const double slope = sigma * sigma / (sigma * sigma + star_sigma * star_sigma);
    out.x_err_px = std::sqrt(m.x_variance) / (m.sum * slope);
    out.y_err_px = std::sqrt(m.y_variance) / (m.sum * slope);
    out.fwhm_px = fwhm_over_sigma * star_sigma;
    out.peak_adu = m.peak;
    return out;
}

}  // namespace emberline::stars
