// SPDX-License-Identifier: MIT
// Source: cells of clipped statistics, median-filtered and joined by splines, as in Bertin & Arnouts (1996),
// A&AS 117, 393, section 3; the splines here are Catmull & Rom's (1974), which need no system to be solved.
#include "stars/background.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "numerics/robust.hpp"
#include "stars/pixel_source.hpp"

namespace emberline::stars {
namespace {

constexpr float undefined = std::numeric_limits<float>::quiet_NaN();
constexpr std::size_t most_samples = 1024;  // of a cell: its level is then known to 0.04 of a pixel's scatter
constexpr double least_defined = 0.2;       // of a cell's samples
constexpr int most_rounds = 8;
constexpr double clip_sigma = 3.0;

// The scatter of a Gaussian cut at ± k sigma, in its own sigma: √(1 − 2 k φ(k) / (2 Φ(k) − 1)).
double cut_scatter(double k) {
    const double density = std::exp(-0.5 * k * k) / std::sqrt(2.0 * std::acos(-1.0));
    return std::sqrt(1.0 - 2.0 * k * density / std::erf(k / std::sqrt(2.0)));
}

struct Statistics {
    float level = undefined, scatter = undefined;
};

// From a value to the nearest other one; 0: there is none.
double step_about(const std::vector<float>& values, double centre) {
    double step = std::numeric_limits<double>::infinity();
    for (const float v : values) {
        const double apart = std::abs(static_cast<double>(v) - centre);
        if (apart > 0.0) step = std::min(step, apart);
    }
    return std::isfinite(step) ? step : 0.0;
}

// Clipped about the mean; the first guess by quantiles, which a third of stars does not move far. The scatter
// is a standard deviation, since quantiles of integer pixels are steps.
Statistics clipped_statistics(std::vector<float>& values, double shrink) {
    if (values.empty()) return {};
    const auto quantile = [&](double q) {
        const auto at =
            values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
        std::nth_element(values.begin(), at, values.end());
        return static_cast<double>(*at);
    };
    double mean = quantile(0.5);
    double sigma = (mean - quantile(0.0228)) / 2.0;  // 2 sigma down: of whole numbers more than a step
    if (!(sigma > 0.0)) sigma = step_about(values, mean);
    std::size_t before = 0;
    for (int round = 0; round < most_rounds; ++round) {
        const auto low = static_cast<float>(mean - clip_sigma * sigma);
        const auto high = static_cast<float>(mean + clip_sigma * sigma);
        double sum = 0.0, squares = 0.0;
        std::size_t n = 0;
        for (const float v : values) {
            if (v < low || v > high) continue;
            const double d = static_cast<double>(v) - mean;
            sum += d;
            squares += d * d;
            ++n;
        }
        if (n == 0 || n == before) break;
        before = n;
        const double shift = sum / static_cast<double>(n);
        sigma = std::sqrt(std::max(0.0, squares / static_cast<double>(n) - shift * shift)) / shrink;
        mean += shift;
        if (!(sigma > 0.0)) break;
    }
    // Nearly all pixels have one value: the error of rounding is what is left of their scatter.
    if (!(sigma > 0.0)) sigma = step_about(values, mean) / std::sqrt(12.0);
    return {static_cast<float>(mean), static_cast<float>(sigma)};
}

// Weights of four neighbouring cells at a place t ∈ [0, 1) between the middle two.
std::array<double, 4> spline_weights(double t) {
    return {t * (-0.5 + t * (1.0 - 0.5 * t)), 1.0 + t * t * (-2.5 + 1.5 * t), t * (0.5 + t * (2.0 - 1.5 * t)),
            t * t * (-0.5 + 0.5 * t)};
}

struct Between {
    std::array<int, 4> cells{};
    std::array<double, 4> weights{};
};
Between between(double place, int cells) {
    const double bounded = std::clamp(place, 0.0, static_cast<double>(cells - 1));
    const int first = std::min(static_cast<int>(bounded), std::max(0, cells - 2));
    Between out;
    out.weights = spline_weights(bounded - first);
    for (int k = 0; k < 4; ++k)
        out.cells[static_cast<std::size_t>(k)] = std::clamp(first - 1 + k, 0, cells - 1);
    return out;
}

}  // namespace

class BackgroundMesh {
  public:
    BackgroundMesh(const frame::PixelBox& box, const BackgroundSettings& settings)
        : settings_(settings), shrink_(cut_scatter(clip_sigma)) {
        out_.box_ = box;
        out_.columns_ = std::max(1, static_cast<int>(std::lround(1.0 * box.width / settings.mesh_px)));
        out_.rows_ = std::max(1, static_cast<int>(std::lround(1.0 * box.height / settings.mesh_px)));
        out_.cell_width_px_ = 1.0 * box.width / out_.columns_;
        out_.cell_height_px_ = 1.0 * box.height / out_.rows_;
        const auto cells = static_cast<std::size_t>(out_.columns_) * static_cast<std::size_t>(out_.rows_);
        out_.level_.assign(cells, undefined);
        out_.scatter_.assign(cells, undefined);
    }

    Result<Background> measure(const PixelSource& source) {
        for (int row = 0; row < out_.rows_; ++row) {
            if (auto good = measure_row(source, row); !good) return fail(good.error());
        }
        if (!fill_undefined()) {
            return fail({.what = "No pixel of the picture is defined.",
                         .where = {},
                         .mend = "Save the frame again from its source."});
        }
        fill_still();
        smooth();
        out_.usual_level_ = numerics::median({out_.level_.begin(), out_.level_.end()});
        out_.usual_scatter_ = numerics::median({out_.scatter_.begin(), out_.scatter_.end()});
        return std::move(out_);
    }

  private:
    Result<void> measure_row(const PixelSource& source, int row) {
        const int y0 = out_.box_.y0 + static_cast<int>(std::floor(row * out_.cell_height_px_));
        const int y1 = out_.box_.y0 + static_cast<int>(std::floor((row + 1) * out_.cell_height_px_));
        const int height = std::max(1, y1 - y0);
        const int looked_at = settings_.rows_a_cell > 0 ? std::min(settings_.rows_a_cell, height) : height;
        std::vector<frame::PixelBox> lines;
        for (int k = 0; k < looked_at; ++k)
            lines.push_back({out_.box_.x0, y0 + (2 * k + 1) * height / (2 * looked_at), out_.box_.width, 1});
        const auto pixels = source.read(lines);
        if (!pixels) return fail(pixels.error());
        std::vector<float> values;
        for (int column = 0; column < out_.columns_; ++column) {
            const auto x0 = static_cast<std::size_t>(column * out_.cell_width_px_);
            const auto x1 = std::max(x0 + 1, static_cast<std::size_t>((column + 1) * out_.cell_width_px_));
            const std::size_t all = (x1 - x0) * pixels->size();
            const std::size_t step = 1 + all / (most_samples + 1);
            values.clear();
            std::size_t offered = 0;
            std::size_t phase = 0;  // so that steps do not fall into columns
            for (const frame::Cutout& line : *pixels) {
                for (std::size_t x = x0 + phase++ % step; x < std::min(x1, line.adu.size()); x += step) {
                    ++offered;
                    if (std::isfinite(line.adu[x])) values.push_back(line.adu[x]);
                }
            }
            if (static_cast<double>(values.size()) < least_defined * static_cast<double>(offered)) continue;
            const Statistics found = clipped_statistics(values, shrink_);
            out_.level_[index(column, row)] = found.level;
            out_.scatter_[index(column, row)] = found.scatter;
        }
        return {};
    }

    [[nodiscard]] std::size_t index(int column, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(out_.columns_) +
               static_cast<std::size_t>(column);
    }

    // A cell without pixels takes the mean of those around it, ring by ring.
    bool fill_undefined() {
        const auto defined = [](float v) { return std::isfinite(v); };
        if (std::none_of(out_.level_.begin(), out_.level_.end(), defined)) return false;
        while (!std::all_of(out_.level_.begin(), out_.level_.end(), defined)) {
            const std::vector<float> levels = out_.level_, scatters = out_.scatter_;
            for (int row = 0; row < out_.rows_; ++row) {
                for (int column = 0; column < out_.columns_; ++column) {
                    if (defined(levels[index(column, row)])) continue;
                    double level = 0.0, scatter = 0.0, n = 0.0;
                    for_neighbours(column, row, [&](std::size_t i) {
                        if (!defined(levels[i])) return;
                        level += static_cast<double>(levels[i]);
                        scatter += static_cast<double>(scatters[i]);
                        n += 1.0;
                    });
                    if (!(n > 0.0)) continue;
                    out_.level_[index(column, row)] = static_cast<float>(level / n);
                    out_.scatter_[index(column, row)] = static_cast<float>(scatter / n);
                }
            }
        }
        return true;
    }

    // A cell whose pixels all have one value says nothing of the noise.
    void fill_still() {
        float least = std::numeric_limits<float>::infinity();
        for (const float s : out_.scatter_) {
            if (s > 0.0F) least = std::min(least, s);
        }
        if (!std::isfinite(least)) least = 1.0F;
        for (float& s : out_.scatter_)
            s = std::max(s, least);
    }

    // Of a cell, itself among them.
    template <class Function>
    void for_neighbours(int column, int row, const Function& visit) const {
        for (int r = std::max(0, row - 1); r <= std::min(out_.rows_ - 1, row + 1); ++r) {
            for (int c = std::max(0, column - 1); c <= std::min(out_.columns_ - 1, column + 1); ++c)
                visit(index(c, r));
        }
    }

    void smooth() {
        const std::vector<float> levels = out_.level_, scatters = out_.scatter_;
        for (int row = 0; row < out_.rows_; ++row) {
            for (int column = 0; column < out_.columns_; ++column) {
                std::vector<double> level, scatter;
                for_neighbours(column, row, [&](std::size_t i) {
                    level.push_back(static_cast<double>(levels[i]));
                    scatter.push_back(static_cast<double>(scatters[i]));
                });
                out_.level_[index(column, row)] = static_cast<float>(numerics::median(std::move(level)));
                out_.scatter_[index(column, row)] = static_cast<float>(numerics::median(std::move(scatter)));
            }
        }
    }

    BackgroundSettings settings_;
    double shrink_;
    Background out_;
};

std::vector<float> Background::columns_at(const std::vector<float>& cells, double y) const {
    const Between at = between((y - box_.y0 + 0.5) / cell_height_px_ - 0.5, rows_);
    std::vector<float> out(static_cast<std::size_t>(columns_));
    for (int c = 0; c < columns_; ++c) {
        double sum = 0.0;
        for (std::size_t k = 0; k < 4; ++k)
            sum += at.weights[k] *
                   static_cast<double>(
                       cells[static_cast<std::size_t>(at.cells[k]) * static_cast<std::size_t>(columns_) +
                             static_cast<std::size_t>(c)]);
        out[static_cast<std::size_t>(c)] = static_cast<float>(sum);
    }
    return out;
}

double Background::at(const std::vector<float>& cells, double x, double y) const {
    const std::vector<float> line = columns_at(cells, y);
    const Between place = between((x - box_.x0 + 0.5) / cell_width_px_ - 0.5, columns_);
    double sum = 0.0;
    for (std::size_t k = 0; k < 4; ++k)
        sum += place.weights[k] * static_cast<double>(line[static_cast<std::size_t>(place.cells[k])]);
    return sum;
}

double Background::level(double x, double y) const {
    return at(level_, x, y);
}

double Background::scatter(double x, double y) const {
    return std::max(at(scatter_, x, y), 1e-3 * usual_scatter_);
}

void Background::row(double y, double x0, double step, int n, float* level, float* scatter) const {
    const std::vector<float> levels = columns_at(level_, y), scatters = columns_at(scatter_, y);
    const float least = static_cast<float>(1e-3 * usual_scatter_);
    const double cells_a_step = step / cell_width_px_;
    const double first = (x0 - box_.x0 + 0.5) / cell_width_px_ - 0.5;
    // From one cell's middle to the next the spline is one cubic: its coefficients are found once.
    for (int i = 0; i < n;) {
        const double place = first + i * cells_a_step;
        const double bounded = std::clamp(place, 0.0, static_cast<double>(columns_ - 1));
        const int cell = std::min(static_cast<int>(bounded), std::max(0, columns_ - 2));
        int end = n;
        if (place < 0.0) {
            end = std::min(n, std::max(i + 1, static_cast<int>(std::ceil(-first / cells_a_step))));
        } else if (bounded == place) {
            end =
                std::min(n, std::max(i + 1, static_cast<int>(std::ceil((cell + 1 - first) / cells_a_step))));
        }
        const auto cubic = [&](const std::vector<float>& line) {
            const auto value = [&](int k) {
                return line[static_cast<std::size_t>(std::clamp(cell + k, 0, columns_ - 1))];
            };
            const float p = value(-1), q = value(0), r = value(1), s = value(2);
            return std::array<float, 4>{q, 0.5F * (r - p), p - 2.5F * q + 2.0F * r - 0.5F * s,
                                        0.5F * (s - p) + 1.5F * (q - r)};
        };
        const auto l = cubic(levels), c = cubic(scatters);
        const auto origin = static_cast<float>(first - cell);
        const auto slope = static_cast<float>(cells_a_step);
        for (int k = i; k < end; ++k) {
            const float t = std::clamp(origin + static_cast<float>(k) * slope, 0.0F, 1.0F);
            level[k] = l[0] + t * (l[1] + t * (l[2] + t * l[3]));
            scatter[k] = std::max(least, c[0] + t * (c[1] + t * (c[2] + t * c[3])));
        }
        i = end;
    }
}

Result<Background> estimate_background(const PixelSource& source, const BackgroundSettings& settings) {
    if (source.box().empty()) {
        return fail({.what = "The picture has no pixels.", .where = {}, .mend = "Choose another frame."});
    }
    BackgroundSettings bounded = settings;
    bounded.mesh_px = std::max(8, settings.mesh_px);
    return BackgroundMesh(source.box(), bounded).measure(source);
}

Result<Background> estimate_background(const frame::Cutout& picture, const BackgroundSettings& settings) {
    return estimate_background(PixelSource(picture), settings);
}

}  // namespace emberline::stars
