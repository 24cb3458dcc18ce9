// SPDX-License-Identifier: MIT
// Notation: A area shared by an output pixel (as a quadrilateral on the input) and an input pixel, in input
// pixels; (Mx, My) first moments of that part about the input pixel's centre. The light there is
// A f + Mx ∂f/∂x + My ∂f/∂y.
#include "photometry/resample.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace emberline::photometry {
namespace {

constexpr int corner_step = 8;
constexpr double widest_pixel = 64.0;  // an output pixel larger than so many input pixels is a broken mapping

struct Point {
    double x, y;
};

// A convex polygon that a few straight cuts can only give a few more corners.
struct Polygon {
    std::array<Point, 12> corner;
    std::size_t n = 0;
    void add(const Point& p) {
        if (n < corner.size()) corner[n++] = p;
    }
};

// What lies on the side where sign · (coordinate − limit) ≤ 0 (Sutherland & Hodgman 1974).
Polygon cut(const Polygon& in, double Point::*axis, double limit, double sign) {
    Polygon out;
    for (std::size_t i = 0; i < in.n; ++i) {
        const Point& a = in.corner[i];
        const Point& b = in.corner[(i + 1) % in.n];
        const double da = sign * (a.*axis - limit), db = sign * (b.*axis - limit);
        if (da <= 0.0) out.add(a);
        if ((da < 0.0 && db > 0.0) || (da > 0.0 && db < 0.0)) {
            const double t = da / (da - db);
            out.add({a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)});
        }
    }
    return out;
}

struct Moments {
    double area = 0.0, x = 0.0, y = 0.0;
};

// By Green's theorem, about `centre`; negative for a polygon that runs clockwise.
Moments moments_about(const Polygon& p, const Point& centre) {
    Moments m;
    for (std::size_t i = 0; i < p.n; ++i) {
        const Point& next = p.corner[(i + 1) % p.n];
        const double ax = p.corner[i].x - centre.x, ay = p.corner[i].y - centre.y;
        const double bx = next.x - centre.x, by = next.y - centre.y;
        const double cross = ax * by - bx * ay;
        m.area += cross / 2.0;
        m.x += cross * (ax + bx) / 6.0;
        m.y += cross * (ay + by) / 6.0;
    }
    return m;
}

// Shares of the input pixels about one output pixel, gathered on a small window.
class Window {
  public:
    void open(int x0, int y0, int width, int height) {
        x0_ = x0, y0_ = y0, width_ = width, height_ = height;
        share_.assign(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), 0.0);
    }
    double& at(int x, int y) {
        return share_[static_cast<std::size_t>(y - y0_) * static_cast<std::size_t>(width_) +
                      static_cast<std::size_t>(x - x0_)];
    }
    template <class Take>
    void each(const Take& take) const {
        std::size_t k = 0;
        for (int y = y0_; y < y0_ + height_; ++y) {
            for (int x = x0_; x < x0_ + width_; ++x, ++k) {
                if (share_[k] != 0.0) take(x, y, share_[k]);
            }
        }
    }

  private:
    int x0_ = 0, y0_ = 0, width_ = 0, height_ = 0;
    std::vector<double> share_;
};

}  // namespace

std::vector<std::optional<frame::PixelPosition>> mapped_corners(const frame::PixelBox& box,
                                                                const PixelMapping& mapping) {
    if (box.empty()) return {};
    const int columns = box.width + 1, rows = box.height + 1;
    std::vector<std::optional<frame::PixelPosition>> corners(static_cast<std::size_t>(columns) *
                                                             static_cast<std::size_t>(rows));
    const auto ask = [&](int i, int j) -> std::optional<frame::PixelPosition> {
        auto p = mapping({box.x0 + i - 0.5, box.y0 + j - 0.5});
        if (p && !(std::isfinite(p->x) && std::isfinite(p->y))) p.reset();
        return p;
    };
    for (int j = 0; j < rows; j += corner_step) {
        for (int i = 0; i < columns; i += corner_step) {
            const int last_i = std::min(i + corner_step, columns - 1),
                      last_j = std::min(j + corner_step, rows - 1);
            const auto a = ask(i, j), b = ask(last_i, j), c = ask(i, last_j), d = ask(last_i, last_j);
            for (int y = j; y <= last_j; ++y) {
                for (int x = i; x <= last_i; ++x) {
                    auto& corner = corners[static_cast<std::size_t>(y) * static_cast<std::size_t>(columns) +
                                           static_cast<std::size_t>(x)];
                    if (!(a && b && c && d)) {
                        corner = ask(x, y);
                        continue;
                    }
                    const double u = last_i > i ? (x - i) / static_cast<double>(last_i - i) : 0.0;
                    const double v = last_j > j ? (y - j) / static_cast<double>(last_j - j) : 0.0;
                    const auto blend = [&](double p, double q, double r, double s) {
                        return (1.0 - v) * ((1.0 - u) * p + u * q) + v * ((1.0 - u) * r + u * s);
                    };
                    corner = {blend(a->x, b->x, c->x, d->x), blend(a->y, b->y, c->y, d->y)};
                }
            }
        }
    }
    return corners;
}

ResampleMap::ResampleMap(const frame::PixelBox& input, const std::vector<bool>& defined,
                         const frame::PixelBox& output, const PixelMapping& to_input)
    : input_(input), output_(output), start_(output.pixels() + 1, 0) {
    const auto corners = mapped_corners(output, to_input);
    const auto usable = [&](int x, int y) {
        return input.holds(x, y) && (defined.empty() || defined[input.index(x, y)]);
    };
    Window window;
    for (int row = 0; row < output.height; ++row) {
        for (int column = 0; column < output.width; ++column) {
            const std::size_t out = static_cast<std::size_t>(row) * static_cast<std::size_t>(output.width) +
                                    static_cast<std::size_t>(column);
            start_[out + 1] = index_.size();
            const auto corner = [&](int i, int j) -> const std::optional<frame::PixelPosition>& {
                return corners[static_cast<std::size_t>(row + j) *
                                   static_cast<std::size_t>(output.width + 1) +
                               static_cast<std::size_t>(column + i)];
            };
            Polygon outline;
            for (const auto& [i, j] : {std::pair{0, 0}, {1, 0}, {1, 1}, {0, 1}}) {
                if (const auto& p = corner(i, j)) outline.add({p->x, p->y});
            }
            if (outline.n < 4) continue;
            double left = outline.corner[0].x, right = left, low = outline.corner[0].y, high = low;
            for (std::size_t k = 1; k < outline.n; ++k) {
                left = std::min(left, outline.corner[k].x), right = std::max(right, outline.corner[k].x);
                low = std::min(low, outline.corner[k].y), high = std::max(high, outline.corner[k].y);
            }
            const double whole = moments_about(outline, outline.corner[0]).area;
            const bool inside = left >= input.x0 - 1.0 && right <= input.x0 + input.width &&
                                low >= input.y0 - 1.0 && high <= input.y0 + input.height;
            if (!inside || right - left > widest_pixel || high - low > widest_pixel ||
                !(std::abs(whole) > 0.0))
                continue;
            const double sign = whole > 0.0 ? 1.0 : -1.0;  // a mirrored image turns the outline around
            const int x_first = static_cast<int>(std::floor(left + 0.5)),
                      x_last = static_cast<int>(std::floor(right + 0.5));
            const int y_first = static_cast<int>(std::floor(low + 0.5)),
                      y_last = static_cast<int>(std::floor(high + 0.5));
            window.open(x_first - 1, y_first - 1, x_last - x_first + 3, y_last - y_first + 3);
            double found = 0.0;
            for (int y = y_first; y <= y_last; ++y) {
                const Polygon strip = cut(cut(outline, &Point::y, y - 0.5, -1.0), &Point::y, y + 0.5, 1.0);
                for (int x = x_first; x <= x_last && strip.n >= 3; ++x) {
                    if (!usable(x, y)) continue;
                    const Polygon part = cut(cut(strip, &Point::x, x - 0.5, -1.0), &Point::x, x + 0.5, 1.0);
                    if (part.n < 3) continue;
                    const Moments m = moments_about(part, {static_cast<double>(x), static_cast<double>(y)});
                    found += sign * m.area;
                    window.at(x, y) += sign * m.area;
                    if (usable(x - 1, y) && usable(x + 1, y)) {
                        window.at(x + 1, y) += 0.5 * sign * m.x;
                        window.at(x - 1, y) -= 0.5 * sign * m.x;
                    }
                    if (usable(x, y - 1) && usable(x, y + 1)) {
                        window.at(x, y + 1) += 0.5 * sign * m.y;
                        window.at(x, y - 1) -= 0.5 * sign * m.y;
                    }
                }
            }
            const double area = sign * whole;
            if (found < (1.0 - most_missing) * area) continue;
            const double scale = area / found;
            window.each([&](int x, int y, double share) {
                index_.push_back(static_cast<std::uint32_t>(input.index(x, y)));
                share_.push_back(scale * share);
            });
            start_[out + 1] = index_.size();
        }
    }
}

std::vector<double> ResampleMap::apply(std::span<const double> input) const {
    std::vector<double> out(start_.size() - 1, std::numeric_limits<double>::quiet_NaN());
    for (std::size_t row = 0; row < out.size(); ++row) {
        if (!defined(row)) continue;
        double sum = 0.0;
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            sum += share_[k] * input[index_[k]];
        out[row] = sum;
    }
    return out;
}

std::vector<double> ResampleMap::variance(std::span<const double> input_variance) const {
    std::vector<double> out(start_.size() - 1, std::numeric_limits<double>::quiet_NaN());
    for (std::size_t row = 0; row < out.size(); ++row) {
        if (!defined(row)) continue;
        double sum = 0.0;
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            sum += share_[k] * share_[k] * input_variance[index_[k]];
        out[row] = sum;
    }
    return out;
}

std::vector<double> ResampleMap::reach_of(std::span<const double> amount) const {
    std::vector<double> out(start_.size() - 1, 0.0);
    for (std::size_t row = 0; row < out.size(); ++row) {
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            out[row] += std::abs(share_[k]) * amount[index_[k]];
    }
    return out;
}

std::vector<double> ResampleMap::transposed(std::span<const double> output_weights) const {
    std::vector<double> in(input_.pixels(), 0.0);
    for (std::size_t row = 0; row + 1 < start_.size(); ++row) {
        if (output_weights[row] == 0.0) continue;
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            in[index_[k]] += share_[k] * output_weights[row];
    }
    return in;
}

std::vector<double> ResampleMap::correlation(int reach) const {
    const int side = 2 * reach + 1;
    std::vector<double> sums(static_cast<std::size_t>(side) * static_cast<std::size_t>(side), 0.0);
    std::vector<double> dense(input_.pixels(), 0.0);
    // A pattern that repeats over the image: some tens of pixels tell it.
    const std::size_t rows = start_.size() - 1, step = std::max<std::size_t>(1, rows / 199);
    for (std::size_t row = 0; row < rows; row += step) {
        if (!defined(row)) continue;
        const int x = static_cast<int>(row) % output_.width, y = static_cast<int>(row) / output_.width;
        if (x < reach || y < reach || x + reach >= output_.width || y + reach >= output_.height) continue;
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            dense[index_[k]] = share_[k];
        std::size_t lag = 0;
        for (int dy = -reach; dy <= reach; ++dy) {
            for (int dx = -reach; dx <= reach; ++dx, ++lag) {
                const std::size_t other =
                    static_cast<std::size_t>(y + dy) * static_cast<std::size_t>(output_.width) +
                    static_cast<std::size_t>(x + dx);
                for (std::size_t k = start_[other]; k < start_[other + 1]; ++k)
                    sums[lag] += share_[k] * dense[index_[k]];
            }
        }
        for (std::size_t k = start_[row]; k < start_[row + 1]; ++k)
            dense[index_[k]] = 0.0;
    }
    const std::size_t middle = sums.size() / 2;
    if (!(sums[middle] > 0.0)) {
        std::fill(sums.begin(), sums.end(), 0.0);
        sums[middle] = 1.0;
        return sums;
    }
    const double own = sums[middle];
    for (double& s : sums)
        s /= own;
    return sums;
}

Resampled resample(const frame::Cutout& input, const std::vector<double>& input_variance,
                   const frame::PixelBox& output, const PixelMapping& to_input) {
    std::vector<bool> defined(input.adu.size());
    std::vector<double> light(input.adu.size());
    for (std::size_t k = 0; k < light.size(); ++k) {
        defined[k] = std::isfinite(input.adu[k]);
        light[k] = defined[k] ? static_cast<double>(input.adu[k]) : 0.0;
    }
    const ResampleMap map(input.box, defined, output, to_input);
    Resampled out;
    out.image.box = output;
    for (const double adu : map.apply(light))
        out.image.adu.push_back(static_cast<float>(adu));
    out.variance = map.variance(
        input_variance.size() == light.size() ? input_variance : std::vector<double>(light.size(), 1.0));
    return out;
}

}  // namespace emberline::photometry
