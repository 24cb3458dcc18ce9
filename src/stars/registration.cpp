// SPDX-License-Identifier: MIT
// Notation: for each pair an offset o = measured − predicted and an arm (u, v) from the centre; a small
// rotation a moves (u, v) by (−a v, a u). Left over: r = o − shift − rotation.
#include "stars/registration.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"

namespace emberline::stars {
namespace {

constexpr double outlier_sigma = 4.0;
constexpr double least_scatter_px = 0.05;  // plate solutions and centroids are never better together
constexpr std::size_t stars_for_rotation = 4;
constexpr double rotation_sigma = 5.0;
constexpr int rounds = 8;

struct Offset {
    double x = 0.0, y = 0.0;
};

class Fit {
  public:
    Fit(const std::vector<PositionPair>& pairs, bool rotated) : pairs_(pairs), rotated_(rotated) {
        std::vector<double> x, y;
        for (const PositionPair& pair : pairs_) {
            const bool good = std::isfinite(pair.measured.x) && std::isfinite(pair.measured.y) &&
                              std::isfinite(pair.predicted.x) && std::isfinite(pair.predicted.y) &&
                              pair.err_px >= 0.0 && std::isfinite(pair.err_px);
            out_.used.push_back(good);
            usable_.push_back(good);
            if (!good) continue;
            x.push_back(pair.measured.x - pair.predicted.x);
            y.push_back(pair.measured.y - pair.predicted.y);
            out_.centre.x += pair.predicted.x;
            out_.centre.y += pair.predicted.y;
        }
        if (x.empty()) return;
        out_.centre.x /= static_cast<double>(x.size());
        out_.centre.y /= static_cast<double>(x.size());
        out_.dx_px = numerics::median(std::move(x));
        out_.dy_px = numerics::median(std::move(y));
    }

    Registration run() {
        for (int k = 0; k < rounds; ++k) {
            set_scatter();
            set_aside();
            set_shift();
            if (rotated_) turn();
        }
        set_scatter();
        double weight = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i)
            weight += out_.used[i] ? 1.0 / variance(i) : 0.0;
        out_.err_px = weight > 0.0 ? 1.0 / std::sqrt(weight) : std::numeric_limits<double>::infinity();
        return out_;
    }

    // Rotation over its error; 0 with too few stars.
    [[nodiscard]] double significance() const {
        double arms = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (!out_.used[i]) continue;
            const double u = pairs_[i].predicted.x - out_.centre.x, v = pairs_[i].predicted.y - out_.centre.y;
            arms += (u * u + v * v) / variance(i);
        }
        return out_.stars < stars_for_rotation ? 0.0 : std::abs(out_.rotation.radians()) * std::sqrt(arms);
    }

  private:
    [[nodiscard]] Offset left_over(std::size_t i) const {
        const frame::PixelPosition expected = out_.apply(pairs_[i].predicted);
        return {pairs_[i].measured.x - expected.x, pairs_[i].measured.y - expected.y};
    }
    [[nodiscard]] double variance(std::size_t i) const {
        return pairs_[i].err_px * pairs_[i].err_px + out_.scatter_px * out_.scatter_px;
    }

    // Beyond the centroids' own errors, and corrected for the degrees of freedom that the fit takes: two
    // stars left to themselves would look twice as good as they are.
    void set_scatter() {
        std::vector<double> misses, variances;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (!out_.used[i]) continue;
            const Offset r = left_over(i);
            misses.push_back(std::abs(r.x));
            misses.push_back(std::abs(r.y));
            variances.push_back(pairs_[i].err_px * pairs_[i].err_px);
        }
        out_.stars = variances.size();
        out_.scatter_px = least_scatter_px;
        const auto n = static_cast<double>(misses.size());
        const double free = n - (rotated_ ? 3.0 : 2.0);
        if (!(free > 0.0) || variances.size() < 2) return;
        const double seen = numerics::mad_to_sigma * numerics::median(std::move(misses));
        const double beyond = seen * seen * n / free - numerics::median(std::move(variances));
        out_.scatter_px = std::max(least_scatter_px, std::sqrt(std::max(beyond, 0.0)));
    }

    void set_aside() {
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            const Offset r = left_over(i);
            out_.used[i] = usable_[i] && std::hypot(r.x, r.y) <= outlier_sigma * std::sqrt(2.0 * variance(i));
        }
    }

    void set_shift() {
        double x = 0.0, y = 0.0, weights = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (!out_.used[i]) continue;
            const Offset r = left_over(i);
            const double w = 1.0 / variance(i);
            x += w * r.x;
            y += w * r.y;
            weights += w;
        }
        if (weights == 0.0) return;  // nobody agrees with anybody: the median stays
        out_.dx_px += x / weights;
        out_.dy_px += y / weights;
    }

    void turn() {
        // About the weighted mean place, where rotation and shift do not mix.
        double mu = 0.0, mv = 0.0, weights = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (!out_.used[i]) continue;
            mu += pairs_[i].predicted.x / variance(i);
            mv += pairs_[i].predicted.y / variance(i);
            weights += 1.0 / variance(i);
        }
        if (weights == 0.0) return;
        mu = mu / weights - out_.centre.x;
        mv = mv / weights - out_.centre.y;
        double top = 0.0, bottom = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (!out_.used[i]) continue;
            const double u = pairs_[i].predicted.x - out_.centre.x - mu;
            const double v = pairs_[i].predicted.y - out_.centre.y - mv;
            const Offset r = left_over(i);
            top += (u * r.y - v * r.x) / variance(i);
            bottom += (u * u + v * v) / variance(i);
        }
        if (!(bottom > 0.0)) return;
        const double angle = top / bottom;
        out_.rotation = out_.rotation + Angle::radians(angle);
        out_.dx_px += angle * mv;
        out_.dy_px -= angle * mu;
    }

    const std::vector<PositionPair>& pairs_;
    bool rotated_;
    std::vector<bool> usable_;
    Registration out_;
};

}  // namespace

frame::PixelPosition Registration::apply(const frame::PixelPosition& predicted) const {
    const double c = std::cos(rotation.radians()), s = std::sin(rotation.radians());
    const double u = predicted.x - centre.x, v = predicted.y - centre.y;
    return {centre.x + c * u - s * v + dx_px, centre.y + s * u + c * v + dy_px};
}

Registration register_positions(const std::vector<PositionPair>& pairs) {
    // Judged by the scatter that the rotation leaves: a rotation left in hides itself in the scatter.
    Registration shifted = Fit(pairs, false).run();
    if (pairs.size() < stars_for_rotation) return shifted;
    Fit turned(pairs, true);
    Registration candidate = turned.run();
    const bool keeps_stars = candidate.stars >= shifted.stars;
    return keeps_stars && turned.significance() > rotation_sigma ? candidate : shifted;
}

}  // namespace emberline::stars
