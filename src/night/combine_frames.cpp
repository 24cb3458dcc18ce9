// SPDX-License-Identifier: MIT
// Notation: f a frame's flux on the common zero point, v its variance, w = robust weight / v.
#include "night/combine_frames.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/contamination.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

constexpr double chance_sigma = 2.81;           // one-sided, once in 400
constexpr std::size_t frames_for_outliers = 4;  // fewer cannot tell which of them is wrong
constexpr double same_place_px = 0.5;           // positions nearer than that fall on the same pixels
constexpr int iterations = 6;                   // the expected flux settles in two or three

// An outlier is one among how these frames scatter, and not by their noise alone: where all of them scatter
// more, each would else be called wrong, and the error bar would stay as small as the noise. Never below 1.
double usual_squared_pull(const std::vector<double>& squared_pulls) {
    const double sigma = numerics::mad_to_sigma * std::sqrt(numerics::median(squared_pulls));
    return std::max(1.0, sigma * sigma);
}

}  // namespace

double chi2_in_sigma(double chi2, std::size_t dof) {
    if (dof == 0) return 0.0;
    const double k = static_cast<double>(dof);
    const double spread = std::sqrt(2.0 / (9.0 * k));
    return (std::cbrt(chi2 / k) - (1.0 - spread * spread)) / spread;
}

bool beyond_chance(double chi2, std::size_t dof) {
    return chi2_in_sigma(chi2, dof) > chance_sigma;
}

std::vector<std::size_t> numbered_places(std::span<const frame::PixelPosition> positions) {
    std::vector<frame::PixelPosition> places;
    std::vector<std::size_t> numbers;
    for (const frame::PixelPosition& one : positions) {
        const auto same = std::find_if(places.begin(), places.end(), [&](const frame::PixelPosition& other) {
            return std::hypot(other.x - one.x, other.y - one.y) < same_place_px;
        });
        numbers.push_back(static_cast<std::size_t>(same - places.begin()));
        if (same == places.end()) places.push_back(one);
    }
    return numbers;
}

double shared_place_variance(std::span<const PlacedError> frames) {
    std::vector<double> sums(frames.size(), 0.0);
    double independent = 0.0, shared = 0.0;
    for (const PlacedError& one : frames) {
        independent += one.err * one.err;
        sums[one.place] += one.err;
    }
    for (const double sum : sums)
        shared += sum * sum;
    return std::max(shared - independent, 0.0);
}

CombinedFlux combine_frames(std::span<const StarInFrame> frames) {
    const std::size_t n = frames.size();
    CombinedFlux out;
    std::vector<double> zero_points;
    for (const StarInFrame& frame : frames)
        zero_points.push_back(frame.zero_point_mag);
    out.zero_point_mag = numerics::median(zero_points);

    std::vector<double> scale(n), f(n), variance(n), squared_pull(n), robust(n, 1.0);
    for (std::size_t i = 0; i < n; ++i) {
        scale[i] = flux_ratio(frames[i].zero_point_mag - out.zero_point_mag);
        f[i] = frames[i].flux_e * scale[i];
    }
    const auto variance_at = [&](std::size_t i, double expected) {
        const double own = expected / scale[i];
        const double noise = frames[i].noise.variance_e2(own) * scale[i] * scale[i];
        const double relative =
            std::hypot(frames[i].zero_point_err_mag, frames[i].scatter_mag) / mag_per_relative_flux;
        return noise + std::pow(relative * std::max(expected, 0.0), 2);
    };
    // The median starts it: a cosmic ray in one frame must not.
    out.flux_e.value = numerics::median(f);
    for (int k = 0; k < iterations; ++k) {
        for (std::size_t i = 0; i < n; ++i) {
            variance[i] = variance_at(i, out.flux_e.value);
            squared_pull[i] = std::pow(f[i] - out.flux_e.value, 2) / variance[i];
        }
        if (n >= frames_for_outliers) {
            const double usual = usual_squared_pull(squared_pull);
            for (std::size_t i = 0; i < n; ++i) {
                robust[i] =
                    numerics::contamination_weight(squared_pull[i] / usual, numerics::observation_outliers);
            }
        }
        double sum = 0.0, weights = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            sum += robust[i] / variance[i] * f[i];
            weights += robust[i] / variance[i];
        }
        out.flux_e = {sum / weights, std::sqrt(1.0 / weights)};
    }
    double degrees = -1.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double miss = f[i] - out.flux_e.value;
        out.chi2 += robust[i] * miss * miss / variance[i];
        degrees += robust[i];
        out.share.push_back(robust[i] / variance[i] * out.flux_e.err * out.flux_e.err);
        out.frame_err_e.push_back(std::sqrt(variance[i]) / scale[i]);
        out.frame_dark_err_e.push_back(std::sqrt(variance_at(i, 0.0)) / scale[i]);
    }
    out.dof = degrees >= 0.5 ? static_cast<std::size_t>(std::lround(degrees)) : 0;
    double dark_weight = 0.0;
    for (std::size_t i = 0; i < n; ++i)
        dark_weight += robust[i] / variance_at(i, 0.0);
    out.dark_err_e = std::sqrt(1.0 / dark_weight);
    if (beyond_chance(out.chi2, out.dof)) {
        out.scattered = true;
        const double widened = std::sqrt(out.chi2 / static_cast<double>(out.dof));
        out.flux_e.err *= widened;
        out.dark_err_e *= widened;
    }
    return out;
}

}  // namespace emberline::night
