// SPDX-License-Identifier: MIT
// standard/zero_point_design — how well a set of stars would pin the zero point at the transient, before
// anything is measured: the covariance of a linear model, updated star by star. Private to this room.
// Model of a star's residual: z + p x + q y + T c, with x, y its offset over the field's radius and c its
// colour less the transient's. Priors: z none to speak of; the tilts p, q and the term T as unknown as they
// are in a frame that was flattened and an instrument with filters.
#pragma once

#include <array>
#include <cstddef>

namespace emberline::standard {

class ZeroPointDesign {
  public:
    struct Place {
        double x = 0.0, y = 0.0, c = 0.0;
        double variance = 0.0;  // mag²
    };

    // Variance of the transient's magnitude, mean over its colours.
    [[nodiscard]] double variance() const { return mean_variance(covariance_); }
    [[nodiscard]] double variance_with(const Place& star) const { return mean_variance(updated(star)); }
    void add(const Place& star) { covariance_ = updated(star); }

  private:
    static constexpr std::size_t n = 4;
    using Covariance = std::array<std::array<double, n>, n>;

    // common practice, no source: what is left of vignetting across a field, of a colour term, and how far a
    // supernova's colour goes from what is expected.
    static constexpr double zero_point_mag = 10.0, tilt_mag = 0.02, colour_term = 0.1;
    static constexpr double transient_colour_sd = 0.3;

    static double mean_variance(const Covariance& p) {
        return p[0][0] + transient_colour_sd * transient_colour_sd * p[3][3];
    }

    // Sherman & Morrison's update of an inverse by one observation.
    [[nodiscard]] Covariance updated(const Place& star) const {
        const std::array<double, n> row{1.0, star.x, star.y, star.c};
        std::array<double, n> gain{};
        double total = star.variance;
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j)
                gain[i] += covariance_[i][j] * row[j];
            total += row[i] * gain[i];
        }
        Covariance p = covariance_;
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j)
                p[i][j] -= gain[i] * gain[j] / total;
        }
        return p;
    }

    Covariance covariance_{{{zero_point_mag * zero_point_mag, 0.0, 0.0, 0.0},
                            {0.0, tilt_mag* tilt_mag, 0.0, 0.0},
                            {0.0, 0.0, tilt_mag* tilt_mag, 0.0},
                            {0.0, 0.0, 0.0, colour_term* colour_term}}};
};

}  // namespace emberline::standard
