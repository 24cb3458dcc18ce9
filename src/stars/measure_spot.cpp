// SPDX-License-Identifier: MIT
// Notation: k a Gaussian of the stars' width σ at the star's place, of unit sum; F its flux by the matched
// filter, Σ k I / Σ k²; s scatter of a pixel; w the window of moments, a Gaussian of the same width.
// Source: windowed moments and their error as in Bertin & Arnouts (1996), A&AS 117, 393, and later.
#include "stars/measure_spot.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "numerics/gaussian.hpp"
#include "numerics/robust.hpp"
#include "stars/axis_direction.hpp"

namespace emberline::stars {
namespace {

constexpr double ring_inner_fwhm = 2.2, ring_outer_fwhm = 3.6;  // the level about a star, on a galaxy's wing
constexpr std::size_t least_ring_pixels = 12;
constexpr int centring_rounds = 12;
constexpr double centred_px = 1e-3;
// A single pixel has half its filtered flux above the median of its neighbours, a star as much as its shape
// says: nearer to the first than to the second, in ratio, is no star.
constexpr double hot_contrast = 0.5;
constexpr double can_be_told = 0.8;        // stars under 1.3 px are as sharp as single pixels
constexpr double hot_noise = 2.0;          // sigma that the contrast must exceed the limit by
constexpr double second_pixel_chi2 = 4.0;  // that a hit of two pixels must fit better by than one
constexpr double extended_fwhm = 1.6;
constexpr double least_window_px = 1.0;      // pixels sample a narrower one too coarsely for moments
constexpr double shape_significance = 12.0;  // below it shapes are noise

struct Moments {
    double light = 0.0, x = 0.0, y = 0.0;  // Σ w I, and its first moments about the window's middle
    double xx = 0.0, xy = 0.0, yy = 0.0;   // second moments over Σ w I
    double x_noise = 0.0;                  // Σ w² dx² var
};

class Light {
  public:
    Light(const frame::Cutout& cutout, const frame::PixelPosition& peak, const Background& background,
          double gain)
        : cutout_(cutout), gain_(gain) {
        scatter_ = background.scatter(peak.x, peak.y);
        level_ = background.level(peak.x, peak.y);
    }
    [[nodiscard]] double scatter() const { return scatter_; }
    void raise_level(double by) {
        level_ += by;
        // The light of what lies about the star has its own photon noise.
        if (by > 0.0 && gain_ > 0.0) scatter_ = std::hypot(scatter_, std::sqrt(by / gain_));
    }
    // Above sky; NaN off the picture or undefined.
    [[nodiscard]] double at(int x, int y) const {
        if (!cutout_.contains(x, y)) return std::nan("");
        return static_cast<double>(cutout_.at(x, y)) - level_;
    }
    [[nodiscard]] double variance(double light) const {
        return scatter_ * scatter_ + (gain_ > 0.0 ? std::max(light, 0.0) / gain_ : 0.0);
    }
    template <class Function>
    void within(const frame::PixelPosition& centre, double reach_px, const Function& visit) const {
        const int x0 = static_cast<int>(std::ceil(centre.x - reach_px));
        const int x1 = static_cast<int>(std::floor(centre.x + reach_px));
        const int y0 = static_cast<int>(std::ceil(centre.y - reach_px));
        const int y1 = static_cast<int>(std::floor(centre.y + reach_px));
        for (int y = y0; y <= y1; ++y) {
            for (int x = x0; x <= x1; ++x) {
                const double value = at(x, y);
                if (std::isfinite(value)) visit(x - centre.x, y - centre.y, value);
            }
        }
    }

  private:
    const frame::Cutout& cutout_;
    double gain_;
    double level_ = 0.0, scatter_ = 1.0;
};

Moments moments_of(const Light& light, const frame::PixelPosition& centre, double sigma_px) {
    Moments m;
    light.within(centre, 3.5 * sigma_px, [&](double dx, double dy, double value) {
        const double w = std::exp(-0.5 * (dx * dx + dy * dy) / (sigma_px * sigma_px));
        m.light += w * value;
        m.x += w * value * dx;
        m.y += w * value * dy;
        m.xx += w * value * dx * dx;
        m.xy += w * value * dx * dy;
        m.yy += w * value * dy * dy;
        m.x_noise += w * w * 0.5 * (dx * dx + dy * dy) * light.variance(value);
    });
    if (m.light > 0.0) {
        m.xx = m.xx / m.light - std::pow(m.x / m.light, 2);
        m.yy = m.yy / m.light - std::pow(m.y / m.light, 2);
        m.xy = m.xy / m.light - m.x * m.y / (m.light * m.light);
    }
    return m;
}

// Towards where the window holds as much light on every side; for a Gaussian seen through one as wide, each
// step goes half of the way, hence twice as far.
std::optional<frame::PixelPosition> centred(const Light& light, const frame::PixelPosition& start,
                                            double sigma_px, double most_px, double& err_px) {
    frame::PixelPosition at = start;
    for (int round = 0; round < centring_rounds; ++round) {
        const Moments m = moments_of(light, at, sigma_px);
        if (!(m.light > 0.0)) return std::nullopt;
        const double dx = std::clamp(2.0 * m.x / m.light, -1.0, 1.0);
        const double dy = std::clamp(2.0 * m.y / m.light, -1.0, 1.0);
        at = {at.x + dx, at.y + dy};
        err_px = 2.0 * std::sqrt(m.x_noise) / m.light;
        if (std::hypot(at.x - start.x, at.y - start.y) > most_px) return std::nullopt;
        if (std::hypot(dx, dy) < centred_px) break;
    }
    return at;
}

// The Gaussian that, through the window, has these moments: C = (M⁻¹ − 1/σ²)⁻¹.
void take_shape(const Moments& m, double sigma_px, Detection& star) {
    const double determinant = m.xx * m.yy - m.xy * m.xy;
    if (!(determinant > 0.0)) return;
    const double window = 1.0 / (sigma_px * sigma_px);
    const double ixx = m.yy / determinant - window, iyy = m.xx / determinant - window,
                 ixy = -m.xy / determinant;
    const double inner = ixx * iyy - ixy * ixy;
    if (!(inner > 0.0) || !(ixx > 0.0)) {
        // As wide as the window or wider, along one axis at least: what the window shows is all that is
        // known.
        star.fwhm_px = 4.0 * numerics::fwhm_per_sigma * sigma_px;
        const double half = 0.5 * (m.xx - m.yy), middle = 0.5 * (m.xx + m.yy), arm = std::hypot(half, m.xy);
        star.elongation = middle > arm ? std::sqrt((middle + arm) / (middle - arm)) : 10.0;
        star.direction = axis_direction(2.0 * m.xy, m.xx - m.yy);
        return;
    }
    const double cxx = iyy / inner, cyy = ixx / inner, cxy = -ixy / inner;
    const double middle = 0.5 * (cxx + cyy), arm = std::hypot(0.5 * (cxx - cyy), cxy);
    star.fwhm_px = numerics::fwhm_per_sigma * std::pow(cxx * cyy - cxy * cxy, 0.25);
    star.elongation = middle > arm ? std::sqrt((middle + arm) / (middle - arm)) : 10.0;
    star.direction = axis_direction(2.0 * cxy, cxx - cyy);
}

double ring_level(const Light& light, const frame::PixelPosition& centre, double fwhm_px) {
    std::vector<double> ring;
    const double inner = ring_inner_fwhm * fwhm_px, outer = ring_outer_fwhm * fwhm_px;
    light.within(centre, outer, [&](double dx, double dy, double value) {
        const double squared = dx * dx + dy * dy;
        if (squared >= inner * inner && squared <= outer * outer) ring.push_back(value);
    });
    return ring.size() < least_ring_pixels ? 0.0 : numerics::median(std::move(ring));
}

// The height of the highest pixel above the median of its neighbours.
struct Contrast {
    double height = 0.0, value = 0.0;
};
Contrast contrast_at(const Light& light, const frame::PixelPosition& peak) {
    Contrast best;
    bool any = false;
    const int px = static_cast<int>(std::lround(peak.x)), py = static_cast<int>(std::lround(peak.y));
    for (int y = py - 1; y <= py + 1; ++y) {
        for (int x = px - 1; x <= px + 1; ++x) {
            const double value = light.at(x, y);
            if (!std::isfinite(value) || (any && value <= best.value)) continue;
            std::vector<double> around;
            for (int j = -1; j <= 1; ++j) {
                for (int i = -1; i <= 1; ++i) {
                    const double other = light.at(x + i, y + j);
                    if ((i != 0 || j != 0) && std::isfinite(other)) around.push_back(other);
                }
            }
            if (around.empty()) continue;
            best = {value - numerics::median(std::move(around)), value};
            any = true;
        }
    }
    return best;
}

// A pixel's share of a Gaussian's light, its middle (dx, dy) from the star.
double share(double dx, double dy, double sigma_px) {
    const auto along = [&](double d) {
        const double scale = 1.0 / (sigma_px * std::numbers::sqrt2);
        return 0.5 * (std::erf((d + 0.5) * scale) - std::erf((d - 0.5) * scale));
    };
    return along(dx) * along(dy);
}

// … and what a star in a pixel's middle has, of a unit flux: the most that it can.
double star_contrast(double sigma_px) {
    const double side = share(1.0, 0.0, sigma_px), corner = share(1.0, 1.0, sigma_px);
    return share(0.0, 0.0, sigma_px) - 0.5 * (side + corner);
}

// Faint ones: whether the star's shape or one or two lit pixels (a hot one, a cosmic ray) fit the light about
// the peak better, all in their best amounts and with the same noise.
bool fits_a_hit_better(const Light& light, const frame::PixelPosition& centre, double sigma_px) {
    constexpr double reach_px = 2.5;
    double all = 0.0, first = 0.0, second = 0.0, kv = 0.0, kk = 0.0;
    light.within(centre, reach_px, [&](double dx, double dy, double value) {
        const double weight = 1.0 / light.variance(value), k = share(dx, dy, sigma_px);
        const double chi2 = weight * value * value;
        all += chi2;
        kv += weight * k * value;
        kk += weight * k * k;
        if (value > 0.0 && chi2 > first) {
            second = first;
            first = chi2;
        } else if (value > 0.0) {
            second = std::max(second, chi2);
        }
    });
    if (!(kk > 0.0) || !(kv > 0.0)) return false;
    const double star = all - kv * kv / kk;
    return std::min(all - first, all - first - second + second_pixel_chi2) < star;
}

struct Saturated {
    double radius_px = 0.0;
    frame::PixelPosition middle;
};
// Of the saturated pixels that touch each other about the peak.
Saturated saturated_about(const frame::Cutout& cutout, const frame::PixelPosition& peak,
                          double saturation_adu, double reach_px) {
    const frame::PixelBox& box = cutout.box;
    const auto hot = [&](int x, int y) {
        return cutout.contains(x, y) && static_cast<double>(cutout.at(x, y)) >= saturation_adu;
    };
    std::vector<std::pair<int, int>> open;
    std::vector<bool> seen(cutout.adu.size(), false);
    const auto visit = [&](int x, int y) {
        if (!hot(x, y)) return;
        const auto i = box.index(x, y);
        if (seen[i]) return;
        seen[i] = true;
        open.emplace_back(x, y);
    };
    const int reach = static_cast<int>(std::ceil(reach_px));
    const int px = static_cast<int>(std::lround(peak.x)), py = static_cast<int>(std::lround(peak.y));
    for (int y = py - reach; y <= py + reach; ++y) {
        for (int x = px - reach; x <= px + reach; ++x)
            visit(x, y);
    }
    double n = 0.0, sx = 0.0, sy = 0.0;
    while (!open.empty()) {
        const auto [x, y] = open.back();
        open.pop_back();
        n += 1.0;
        sx += x;
        sy += y;
        for (int j = -1; j <= 1; ++j) {
            for (int i = -1; i <= 1; ++i)
                visit(x + i, y + j);
        }
    }
    if (!(n > 0.0)) return {};
    return {std::sqrt(n / std::numbers::pi) + 0.5, {sx / n, sy / n}};
}

}  // namespace

int SpotSettings::half_px() const {
    return static_cast<int>(std::ceil(ring_outer_fwhm * fwhm_px)) + 3;
}

Spot measure_spot(const frame::Cutout& cutout, const frame::PixelPosition& peak, const Background& background,
                  const frame::PixelBox& picture, const SpotSettings& settings) {
    Spot spot;
    Light light(cutout, peak, background, settings.gain_e_per_adu);
    const double sigma = settings.fwhm_px / numerics::fwhm_per_sigma;
    light.raise_level(ring_level(light, peak, settings.fwhm_px));
    const Saturated saturated =
        saturated_about(cutout, peak, settings.saturation_adu, 0.5 * settings.fwhm_px);
    Detection& star = spot.star;
    frame::PixelPosition start = peak;
    if (saturated.radius_px > 0.0) start = saturated.middle;
    const auto centre = centred(light, start, std::max(sigma, saturated.radius_px),
                                std::max(1.5, settings.fwhm_px) + saturated.radius_px, star.err_px);
    if (!centre) return spot;
    star.position = *centre;

    // Pixel by pixel at the star's own place: Σ k I, Σ k² and what photons add.
    double ki = 0.0, kk = 0.0, photons = 0.0;
    std::size_t defined = 0;
    light.within(star.position, 3.0 * sigma + 1.0, [&](double dx, double dy, double value) {
        const double k = share(dx, dy, sigma);
        ki += k * value;
        kk += k * k;
        photons += k * k * (light.variance(value) - light.variance(0.0));
        ++defined;
    });
    const double whole = std::numbers::pi * std::pow(3.0 * sigma + 1.0, 2);
    if (!(kk > 0.0) || static_cast<double>(defined) < 0.5 * whole) return spot;
    const double sky_noise = settings.noise_factor * light.scatter();
    star.flux_adu = ki / kk;
    star.flux_err_adu = std::sqrt(sky_noise * sky_noise / kk + photons / (kk * kk));
    star.significance = star.flux_adu * std::sqrt(kk) / sky_noise;
    if (!(star.significance >= settings.threshold_sigma)) return spot;

    const Contrast contrast = contrast_at(light, peak);
    star.peak_adu = contrast.value;
    star.saturated = saturated.radius_px > 0.0;
    spot.saturated_radius_px = saturated.radius_px;
    const double of_star = star_contrast(sigma);
    const double limit = std::sqrt(of_star * hot_contrast) * star.flux_adu;
    const double doubt = hot_noise * std::sqrt(1.3 * light.variance(contrast.value));
    if (of_star < can_be_told * hot_contrast && !star.saturated &&
        (contrast.height > limit + doubt || fits_a_hit_better(light, star.position, sigma))) {
        spot.kind = Spot::Kind::hot;
        return spot;
    }
    const double window = std::max(sigma, least_window_px);
    const Moments shape = moments_of(light, star.position, window);
    star.fwhm_px = settings.fwhm_px;
    if (star.significance >= shape_significance && shape.light > 0.0) take_shape(shape, window, star);
    star.extended = !star.saturated && star.fwhm_px > extended_fwhm * settings.fwhm_px;
    const double margin = 2.0 * settings.fwhm_px;
    star.edge = star.position.x < picture.x0 + margin || star.position.y < picture.y0 + margin ||
                star.position.x > picture.x0 + picture.width - 1 - margin ||
                star.position.y > picture.y0 + picture.height - 1 - margin;
    star.err_px *= settings.noise_factor;
    spot.kind = Spot::Kind::star;
    return spot;
}

std::optional<double> first_fwhm_px(const frame::Cutout& cutout, const frame::PixelPosition& peak,
                                    const Background& background, double saturation_adu) {
    constexpr double most_share = 0.6, most_share_of_two = 0.8;  // of 3 × 3 pixels' light: no star is sharper
    constexpr int rounds = 20;
    const Light light(cutout, peak, background, 0.0);
    if (saturated_about(cutout, peak, saturation_adu, 3.0).radius_px > 0.0) return std::nullopt;
    const int px = static_cast<int>(std::lround(peak.x)), py = static_cast<int>(std::lround(peak.y));
    double highest = 0.0, second = 0.0, sum = 0.0;
    for (int y = py - 1; y <= py + 1; ++y) {
        for (int x = px - 1; x <= px + 1; ++x) {
            const double value = light.at(x, y);
            if (!std::isfinite(value)) return std::nullopt;
            second = std::max(second, std::min(highest, value));
            highest = std::max(highest, value);
            sum += value;
        }
    }
    if (!(sum > 0.0) || highest > most_share * sum || highest + second > most_share_of_two * sum)
        return std::nullopt;
    frame::PixelPosition at = peak;
    double sigma = 1.7;
    for (int round = 0; round < rounds; ++round) {
        const double window = std::max(sigma, least_window_px);
        double err = 0.0;
        const auto centre = centred(light, at, window, 4.0, err);
        if (!centre) return std::nullopt;
        at = *centre;
        const Moments m = moments_of(light, at, window);
        const double squared = 0.5 * (m.xx + m.yy);  // through the window: below its own
        if (!(m.light > 0.0) || !(squared > 0.0)) return std::nullopt;
        const double inverse = 1.0 / squared - 1.0 / (window * window);
        const double next = inverse > 0.0 ? std::clamp(std::sqrt(1.0 / inverse), 0.3, 8.0) : 8.0;
        const double step = std::clamp(next / sigma, 0.5, 2.0);
        sigma *= step;
        if (std::abs(step - 1.0) < 1e-3) break;
    }
    return sigma >= 8.0 ? std::nullopt : std::optional<double>(numerics::fwhm_per_sigma * sigma);
}

}  // namespace emberline::stars
