// SPDX-License-Identifier: MIT
// Notation: a star's residual r = A p + noise + catalogue error, two rows a star; its variance v = e² + s²,
// s the common scatter; weights w = g / v, g near 0 for a mistake. s makes the weighted χ² what it should be
// (Mandel & Paule 1970, Anal. Chem. 42, 1194). The shift asked for is x p = Σ l r with l = w A C xᵀ,
// C = (Aᵀ W A)⁻¹, so its variance is Σ l² v, of which Σ l² e² is the centroids'.
#include "night/plate_shift.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <optional>

#include "numerics/contamination.hpp"
#include "numerics/least_squares.hpp"
#include "numerics/robust.hpp"

namespace emberline::night {
namespace {

constexpr std::size_t stars_for_rotation = 4, stars_for_shear = 8;
// Charts give places to 0.1″ or 0.01 s: common practice, no source. Few stars do not show it.
constexpr double assumed_catalogue_err_arcsec = 0.1;
constexpr double arm_unit_arcsec = 600.0;  // so that the columns are of one size
constexpr int rounds = 30, scatter_steps = 30;
constexpr double scatter_tolerance = 1e-6;
constexpr double agrees = 0.5;                          // weight below which a star is a mistake
constexpr double rayleigh_median = 1.1774100225154747;  // √(2 ln 2): of a distance on two axes of one sigma
constexpr double start_widening = 2.0;
// Of a scatter from so few degrees of freedom: what 68 % of Student's t lie within is 1 + this / ν, to 0.02
// from ν = 3 on (1.20, 1.09, 1.05 for 3, 6, 10 by its tables).
constexpr double student_widening = 0.55;

using Row = std::array<double, 6>;

// Of the residual's east (axis 0) or north (1) at a place; the first `terms` count.
Row row_of(double east_arcsec, double north_arcsec, int axis, int terms) {
    const double u = east_arcsec / arm_unit_arcsec, v = north_arcsec / arm_unit_arcsec;
    if (terms == 4) return axis == 0 ? Row{1.0, 0.0, u, -v} : Row{0.0, 1.0, v, u};
    return axis == 0 ? Row{1.0, 0.0, u, v, 0.0, 0.0} : Row{0.0, 1.0, 0.0, 0.0, u, v};
}

class Fit {
  public:
    Fit(const std::vector<PlateResidual>& stars, int terms) : stars_(stars), terms_(terms) {
        const auto n = stars.size();
        a_ = numerics::Matrix(2 * n, static_cast<std::size_t>(terms));
        for (std::size_t i = 0; i < n; ++i) {
            for (int axis = 0; axis < 2; ++axis) {
                const Row row = row_of(stars[i].east_arcsec, stars[i].north_arcsec, axis, terms);
                for (std::size_t j = 0; j < a_.columns(); ++j)
                    a_(2 * i + static_cast<std::size_t>(axis), j) = row[j];
            }
            y_.push_back(stars[i].off_east_arcsec);
            y_.push_back(stars[i].off_north_arcsec);
        }
        good_.assign(n, 1.0);
        least_scatter2_ = n < stars_for_rotation ? std::pow(assumed_catalogue_err_arcsec, 2) : 0.0;
    }

    // Empty where the stars do not tell the terms: all on one line.
    std::optional<PlateShift> at(double east_arcsec, double north_arcsec) {
        if (!start()) return std::nullopt;
        for (int round = 0; round < rounds; ++round) {
            if (!solve()) return std::nullopt;
            set_scatter();
            set_good();
        }
        if (!solve()) return std::nullopt;
        return result(east_arcsec, north_arcsec);
    }

  private:
    [[nodiscard]] double variance(std::size_t i) const {
        return stars_[i].err_arcsec * stars_[i].err_arcsec + scatter2_;
    }

    // One mistake among few draws the fit to itself and hides: so the start is, of the fits to all and to all
    // but one, the one that the stars lie nearest to. Its scatter is taken too large rather than too small.
    bool start() {
        const std::size_t n = stars_.size();
        const bool spare = 2 * n >= a_.columns() + 6;
        std::optional<double> nearest;
        std::vector<double> best;
        for (std::size_t without = spare ? 0 : n; without <= n; ++without) {
            if (without < n) good_[without] = 0.0;
            const bool solved = solve();
            if (without < n) good_[without] = 1.0;
            if (!solved) continue;
            std::vector<double> away;
            for (std::size_t i = 0; i < n; ++i)
                away.push_back(std::sqrt(square_left(i)));
            const double usual = numerics::median(std::move(away));
            if (nearest && usual >= *nearest) continue;
            nearest = usual;
            best = left_;
        }
        if (!nearest) return false;
        left_ = std::move(best);
        scatter2_ = std::max(least_scatter2_, std::pow(start_widening * *nearest / rayleigh_median, 2));
        set_good();
        return true;
    }

    bool solve() {
        std::vector<double> w;
        for (std::size_t i = 0; i < stars_.size(); ++i)
            w.insert(w.end(), 2, good_[i] / variance(i));
        auto fitted = numerics::linear_fit(a_, y_, w);
        if (!fitted) return false;
        fit_ = std::move(*fitted);
        left_ = y_;
        for (std::size_t k = 0; k < y_.size(); ++k) {
            for (std::size_t j = 0; j < a_.columns(); ++j)
                left_[k] -= a_(k, j) * fit_.parameters[j];
        }
        return true;
    }

    [[nodiscard]] double square_left(std::size_t i) const {
        return left_[2 * i] * left_[2 * i] + left_[2 * i + 1] * left_[2 * i + 1];
    }

    // The s² of which χ² is the degrees of freedom, all else held. Newton's steps on 1 / χ², which is nearly
    // straight in s² and bent so that from the second step on they climb to the root. On χ² itself they fall
    // to 0 from twice the scatter, and stay: every star then looks like a mistake.
    void set_scatter() {
        double counted = 0.0;
        for (const double good : good_)
            counted += 2.0 * good;
        const double free = counted - terms_;
        if (free < 0.5) {
            scatter2_ = least_scatter2_;
            return;
        }
        for (int step = 0; step < scatter_steps; ++step) {
            double chi2 = 0.0, slope = 0.0;
            for (std::size_t i = 0; i < stars_.size(); ++i) {
                const double v = variance(i);
                chi2 += good_[i] * square_left(i) / v;
                slope += good_[i] * square_left(i) / (v * v);
            }
            const double before = scatter2_;
            scatter2_ = slope > 0.0 ? before + chi2 / free * (chi2 - free) / slope : least_scatter2_;
            scatter2_ = std::max(least_scatter2_, scatter2_);
            if (std::abs(scatter2_ - before) <= scatter_tolerance * before) return;
        }
    }

    void set_good() {
        for (std::size_t i = 0; i < stars_.size(); ++i)
            good_[i] = numerics::contamination_weight(0.5 * square_left(i) / variance(i),
                                                      numerics::catalogue_outliers);
    }

    [[nodiscard]] PlateShift result(double east_arcsec, double north_arcsec) const {
        PlateShift out;
        out.terms = terms_;
        double all2 = 0.0, noise2 = 0.0;
        std::array<double, 2> shift{};
        for (int axis = 0; axis < 2; ++axis) {
            const Row x = row_of(east_arcsec, north_arcsec, axis, terms_);
            Row cx{};  // C xᵀ
            for (std::size_t j = 0; j < a_.columns(); ++j) {
                for (std::size_t k = 0; k < a_.columns(); ++k)
                    cx[j] += fit_.covariance(j, k) * x[k];
                shift[static_cast<std::size_t>(axis)] += x[j] * fit_.parameters[j];
            }
            for (std::size_t row = 0; row < y_.size(); ++row) {
                const std::size_t i = row / 2;
                double l = 0.0;
                for (std::size_t j = 0; j < a_.columns(); ++j)
                    l += a_(row, j) * cx[j];
                l *= good_[i] / variance(i);
                all2 += l * l * variance(i);
                noise2 += l * l * stars_[i].err_arcsec * stars_[i].err_arcsec;
            }
        }
        out.east_arcsec = shift[0];
        out.north_arcsec = shift[1];
        noise2 = std::min(noise2, all2);
        const double free = std::max(1.0, 2.0 * std::accumulate(good_.begin(), good_.end(), 0.0) - terms_);
        const double student = 1.0 + student_widening / free;
        out.err_arcsec = std::sqrt(0.5 * (noise2 + student * student * (all2 - noise2)));
        out.noise_arcsec = std::sqrt(0.5 * noise2);
        double squares = 0.0, counted = 0.0;
        for (std::size_t i = 0; i < stars_.size(); ++i) {
            squares += good_[i] * square_left(i);
            counted += 2.0 * good_[i];
            out.stars += good_[i] > agrees ? 1 : 0;
        }
        out.rms_arcsec = std::sqrt(squares / counted);
        return out;
    }

    const std::vector<PlateResidual>& stars_;
    int terms_;
    numerics::Matrix a_;
    std::vector<double> y_, left_, good_;
    numerics::LinearFit fit_;
    double scatter2_ = 0.0, least_scatter2_ = 0.0;
};

}  // namespace

PlateShift plate_shift(const std::vector<PlateResidual>& stars, double east_arcsec, double north_arcsec) {
    if (stars.size() >= stars_for_shear) {
        if (const auto shift = Fit(stars, 6).at(east_arcsec, north_arcsec)) return *shift;
    }
    if (stars.size() >= stars_for_rotation) {
        if (const auto shift = Fit(stars, 4).at(east_arcsec, north_arcsec)) return *shift;
    }
    return Fit(stars, 2).at(east_arcsec, north_arcsec).value_or(PlateShift{});
}

}  // namespace emberline::night
