// SPDX-License-Identifier: MIT
#include "lightcurve/samples.hpp"

#include <algorithm>
#include <cmath>

#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

Sample middle_of(std::span<const Sample> run) {
    std::vector<double> days, mags, errs;
    for (const Sample& s : run) {
        days.push_back(s.days);
        mags.push_back(s.mag);
        errs.push_back(s.err_mag);
    }
    return {numerics::median(days), numerics::median(mags),
            numerics::median(errs) / std::sqrt(static_cast<double>(run.size()))};
}

}  // namespace

std::vector<Sample> detections(const LightCurve& curve, double reference_bjd_tdb) {
    std::vector<Sample> samples;
    for (const Point& point : curve.points) {
        const double days = point.bjd_tdb - reference_bjd_tdb;
        if (point.is_limit) continue;
        if (point.magnitude_mag) {
            samples.push_back({days, *point.magnitude_mag, point.random_err_mag.value_or(0.0)});
        } else if (point.flux && point.flux->value > 0.0) {
            samples.push_back({days, magnitude_of_flux(point.flux->value),
                               mag_per_relative_flux * point.flux->err / point.flux->value});
        }
    }
    return samples;
}

std::vector<Sample> thinned(std::span<const Sample> samples, std::size_t most) {
    if (samples.size() <= most) return {samples.begin(), samples.end()};
    std::vector<Sample> kept;
    for (std::size_t k = 0; k < most; ++k) {
        const std::size_t from = k * samples.size() / most, to = (k + 1) * samples.size() / most;
        kept.push_back(middle_of(samples.subspan(from, to - from)));
    }
    return kept;
}

std::vector<Sample> nightly(std::span<const Sample> samples) {
    std::vector<Sample> nights;
    for (std::size_t from = 0, to = 0; from < samples.size(); from = to) {
        while (to < samples.size() && samples[to].days - samples[from].days <= one_night_d)
            ++to;
        nights.push_back(middle_of(samples.subspan(from, to - from)));
    }
    return nights;
}

std::vector<Sample> smoothed(std::span<const Sample> samples) {
    std::vector<Sample> middles(samples.begin(), samples.end());
    const std::size_t n = samples.size();
    if (n < 3) return middles;
    for (std::size_t i = 1; i + 1 < n; ++i)
        middles[i].mag = numerics::median({samples[i - 1].mag, samples[i].mag, samples[i + 1].mag});
    const auto smooth_end = [&](std::size_t end, std::size_t next, std::size_t second) {
        const Sample &a = middles[next], &b = middles[second];
        if (a.days == b.days) return;
        const double beyond = a.mag + (a.mag - b.mag) / (a.days - b.days) * (samples[end].days - a.days);
        middles[end].mag = numerics::median({samples[end].mag, a.mag, beyond});
    };
    smooth_end(0, 1, 2);
    smooth_end(n - 1, n - 2, n - 3);
    return middles;
}

Sample brightest_of(std::span<const Sample> samples) {
    const auto middles = smoothed(samples);
    return *std::min_element(middles.begin() + 1, middles.end() - 1,
                             [](const Sample& a, const Sample& b) { return a.mag < b.mag; });
}

}  // namespace emberline::lightcurve
