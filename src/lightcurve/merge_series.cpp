// SPDX-License-Identifier: MIT
#include "lightcurve/merge_series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>

namespace emberline::lightcurve {
namespace {

std::string unused_name(const std::vector<std::string>& used, const std::string& name) {
    std::string candidate = name;
    for (int n = 2; std::find(used.begin(), used.end(), candidate) != used.end(); ++n)
        candidate = fmt::format("{} ({})", name, n);
    return candidate;
}

// Appends one curve; its common errors get columns of their own, and its offset the last of them.
void append(LightCurve& merged, LightCurve curve, double offset_prior_mag) {
    const std::size_t first_series = merged.series.size();
    for (const std::string& name : curve.series)
        merged.series.push_back(unused_name(merged.series, name));
    const std::string& name = merged.series[first_series];
    const std::size_t first_common = merged.common_names.size(), own = curve.common_names.size();
    for (const std::string& common : curve.common_names)
        merged.common_names.push_back(fmt::format("{}: {}", name, common));
    const bool is_offset = offset_prior_mag > 0.0;
    if (is_offset) merged.common_names.push_back(std::string(offset_prefix) + name);
    for (Point& point : curve.points) {
        point.series += first_series;
        std::vector<double> errs(first_common, 0.0);
        point.common_err_mag.resize(own, 0.0);
        errs.insert(errs.end(), point.common_err_mag.begin(), point.common_err_mag.end());
        if (is_offset) errs.push_back(offset_prior_mag);
        point.common_err_mag = std::move(errs);
        merged.points.push_back(std::move(point));
    }
}

}  // namespace

LightCurve merge_series(std::vector<LightCurve> curves, double offset_prior_mag) {
    if (curves.empty()) return {};
    LightCurve merged = std::move(curves.front());
    for (auto curve = std::next(curves.begin()); curve != curves.end(); ++curve)
        append(merged, std::move(*curve), offset_prior_mag);
    for (Point& point : merged.points)
        point.common_err_mag.resize(merged.common_names.size(), 0.0);
    sort_by_time(merged);
    return merged;
}

std::vector<SeriesOffset> offsets_of(const LightCurve& curve, const CurveFit& fit) {
    std::vector<SeriesOffset> offsets;
    for (std::size_t k = 0; k < std::min(curve.common_names.size(), fit.commons.size()); ++k) {
        const std::string& name = curve.common_names[k];
        if (!name.starts_with(offset_prefix)) continue;
        const auto moved = std::find_if(curve.points.begin(), curve.points.end(), [&](const Point& p) {
            return k < p.common_err_mag.size() && p.common_err_mag[k] != 0.0;
        });
        if (moved == curve.points.end()) continue;
        const double sigma = moved->common_err_mag[k];
        offsets.push_back({.series = name.substr(offset_prefix.size()),
                           .mag = {sigma * fit.commons[k].value, std::abs(sigma) * fit.commons[k].err}});
    }
    return offsets;
}

}  // namespace emberline::lightcurve
