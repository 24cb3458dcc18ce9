// SPDX-License-Identifier: MIT
// A few square pixels of sky with stars of known place and light, for tests of centroids, profiles, sky and
// apertures. Independent of the rehearsal, and slower: fine quadrature over each pixel.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "frame/pixels.hpp"
#include "numerics/random.hpp"

namespace emberline::test {

struct SimulatedStar {
    double x = 0.0, y = 0.0;
    double flux_e = 0.0;
    double fwhm_px = 3.0;  // geometric mean of the axes
    double beta = 3.0;
    double elongation = 1.0;
    double direction_deg = 0.0;  // of the long axis, from +x towards +y
};

struct SimulatedSensor {
    double gain_e_per_adu = 1.0;
    double read_noise_e = 5.0;
    double bias_adu = 100.0;
    bool whole_adu = true;
};

class SimulatedPlate {
  public:
    SimulatedPlate(int half_width, double sky_e)
        : box_{-half_width, -half_width, 2 * half_width + 1, 2 * half_width + 1},
          electrons_(box_.pixels(), sky_e) {}

    void add(const SimulatedStar& star) {
        for (int y = box_.y0; y < box_.y0 + box_.height; ++y) {
            for (int x = box_.x0; x < box_.x0 + box_.width; ++x)
                at(x, y) += star.flux_e * share(star, x, y);
        }
    }
    // Per pixel, zero at (0, 0).
    void tilt(double along_x_e, double along_y_e) {
        for (int y = box_.y0; y < box_.y0 + box_.height; ++y) {
            for (int x = box_.x0; x < box_.x0 + box_.width; ++x)
                at(x, y) += along_x_e * x + along_y_e * y;
        }
    }
    [[nodiscard]] double electrons(int x, int y) const { return electrons_[box_.index(x, y)]; }
    // Without noise.
    [[nodiscard]] frame::Cutout expected(const SimulatedSensor& sensor) const {
        frame::Cutout out{box_, {}};
        for (const double e : electrons_)
            out.adu.push_back(static_cast<float>(sensor.bias_adu + e / sensor.gain_e_per_adu));
        return out;
    }
    [[nodiscard]] frame::Cutout expose(const SimulatedSensor& sensor, numerics::Random& random) const {
        frame::Cutout out{box_, {}};
        out.adu.reserve(electrons_.size());
        for (const double e : electrons_) {
            const double seen =
                static_cast<double>(random.poisson(e)) + random.gaussian(0.0, sensor.read_noise_e);
            const double adu = sensor.bias_adu + seen / sensor.gain_e_per_adu;
            out.adu.push_back(static_cast<float>(sensor.whole_adu ? std::round(adu) : adu));
        }
        return out;
    }

  private:
    double& at(int x, int y) { return electrons_[box_.index(x, y)]; }
    // The part of the star's light in one pixel: four Gauss–Legendre points an axis in each of m × m cells.
    static double share(const SimulatedStar& star, int x, int y) {
        constexpr std::array<double, 4> node{-0.8611363115940526, -0.3399810435848563, 0.3399810435848563,
                                             0.8611363115940526};
        constexpr std::array<double, 4> weight{0.3478548451374538, 0.6521451548625461, 0.6521451548625461,
                                               0.3478548451374538};
        const double stretch = std::sqrt(star.elongation);
        const double alpha = 0.5 * star.fwhm_px / std::sqrt(std::exp2(1.0 / star.beta) - 1.0);
        const double turn = star.direction_deg * std::numbers::pi / 180.0;
        const double c = std::cos(turn), s = std::sin(turn);
        const int cells = std::hypot(x - star.x, y - star.y) < 2.0 * star.fwhm_px + 1.0 ? 3 : 1;
        const double half = 0.5 / cells;
        double sum = 0.0;
        for (int i = 0; i < cells * 4; ++i) {
            for (int j = 0; j < cells * 4; ++j) {
                const auto a = static_cast<std::size_t>(i % 4), b = static_cast<std::size_t>(j % 4);
                const double u = x - star.x - 0.5 + half * (2 * (i / 4) + 1 + node[a]);
                const double v = y - star.y - 0.5 + half * (2 * (j / 4) + 1 + node[b]);
                const double along = (c * u + s * v) / (alpha * stretch);
                const double across = (-s * u + c * v) * stretch / alpha;
                sum += weight[a] * weight[b] * std::pow(1.0 + along * along + across * across, -star.beta);
            }
        }
        return sum * half * half * (star.beta - 1.0) / (std::numbers::pi * alpha * alpha);
    }

    frame::PixelBox box_;
    std::vector<double> electrons_;
};

}  // namespace emberline::test
