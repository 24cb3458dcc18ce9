// SPDX-License-Identifier: MIT
// Notation: I light above sky, w Gaussian window of sigma s_w, star of sigma s. The windowed mean follows a
// star by s_w²/(s_w² + s²) of its distance from the window's centre: the step divides by that.
#include "stars/centroid.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "numerics/gaussian.hpp"
#include "numerics/robust.hpp"

namespace emberline::stars {
namespace {

constexpr double converged_px = 2e-4;
constexpr int most_iterations = 40;
constexpr int window_settles = 3;  // iterations after which its width stays
constexpr double least_signal_to_noise = 3.0;
constexpr double window_reach_sigma = 3.5;
constexpr double most_undefined = 0.2;  // of the window's weight
// A window narrower than this is itself undersampled: the centroid of a star of FWHM 1.8 px would follow the
// pixel grid by 0.01 px instead of 0.002.
constexpr double narrowest_window_px = 1.4;
constexpr double narrowest_star_px = 0.55;
// Errors of a faint star's centroid grow beyond the first order, by sqrt(1 + (this / signal-to-noise)²):
// measured on simulated stars, 4 to 15 times their noise, of 1.8 to 8 px.
constexpr double second_order = 3.5;
constexpr int border_px = 2;
// A pixel this far above the median of its eight neighbours is no star, nor are two or three in a row: even
// at a FWHM of 1.5 px a centred peak has neighbours of 0.3 and 0.1 of it.
constexpr double lonely_ratio = 0.1;
constexpr double lonely_sigma = 6.0;

Problem no_star(std::string why) {
    return {.what = std::move(why), .where = "centroid", .mend = "Check that a star is there."};
}

struct BorderSky {
    double level = 0.0, sigma = 0.0;  // ADU; of one pixel
};

BorderSky border_sky(const frame::Cutout& cutout) {
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
    Window(const frame::Cutout& cutout, const BorderSky& sky, const frame::PixelPosition& centre,
           double reach_px)
        : box_(around(centre, reach_px).shared(cutout.box)), light_(box_.pixels()) {
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
    [[nodiscard]] double at(int x, int y) const { return light_[box_.index(x, y)]; }

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
    static frame::PixelBox around(const frame::PixelPosition& centre, double reach_px) {
        const int half = static_cast<int>(std::ceil(reach_px));
        return {static_cast<int>(std::lround(centre.x)) - half,
                static_cast<int>(std::lround(centre.y)) - half, 2 * half + 1, 2 * half + 1};
    }
    static bool lonely(const frame::Cutout& cutout, const BorderSky& sky, int x, int y) {
        const double own = static_cast<double>(cutout.at(x, y)) - sky.level;
        if (own < lonely_sigma * sky.sigma) return false;
        std::array<double, 8> around{};
        around.fill(std::numeric_limits<double>::infinity());
        std::size_t n = 0;
        for (int v = y - 1; v <= y + 1; ++v) {
            for (int u = x - 1; u <= x + 1; ++u) {
                if ((u == x && v == y) || !cutout.contains(u, v) || !std::isfinite(cutout.at(u, v))) continue;
                around[n++] = static_cast<double>(cutout.at(u, v)) - sky.level;
            }
        }
        if (n < 3) return false;
        std::sort(around.begin(), around.end());  // what is missing lies last
        return 0.5 * (around[(n - 1) / 2] + around[n / 2]) < lonely_ratio * own;
    }
    double& at(int x, int y) { return light_[box_.index(x, y)]; }

    frame::PixelBox box_;
    std::vector<double> light_;
};

bool is_peak(const Window& window, int x, int y, double light) {
    const frame::PixelBox& box = window.box();
    for (int v = std::max(y - 1, box.y0); v <= std::min(y + 1, box.y0 + box.height - 1); ++v) {
        for (int u = std::max(x - 1, box.x0); u <= std::min(x + 1, box.x0 + box.width - 1); ++u) {
            if (window.smooth(u, v) > light) return false;
        }
    }
    return true;
}

// The brightest peak: light that rises on beyond the reach is the wing of somebody else.
frame::PixelPosition brightest_near(const Window& window, const frame::PixelPosition& start,
                                    double reach_px) {
    frame::PixelPosition best = start;
    double most = -std::numeric_limits<double>::infinity();
    const frame::PixelBox& box = window.box();
    const double reach2 = (reach_px + 0.5) * (reach_px + 0.5);
    const int half = static_cast<int>(std::ceil(reach_px + 0.5));
    const int cx = static_cast<int>(std::lround(start.x)), cy = static_cast<int>(std::lround(start.y));
    for (int y = std::max(box.y0, cy - half); y <= std::min(box.y0 + box.height - 1, cy + half); ++y) {
        for (int x = std::max(box.x0, cx - half); x <= std::min(box.x0 + box.width - 1, cx + half); ++x) {
            const double u = x - start.x, v = y - start.y;
            if (u * u + v * v > reach2) continue;
            const double light = window.smooth(x, y);
            if (light <= most || !is_peak(window, x, y, light)) continue;
            most = light;
            best = {static_cast<double>(x), static_cast<double>(y)};
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

// What a round Gaussian star would have there: stands in for undefined pixels, or the centroid would flee
// them.
struct Standin {
    double peak = 0.0, sigma_px = 1.0;
    [[nodiscard]] double at(double distance2) const {
        return peak * std::exp(-0.5 * distance2 / (sigma_px * sigma_px));
    }
};

// A Gaussian is the product of one along rows and one along columns: `across` holds the latter.
Moments windowed(const Window& window, const frame::PixelPosition& centre, double sigma_px,
                 const BorderSky& sky, double gain, const Standin& standin, std::vector<double>& across) {
    Moments m;
    const double reach = window_reach_sigma * sigma_px;
    double weights = 0.0, lost = 0.0, wx = 0.0, wy = 0.0, wr = 0.0;
    const frame::PixelBox& box = window.box();
    const int x_first = std::max(box.x0, static_cast<int>(std::ceil(centre.x - reach)));
    const int x_last = std::min(box.x0 + box.width - 1, static_cast<int>(std::floor(centre.x + reach)));
    const int y_first = std::max(box.y0, static_cast<int>(std::ceil(centre.y - reach)));
    const int y_last = std::min(box.y0 + box.height - 1, static_cast<int>(std::floor(centre.y + reach)));
    const auto weight_at = [&](double d) { return std::exp(-0.5 * d * d / (sigma_px * sigma_px)); };
    across.clear();
    for (int x = x_first; x <= x_last; ++x)
        across.push_back(weight_at(x - centre.x));
    for (int y = y_first; y <= y_last; ++y) {
        const double dy = y - centre.y, along = weight_at(dy);
        for (int x = x_first; x <= x_last; ++x) {
            const double dx = x - centre.x;
            const double w = along * across[static_cast<std::size_t>(x - x_first)];
            double light = window.at(x, y);
            weights += w;
            if (!std::isfinite(light)) {
                lost += w;
                light = standin.at(dx * dx + dy * dy);
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

// A wide search looks at many places, and the highest of n noise peaks grows as sqrt(2 ln n).
double chance_ratio(double reach_px, double sigma_px) {
    const double places = 1.0 + std::pow(reach_px / sigma_px, 2);
    return std::sqrt(least_signal_to_noise * least_signal_to_noise + 2.0 * std::log(places));
}

}  // namespace

Result<Centroid> measure_centroid(const frame::Cutout& cutout, const frame::PixelPosition& start,
                                  double fwhm_guess_px, double most_shift_px, double gain_e_per_adu) {
    if (cutout.box.empty() || cutout.adu.empty()) return fail(no_star("There are no pixels to look at."));
    const frame::PixelBox& box = cutout.box;
    const bool inside = start.x > box.x0 - 1.0 && start.x < box.x0 + box.width && start.y > box.y0 - 1.0 &&
                        start.y < box.y0 + box.height;
    if (!inside) return fail(no_star("The star lies outside its cut-out."));
    const double largest = box.width + box.height;
    const bool sensible = fwhm_guess_px > 0.0 && fwhm_guess_px < largest && most_shift_px >= 0.0 &&
                          most_shift_px < largest && gain_e_per_adu > 0.0;
    if (!sensible) return fail(no_star("The star's width, the search or the gain makes no sense."));

    const BorderSky sky = border_sky(cutout);
    double sigma = std::max(fwhm_guess_px / numerics::fwhm_per_sigma, narrowest_window_px);
    const Window window(cutout, sky, start, most_shift_px + window_reach_sigma * 2.0 * sigma + 2.0);
    frame::PixelPosition centre = brightest_near(window, start, most_shift_px);
    const double widest = 3.0 * sigma;
    double star_sigma = sigma, slope = 0.5;
    Moments m;
    Standin standin;
    std::vector<double> across;
    for (int k = 0; k < most_iterations; ++k) {
        m = windowed(window, centre, sigma, sky, gain_e_per_adu, standin, across);
        if (m.undefined > most_undefined)
            return fail(no_star("Too many undefined pixels lie under the star."));
        if (!(m.sum > least_signal_to_noise * std::sqrt(m.sum_variance)))
            return fail(no_star("No star stands out of the noise there."));
        // 1/s² of the product = 1/s_w² + 1/s²; the pixel's own width of 1/12 px² is part of what is seen.
        const double left = 1.0 / std::max(m.square, 1e-3) - 1.0 / (sigma * sigma);
        star_sigma = left > 0.0 ? std::clamp(1.0 / std::sqrt(left), narrowest_star_px, widest) : widest;
        slope = sigma * sigma / (sigma * sigma + star_sigma * star_sigma);
        standin = {m.sum / (2.0 * std::numbers::pi * star_sigma * star_sigma * slope), star_sigma};
        const double step_x = std::clamp(m.x / slope, -1.0, 1.0);
        const double step_y = std::clamp(m.y / slope, -1.0, 1.0);
        centre.x += step_x;
        centre.y += step_y;
        if (std::hypot(centre.x - start.x, centre.y - start.y) > most_shift_px + 0.5)
            return fail(no_star("The nearest light is too far from the star's place."));
        if (k >= window_settles && std::hypot(step_x, step_y) < converged_px) break;
        // The window follows the star, then stays.
        if (k < window_settles) sigma = std::clamp(star_sigma, narrowest_window_px, widest);
    }
    const double ratio = m.sum / std::sqrt(m.sum_variance);
    if (ratio < chance_ratio(most_shift_px, sigma))
        return fail(no_star("What stands out there is within what noise does in so wide a search."));
    const double err_factor = std::hypot(1.0, second_order / ratio) / (m.sum * slope);
    Centroid out;
    out.position = centre;
    out.x_err_px = std::sqrt(m.x_variance) * err_factor;
    out.y_err_px = std::sqrt(m.y_variance) * err_factor;
    out.fwhm_px = numerics::fwhm_per_sigma * star_sigma;
    out.peak_adu = m.peak;
    return out;
}

}  // namespace emberline::stars
