// SPDX-License-Identifier: MIT
#include "stars/registration.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::stars {
namespace {

constexpr double outlier_sigma = 4.0;
constexpr double least_scatter_px = 0.05;  // plate solutions and centroids are never better together
constexpr std::size_t stars_for_rotation = 4;
constexpr double rotation_sigma = 5.0;
constexpr int rounds = 5;

struct Offset {
    double x, y, variance;
};

double median_of(const std::vector<Offset>& offsets, const std::vector<bool>& used, double Offset::*axis) {
    std::vector<double> values;
    for (std::size_t i = 0; i < offsets.size(); ++i) {
        if (used[i]) values.push_back(offsets[i].*axis);
    }
    return numerics::median(std::move(values));
}

class Fit {
  public:
    explicit Fit(const std::vector<PositionPair>& pairs) : pairs_(pairs) {
        out_.used.assign(pairs.size(), true);
        for (const PositionPair& pair : pairs) {
            out_.centre.x += pair.predicted.x / static_cast<double>(pairs.size());
            out_.centre.y += pair.predicted.y / static_cast<double>(pairs.size());
        }
    }

    Registration run() {
        if (pairs_.empty()) return out_;
        const auto start = offsets();
        out_.dx_px = median_of(start, out_.used, &Offset::x);
        out_.dy_px = median_of(start, out_.used, &Offset::y);
        for (int k = 0; k < rounds; ++k) {
            set_scatter();
            set_aside();
            set_shift();
        }
        if (turn()) {
            for (int k = 0; k < 2; ++k) {
                set_scatter();
                set_aside();
                set_shift();
                turn();
            }
        }
        set_scatter();
        const auto n = static_cast<double>(out_.stars);
        double weight = 0.0;
        for (std::size_t i = 0; i < pairs_.size(); ++i) {
            if (out_.used[i]) weight += 1.0 / variance(i);
        }
        out_.err_px = weight > 0.0 ? std::max(1.0 / std::sqrt(weight), out_.scatter_px / std::sqrt(n)) : 0.0;
        return out_;
    }

  private:
    [[nodiscard]] std::vector<Offset> offsets() const {
        std::vector<Offset> list;
        for (const PositionPair& pair : pairs_) {
            Registration turned = out_;
            turned.dx_px = turned.dy_px = 0.0;
            const frame::PixelPosition p = turned.apply(pair.predicted);
            list.push_back({pair.measured.x - p.x, pair.measured.y - p.y, pair.err_px * pair.err_px});
        }
        return list;
    }
    [[nodiscard]] double variance(std::size_t i) const {
        return pairs_[i].err_px * pairs_[i].err_px + out_.scatter_px * out_.scatter_px;
    }

    // Beyond the centroids' own errors.
    void set_scatter() {
        std::vector<double> misses, errs;
        const auto list = offsets();
        for (std::size_t i = 0; i < list.size(); ++i) {
            if (!out_.used[i]) continue;
            misses.push_back(std::abs(list[i].x - out_.dx_px));
            misses.push_back(std::abs(list[i].y - out_.dy_px));
            errs.push_back(list[i].variance);
        }
        out_.stars = errs.size();
        if (errs.size() < 2) {
            out_.scatter_px = least_scatter_px;
            return;
        }
        const double seen = numerics::mad_to_sigma * numerics::median(std::move(misses));
        const double beyond = seen * seen - numerics::median(std::move(errs));
        out_.scatter_px = std::max(least_scatter_px, std::sqrt(std::max(beyond, 0.0)));
    }

    void set_aside() {
        const auto list = offsets();
        for (std::size_t i = 0; i < list.size(); ++i) {
            const double miss = std::hypot(list[i].x - out_.dx_px, list[i].y - out_.dy_px);
            out_.used[i] = miss <= outlier_sigma * std::sqrt(2.0 * variance(i));
        }
    }

    void set_shift() {
        const auto list = offsets();
        double x = 0.0, y = 0.0, weights = 0.0;
        for (std::size_t i = 0; i < list.size(); ++i) {
            if (!out_.used[i]) continue;
            const double w = 1.0 / variance(i);
            x += w * list[i].x;
            y += w * list[i].y;
            weights += w;
        }
        if (weights == 0.0) return;  // nobody agrees with anybody: the median stays
        out_.dx_px = x / weights;
        out_.dy_px = y / weights;
    }

    // A small rotation on top, where it is significant; true when one was applied.
    bool turn() {
        const auto list = offsets();
        double top = 0.0, bottom = 0.0;
        std::size_t n = 0;
        for (std::size_t i = 0; i < list.size(); ++i) {
            if (!out_.used[i]) continue;
            const double u = pairs_[i].predicted.x - out_.centre.x, v = pairs_[i].predicted.y - out_.centre.y;
            const double w = 1.0 / variance(i);
            top += w * (u * (list[i].y - out_.dy_px) - v * (list[i].x - out_.dx_px));
            bottom += w * (u * u + v * v);
            ++n;
        }
        if (n < stars_for_rotation || bottom <= 0.0) return false;
        const double angle = top / bottom;
        if (std::abs(angle) < rotation_sigma / std::sqrt(bottom)) return false;
        out_.rotation = out_.rotation + Angle::radians(angle);
        return true;
    }

    const std::vector<PositionPair>& pairs_;
    Registration out_;
};

}  // namespace

frame::PixelPosition Registration::apply(const frame::PixelPosition& predicted) const {
    const double c = std::cos(rotation.radians()), s = std::sin(rotation.radians());
    const double u = predicted.x - centre.x, v = predicted.y - centre.y;
    return {centre.x + c * u - s * v + dx_px, centre.y + s * u + c * v + dy_px};
}

Registration register_positions(const std::vector<PositionPair>& pairs) {
    return Fit(pairs).run();
}

}  // namespace emberline::stars
