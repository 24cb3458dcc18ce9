// SPDX-License-Identifier: MIT
#include "frame/transfer_boxes.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "frame/master.hpp"
#include "numerics/robust.hpp"

namespace emberline::frame {
namespace {

constexpr int box_px = 32;
constexpr std::size_t most_boxes = 4000;  // the gain's error is then some 0.1 %
constexpr int sample_px = 16;
constexpr double clip_sigma = 4.0;  // cosmic rays, stars in twilight, hot pixels

double mean_of(const std::vector<double>& values) {
    return numerics::clipped_mean(values, clip_sigma, clip_sigma).mean;
}

// The variance of a − r b.
double variance_between(const std::vector<double>& a, const std::vector<double>& b, double r) {
    std::vector<double> differences(std::min(a.size(), b.size()));
    for (std::size_t i = 0; i < differences.size(); ++i)
        differences[i] = a[i] - r * b[i];
    const double sigma = numerics::clipped_mean(differences, clip_sigma, clip_sigma).sigma;
    return sigma * sigma;
}

}  // namespace

TransferGrid::TransferGrid(int width_px, int height_px, bool mosaic) : mosaic_(mosaic) {
    const int side = mosaic ? 2 * box_px : box_px;
    const int across = width_px / side, up = height_px / side;
    const auto all =
        static_cast<std::size_t>(std::max(1, across)) * static_cast<std::size_t>(std::max(1, up));
    const int every = static_cast<int>(1 + (all - 1) / most_boxes);
    for (int row = 0; row < up; row += every) {
        std::vector<PixelBox> strip;
        for (int column = 0; column < across; ++column)
            strip.push_back({column * side, row * side, side, side});
        if (!strip.empty()) strips_.push_back(std::move(strip));
    }
}

std::vector<double> TransferGrid::pixels(const Cutout& cutout, int phase) const {
    if (!mosaic_) return {cutout.adu.begin(), cutout.adu.end()};
    std::vector<double> out;
    const PixelBox& box = cutout.box;
    for (int y = box.y0 + (phase >> 1); y < box.y0 + box.height; y += 2) {
        for (int x = box.x0 + (phase & 1); x < box.x0 + box.width; x += 2)
            out.push_back(static_cast<double>(cutout.at(x, y)));
    }
    return out;
}

Result<BiasNoise> noise_of_biases(const Frame& first, const Frame& second, const TransferGrid& grid) {
    std::vector<double> levels, variances;
    for (const auto& strip : grid.strips()) {
        const auto a = first.read_stored(strip), b = second.read_stored(strip);
        if (!a || !b) return fail(a ? b.error() : a.error());
        for (std::size_t i = 0; i < strip.size(); ++i) {
            const std::vector<double> of_a((*a)[i].adu.begin(), (*a)[i].adu.end());
            const std::vector<double> of_b((*b)[i].adu.begin(), (*b)[i].adu.end());
            levels.push_back(0.5 * (mean_of(of_a) + mean_of(of_b)));
            variances.push_back(0.5 * variance_between(of_a, of_b, 1.0));
        }
    }
    const auto variance = numerics::clipped_mean(variances, clip_sigma, clip_sigma);
    BiasNoise out;
    out.level_adu = mean_of(levels);
    out.variance_adu2 = variance.mean;
    if (variance.used > 1)
        out.variance_err_adu2 = variance.sigma / std::sqrt(static_cast<double>(variance.used));
    return out;
}

Result<std::vector<FlatBox>> noise_of_flats(const Frame& first, const Frame& second, const Frame& bias,
                                            const TransferGrid& grid) {
    std::vector<FlatBox> out;
    for (const auto& strip : grid.strips()) {
        const auto a = first.read_stored(strip), b = second.read_stored(strip), c = bias.read_stored(strip);
        for (const auto* read : {&a, &b, &c}) {
            if (!*read) return fail(read->error());
        }
        for (std::size_t i = 0; i < strip.size(); ++i) {
            for (int phase = 0; phase < grid.phases(); ++phase) {
                const auto of_a = grid.pixels((*a)[i], phase), of_b = grid.pixels((*b)[i], phase);
                const double zero = mean_of(grid.pixels((*c)[i], phase));
                FlatBox box;
                box.phase = phase;
                box.a_adu = mean_of(of_a) - zero;
                box.b_adu = mean_of(of_b) - zero;
                if (!(box.a_adu > 0.0) || !(box.b_adu > 0.0)) continue;
                box.variance_adu2 = variance_between(of_a, of_b, box.ratio());
                out.push_back(box);
            }
        }
    }
    return out;
}

Result<Exposed> look_at(const Frame& frame) {
    const FrameFacts& facts = frame.facts();
    const auto read =
        frame.read_stored(sample_boxes(facts.stored_width_px(), facts.stored_height_px(), sample_px));
    if (!read) return fail(read.error());
    std::vector<double> values;
    for (const Cutout& cutout : *read) {
        for (const float v : cutout.adu) {
            if (std::isfinite(v)) values.push_back(static_cast<double>(v));
        }
    }
    Exposed out;
    if (values.empty()) return out;
    out.level_adu = numerics::median(values);
    const double highest = *std::max_element(values.begin(), values.end());
    out.at_top = static_cast<double>(std::count(values.begin(), values.end(), highest)) /
                 static_cast<double>(values.size());
    const bool whole = std::all_of(values.begin(), values.end(),
                                   [](double v) { return v == std::floor(v) && std::abs(v) < 1e9; });
    if (!whole) return out;
    long long step = 0;
    for (const double v : values)
        step = std::gcd(step, static_cast<long long>(v - values.front()));
    out.step_adu = static_cast<double>(step);
    return out;
}

}  // namespace emberline::frame
