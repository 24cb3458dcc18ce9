// SPDX-License-Identifier: MIT
// Notation: z host light missed; τ level of the faintest frames, s its noise; D the fall from the brightest.
#include "photometry/scene_zero.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace emberline::photometry {
namespace {

// The mean of all frames whose light agrees with the extreme one. `sign`: −1 for the faintest.
SceneLight level(const std::vector<SceneLight>& lights, double sign) {
    const auto surely = [sign](const SceneLight& l) { return sign * l.light - 2.0 * l.err; };
    const SceneLight end =
        *std::max_element(lights.begin(), lights.end(),
                          [&](const SceneLight& a, const SceneLight& b) { return surely(a) < surely(b); });
    double weight = 0.0, sum = 0.0;
    for (const SceneLight& l : lights) {
        if (std::abs(l.light - end.light) > 2.0 * std::hypot(l.err, end.err)) continue;
        weight += 1.0 / (l.err * l.err);
        sum += l.light / (l.err * l.err);
    }
    return {sum / weight, std::sqrt(1.0 / weight)};
}

}  // namespace

std::optional<ZeroShift> zero_by_fade(const std::vector<SceneLight>& lights, double common_err) {
    if (lights.size() < 2 || !(common_err > 0.0) || !std::isfinite(common_err)) return std::nullopt;
    for (const SceneLight& l : lights) {
        if (!std::isfinite(l.light) || !(l.err > 0.0) || !std::isfinite(l.err)) return std::nullopt;
    }
    const SceneLight faint = level(lights, -1.0), bright = level(lights, 1.0);
    const double fall = bright.light - faint.light;
    if (!(fall > 5.0 * std::hypot(faint.err, bright.err))) return std::nullopt;
    const double s = faint.err;
    constexpr int steps = 4000;
    // From where light would be far above zero to where the host would hold far more than there is.
    const double low = std::min(-6.0 * common_err, faint.light - 6.0 * s);
    const double high = faint.light + 6.0 * s;
    if (!(high > low)) return std::nullopt;
    double norm = 0.0, first = 0.0, second = 0.0;
    for (int i = 0; i <= steps; ++i) {
        const double z = low + (high - low) * i / steps;
        const double x = z / common_err, y = (faint.light - z) / s;
        const double none = std::exp(-0.5 * y * y) / (s * std::sqrt(2.0 * std::numbers::pi));
        const double some = 0.5 * std::erfc(-y / std::numbers::sqrt2) / fall;
        const double p = std::exp(-0.5 * x * x) * (0.5 * none + 0.5 * some);
        norm += p;
        first += p * z;
        second += p * z * z;
    }
    if (!(norm > 0.0)) return std::nullopt;
    const double mean = first / norm;
    return ZeroShift{mean, std::sqrt(std::max(second / norm - mean * mean, 0.0))};
}

}  // namespace emberline::photometry
