// SPDX-License-Identifier: MIT
#include "picture/curve_marks.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <unordered_set>

#include "lightcurve/merge_series.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::picture {
namespace {

using lightcurve::Point;

// An error bar longer than this would flatten everything else; it is cut off at the panel's edge.
constexpr double longest_bar_mag = 1.0;
constexpr int samples_of_line = 160;
constexpr double stray_mag = 1.0;  // apart from all others by more than this: see range_without_strays()

std::optional<double> magnitude_of(const Point& point) {
    if (point.magnitude_mag) return point.magnitude_mag;
    if (point.flux && point.flux->value > 0.0) return lightcurve::magnitude_of_flux(point.flux->value);
    return std::nullopt;
}

double random_error_of(const Point& point) {
    double err = 0.0;
    if (point.random_err_mag) {
        err = *point.random_err_mag;
    } else if (point.flux && point.flux->value > 0.0) {
        err = mag_per_relative_flux * point.flux->err / point.flux->value;
    }
    return std::isfinite(err) && err > 0.0 ? err : 0.0;
}

std::optional<double> limit_of(const Point& point) {
    if (point.limit_mag) return point.limit_mag;
    if (!point.flux) return std::nullopt;
    const double flux = std::max(point.flux->value, 0.0) + point.limit_sigma * point.flux->err;
    if (!(flux > 0.0)) return std::nullopt;
    return lightcurve::magnitude_of_flux(flux);
}

void include(std::optional<Range>& range, double value) {
    if (!std::isfinite(value)) return;
    if (!range) range = Range{value, value};
    range->low = std::min(range->low, value);
    range->high = std::max(range->high, value);
}

Range padded(Range range, double least_span, double share) {
    const double missing = std::max(least_span - range.span(), 0.0) / 2.0;
    range.low -= missing;
    range.high += missing;
    const double pad = share * range.span();
    return {range.low - pad, range.high + pad};
}

std::size_t index_of(const std::vector<std::string>& names, const std::string& name) {
    const auto at = std::find(names.begin(), names.end(), name);
    return at == names.end() ? 0 : static_cast<std::size_t>(at - names.begin());
}

// Where detections stand, and limits if asked.
std::vector<double> heights_of(const BandMarks& band, bool limits) {
    std::vector<double> heights;
    for (const Mark& m : band.marks)
        heights.push_back(m.mag);
    for (std::size_t i = 0; limits && i < band.limits.size(); ++i)
        heights.push_back(band.limits[i].mag);
    return heights;
}

// The spot of paper of each mark, as one number.
struct Cells {
    Range jd, mag;
    double columns, rows;
    [[nodiscard]] std::uint64_t operator()(double at_jd, double at_mag, std::size_t kind) const {
        const auto cell = [](double value, const Range& range, double n) {
            return static_cast<std::uint64_t>(std::clamp((value - range.low) / range.span() * n, 0.0, n));
        };
        return (cell(at_jd, jd, columns) << 32) | (cell(at_mag, mag, rows) << 8) | (kind & 0xffu);
    }
};

template <class Points, class Kind>
Points first_of_each(const Points& points, const Cells& cells, Kind kind) {
    std::unordered_set<std::uint64_t> taken;
    Points kept;
    for (const auto& p : points) {
        if (taken.insert(cells(p.jd, p.mag, kind(p))).second) kept.push_back(p);
    }
    return kept;
}

}  // namespace

std::vector<std::string> series_of(const CurvePicture& picture) {
    std::vector<std::string> names;
    for (const CurveOnPaper& paper : picture.bands) {
        for (const std::string& name : paper.curve.series) {
            if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
        }
    }
    const auto own = std::find(names.begin(), names.end(), "own");
    if (own != names.end()) std::rotate(names.begin(), own, own + 1);
    return names;
}

std::vector<LineSample> line_of(const lightcurve::CurveFit& fit, double shift_mag) {
    std::vector<LineSample> line;
    if (!fit.prediction) return line;
    const double from = fit.from_bjd_tdb, span = fit.to_bjd_tdb - from;
    for (int i = 0; i <= samples_of_line; ++i) {
        const double t = from + span * i / samples_of_line;
        const ValueWithError at = fit.prediction->magnitude(t);
        if (std::isfinite(at.value))
            line.push_back({t, at.value + shift_mag, std::isfinite(at.err) ? at.err : 0.0});
    }
    return line;
}

BandMarks marks_of(const CurveOnPaper& paper, const std::vector<std::string>& series) {
    BandMarks band;
    const std::vector<std::string>& names = paper.curve.series;
    for (std::size_t i = 0; i < paper.curve.points.size(); ++i) {
        const Point& point = paper.curve.points[i];
        if (!std::isfinite(point.bjd_tdb)) continue;
        const std::size_t whose = point.series < names.size() ? index_of(series, names[point.series]) : 0;
        double offset =
            point.series < paper.series_offset_mag.size() ? paper.series_offset_mag[point.series] : 0.0;
        if (!std::isfinite(offset)) offset = 0.0;
        const double up = paper.shift_mag - offset;
        if (point.is_limit) {
            const auto limit = limit_of(point);
            if (limit && std::isfinite(*limit)) band.limits.push_back({point.bjd_tdb, *limit + up, whose, i});
            continue;
        }
        const auto mag = magnitude_of(point);
        if (!mag || !std::isfinite(*mag)) continue;
        Mark mark{.jd = point.bjd_tdb,
                  .mag = *mag + up,
                  .random_err = random_error_of(point),
                  .series = whose,
                  .point = i};
        double variance = mark.random_err * mark.random_err;
        for (std::size_t k = 0; k < point.common_err_mag.size(); ++k) {
            // An offset that was taken off is no error of the point any more.
            const bool taken_off = !paper.series_offset_mag.empty() && k < paper.curve.common_names.size() &&
                                   paper.curve.common_names[k].starts_with(lightcurve::offset_prefix);
            if (!taken_off) variance += point.common_err_mag[k] * point.common_err_mag[k];
        }
        mark.total_err = std::isfinite(variance) ? std::sqrt(variance) : mark.random_err;
        if (paper.fit && i < paper.fit->points.size() && paper.fit->points[i].weight > 0.0) {
            mark.outlier = paper.fit->points[i].weight < 0.5;
            const double residual = *mag - offset - paper.fit->points[i].model_mag;
            if (std::isfinite(residual)) mark.residual_mag = residual;
        }
        band.marks.push_back(mark);
    }
    if (paper.fit) band.line = line_of(*paper.fit, paper.shift_mag);
    return band;
}

std::optional<Range> range_without_strays(std::vector<double> values, double apart) {
    std::erase_if(values, [](double v) { return !std::isfinite(v); });
    if (values.empty()) return std::nullopt;
    std::sort(values.begin(), values.end());
    std::size_t first = 0, last = values.size() - 1;
    constexpr std::size_t least_left = 4;
    const std::size_t most = std::max<std::size_t>(values.size() / 20, 1);
    for (std::size_t dropped = 1; dropped <= most; ++dropped) {
        if (values.size() < dropped + least_left) break;
        const std::size_t low = dropped, high = values.size() - 1 - dropped;
        const auto far = [&](double gap, double rest) { return gap > std::max(apart, 0.6 * rest); };
        if (far(values[low] - values[low - 1], values[last] - values[low])) first = low;
        if (far(values[high + 1] - values[high], values[high] - values[first])) last = high;
    }
    return Range{values[first], values[last]};
}

std::optional<CurveRanges> ranges_of(const CurvePicture& picture, const std::vector<BandMarks>& bands) {
    std::optional<Range> jd, mag;
    CurveRanges ranges;
    std::vector<double> heights;
    for (const BandMarks& band : bands) {
        // A lonely detection is no stray among limits.
        const Range usual = range_without_strays(heights_of(band, false), stray_mag).value_or(Range{});
        const Range with_limits = range_without_strays(heights_of(band, true), stray_mag).value_or(Range{});
        for (const Mark& m : band.marks) {
            include(jd, m.jd);
            if (m.total_err > 1.05 * m.random_err) ranges.errors_differ = true;
            if (m.residual_mag)
                heights.push_back(std::abs(*m.residual_mag) + std::min(m.total_err, longest_bar_mag));
            if (!usual.holds(m.mag)) continue;
            include(mag, m.mag - std::min(m.total_err, longest_bar_mag));
            include(mag, m.mag + std::min(m.total_err, longest_bar_mag));
        }
        for (const LimitMark& l : band.limits) {
            include(jd, l.jd);
            if (!with_limits.holds(l.mag)) continue;
            // Room for the arrow, and no false precision where there are limits alone.
            include(mag, l.mag - 0.1);
            include(mag, l.mag + 0.2);
        }
    }
    if (mag) {
        const double room = 0.09 * mag->span();
        const Range points = *mag;
        for (const BandMarks& band : bands) {
            for (const LimitMark& l : band.limits) {
                if (points.holds(l.mag)) include(mag, l.mag + room);
            }
        }
    }
    if (!jd || !mag) return std::nullopt;
    // One point alone stands in the middle of two days and a fifth of a magnitude.
    const bool alone = jd->span() == 0.0;
    const double least_days = alone ? 2.0 : 0.02, least_mag = alone ? 0.2 : 0.02;
    // The line may enlarge the panel, but not without end where it runs far from the points.
    Range wide = padded(*mag, least_mag, 0.3);
    for (const BandMarks& band : bands) {
        for (const LineSample& at : band.line)
            include(mag, std::clamp(at.mag, wide.low, wide.high));
    }
    ranges.jd = padded(*jd, least_days, 0.04);
    ranges.mag = padded(*mag, least_mag, 0.07);
    if (!heights.empty()) {
        // The panel shows at least three quarters of the points in full, and what fits on four times as much.
        std::sort(heights.begin(), heights.end());
        const double usual = heights[std::min(heights.size() - 1, heights.size() * 3 / 4)];
        double half = 0.0;
        for (const double h : heights) {
            if (h <= 4.0 * usual) half = std::max(half, h);
        }
        ranges.residual_mag = std::max(1.15 * half, 0.005);
    }
    double lag_sum = 0.0, n = 0.0;
    for (const CurveOnPaper& paper : picture.bands) {
        for (const Point& point : paper.curve.points) {
            const double lag = point.bjd_tdb - point.jd_utc;
            // Light time and TDB − UTC together stay within 10 minutes; anything else is a time not given.
            if (std::abs(lag) > 0.01) continue;
            lag_sum += lag;
            n += 1.0;
        }
    }
    if (n > 0.0) ranges.utc_lag_d = lag_sum / n;
    return ranges;
}

std::size_t thin_out(std::vector<BandMarks>& bands, const CurveRanges& ranges, std::size_t most) {
    const auto count = [](const std::vector<BandMarks>& all) {
        return std::accumulate(
            all.begin(), all.end(), std::size_t{0},
            [](std::size_t n, const BandMarks& band) { return n + band.marks.size() + band.limits.size(); });
    };
    const std::size_t all = count(bands);
    const std::vector<BandMarks> whole = all > most ? bands : std::vector<BandMarks>{};
    for (double columns = 600.0; count(bands) > most && columns > 4.0; columns *= 0.8) {
        const Cells cells{ranges.jd, ranges.mag, columns, 0.6 * columns};
        for (std::size_t b = 0; b < bands.size(); ++b) {
            // An outlier stays beside the points that are none, and every series beside the others.
            bands[b].marks = first_of_each(whole[b].marks, cells,
                                           [](const Mark& m) { return 2 * m.series + (m.outlier ? 1 : 0); });
            bands[b].limits =
                first_of_each(whole[b].limits, cells, [](const LimitMark& l) { return l.series; });
        }
    }
    return all;
}

std::optional<double> curve_at(const BandMarks& band, double jd) {
    const auto between = [jd](const auto& samples) -> std::optional<double> {
        const auto after = std::lower_bound(samples.begin(), samples.end(), jd,
                                            [](const auto& s, double t) { return s.jd < t; });
        if (after == samples.end() || (after == samples.begin() && after->jd > jd)) return std::nullopt;
        if (after == samples.begin()) return after->mag;
        const auto before = after - 1;
        const double share = (jd - before->jd) / (after->jd - before->jd);
        return before->mag + share * (after->mag - before->mag);
    };
    const auto on_line = between(band.line);
    return on_line ? on_line : between(band.marks);
}

std::vector<double> moved_apart(std::span<const double> centres, std::span<const double> lengths, double low,
                                double high) {
    std::vector<std::size_t> order(centres.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return centres[a] < centres[b]; });
    std::vector<double> placed(centres.begin(), centres.end());
    // Neighbours that touch move as one block, to the mean of where its members would be.
    struct Block {
        std::size_t first, n;
        double length, start;
    };
    std::vector<Block> blocks;
    const auto settle = [&](Block& block) {
        double wanted = 0.0, before = 0.0;
        for (std::size_t k = 0; k < block.n; ++k) {
            const std::size_t i = order[block.first + k];
            wanted += centres[i] - before - 0.5 * lengths[i];
            before += lengths[i];
        }
        block.length = before;
        block.start = std::max(std::min(wanted / static_cast<double>(block.n), high - before), low);
    };
    for (std::size_t k = 0; k < order.size(); ++k) {
        blocks.push_back({k, 1, 0.0, 0.0});
        settle(blocks.back());
        while (blocks.size() > 1) {
            Block& previous = blocks[blocks.size() - 2];
            if (previous.start + previous.length <= blocks.back().start) break;
            previous.n += blocks.back().n;
            blocks.pop_back();
            settle(previous);
        }
    }
    for (const Block& block : blocks) {
        double at = block.start;
        for (std::size_t k = 0; k < block.n; ++k) {
            const std::size_t i = order[block.first + k];
            placed[i] = at + 0.5 * lengths[i];
            at += lengths[i];
        }
    }
    return placed;
}

}  // namespace emberline::picture
