// SPDX-License-Identifier: MIT
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "lightcurve/refit.hpp"
#include "lightcurve/sample_fit.hpp"
#include "numerics/robust.hpp"
#include "numerics/share_out.hpp"

namespace emberline::lightcurve {
namespace {

using Night = std::vector<std::size_t>;  // indices into the curve

// Series by series, the nights of the points used.
std::vector<std::vector<Night>> nights_of(const LightCurve& curve, const std::vector<std::size_t>& used) {
    std::vector<std::size_t> in_time = used;
    std::stable_sort(in_time.begin(), in_time.end(), [&](std::size_t a, std::size_t b) {
        return curve.points[a].bjd_tdb < curve.points[b].bjd_tdb;
    });
    std::size_t series = 0;
    for (const std::size_t i : in_time)
        series = std::max(series, curve.points[i].series + 1);
    std::vector<std::vector<Night>> nights(series);
    for (const std::size_t i : in_time) {
        std::vector<Night>& own = nights[curve.points[i].series];
        if (own.empty() || curve.points[i].bjd_tdb - curve.points[own.back().front()].bjd_tdb >= one_night_d)
            own.emplace_back();
        own.back().push_back(i);
    }
    std::erase_if(nights, [](const std::vector<Night>& own) { return own.empty(); });
    return nights;
}

// As it would have been measured with other common errors, one sigma times `units` of each.
Point with_commons(Point point, const std::vector<double>& units) {
    double mag = 0.0;
    for (std::size_t k = 0; k < point.common_err_mag.size(); ++k)
        mag += units[k] * point.common_err_mag[k];
    if (point.magnitude_mag) *point.magnitude_mag += mag;
    if (point.limit_mag) *point.limit_mag += mag;
    if (point.flux) point.flux->value *= flux_ratio(mag);
    return point;
}

LightCurve drawn(const LightCurve& curve, const std::vector<std::vector<Night>>& nights,
                 numerics::Random random) {
    std::vector<double> units(curve.common_names.size());
    for (double& u : units)
        u = random.gaussian();
    LightCurve again{
        .band = curve.band, .series = curve.series, .common_names = curve.common_names, .points = {}};
    for (const std::vector<Night>& own : nights) {
        const auto n = static_cast<double>(own.size());
        for (std::size_t draw = 0; draw < own.size(); ++draw) {
            const auto which = static_cast<std::size_t>(random.uniform() * n);
            for (const std::size_t i : own[std::min(which, own.size() - 1)])
                again.points.push_back(with_commons(curve.points[i], units));
        }
    }
    sort_by_time(again);
    return again;
}

}  // namespace

Result<Bootstrap> bootstrap(const LightCurve& curve, std::shared_ptr<const Model> model, const CurveFit& fit,
                            const FitOptions& options, std::size_t trials, std::uint64_t seed, int threads) {
    const auto original = refit(curve, *model, fit, options);
    if (!original) return fail(original.error());
    const auto nights = nights_of(curve, within(curve, options.from_bjd_tdb, options.to_bjd_tdb));
    std::size_t n = 0;
    for (const std::vector<Night>& own : nights)
        n += own.size();
    const std::size_t p = fit.parameters.size();
    if (n <= p) {
        return fail({.what = fmt::format("{} nights cannot be drawn from for {} parameters.", n, p),
                     .where = "Bootstrap",
                     .mend = "Add nights, or choose a simpler model."});
    }
    const numerics::Random random(seed);
    std::vector<std::optional<std::vector<double>>> found(trials);
    numerics::share_out(trials, threads, [&](std::size_t trial) {
        const LightCurve again = drawn(curve, nights, random.stream(trial));
        std::vector<std::size_t> all(again.points.size());
        for (std::size_t i = 0; i < all.size(); ++i)
            all[i] = i;
        const Likelihood likelihood(again, *model, all, fit.reference_bjd_tdb,
                                    mistaken_limit(options.robust));
        auto climbed = likelihood.climb(original->place, original->noise);
        if (climbed) found[trial] = std::move(climbed->place.parameters);
    });
    std::erase_if(found, [](const auto& one) { return !one; });
    if (found.size() * 2 < trials || found.size() < 2) {
        return fail(
            {.what =
                 fmt::format("Only {} of {} curves of drawn nights could be fitted.", found.size(), trials),
             .where = "Bootstrap",
             .mend = "The points hold this model up too thinly: add nights, or choose a simpler one."});
    }
    Bootstrap result{.parameters = numerics::Matrix(found.size(), p), .errors = {}, .asked = trials};
    const double widen = std::sqrt(static_cast<double>(n) / static_cast<double>(n - p));
    for (std::size_t j = 0; j < p; ++j) {
        std::vector<double> values;
        for (std::size_t row = 0; row < found.size(); ++row) {
            values.push_back((*found[row])[j]);
            result.parameters(row, j) = values.back();
        }
        result.errors.push_back({numerics::median(values), widen * numerics::robust_spread(values)});
    }
    return result;
}

}  // namespace emberline::lightcurve
