// SPDX-License-Identifier: MIT
// Notation: m magnitude of the curve, F flux of it, F' = dF/dm; s the row's scale, z residual over it; ν of
// the Student-t, w its weight.
#include "lightcurve/process_rows.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "lightcurve/censored.hpp"
#include "lightcurve/student_t.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

// Beyond this a row says nothing: a hundred magnitudes.
constexpr double vague_variance_mag2 = 1e4;

Touch touch_limit(const ProcessRow& row, double mag, double mistaken) {
    const double slope = flux_of_magnitude(mag) / mag_per_relative_flux / row.err;  // dz/dm
    const double z = (row.value - flux_of_magnitude(mag)) / row.err;
    const auto term = censored_term(z, mistaken);
    Touch t{.weight = term.trust, .is_limit = true};
    t.variance = 1.0 / std::max(term.curvature * slope * slope, 1.0 / vague_variance_mag2);
    const double step = t.variance * term.pull * slope;
    t.value = mag + step;
    t.correction =
        term.minus_two_log - step * step / t.variance - std::log(2.0 * std::numbers::pi * t.variance);
    return t;
}

}  // namespace

std::vector<ProcessRow> process_rows(const LightCurve& curve, const std::vector<std::size_t>& used,
                                     double reference_bjd_tdb) {
    std::vector<ProcessRow> rows;
    for (const std::size_t i : used) {
        const Point& point = curve.points[i];
        ProcessRow row{.point = i, .days = point.bjd_tdb - reference_bjd_tdb};
        if (point.flux) {
            row.kind = ProcessRow::Kind::flux;
            row.value = point.flux->value;
            row.err = point.flux->err;
        } else if (point.is_limit) {
            row.kind = ProcessRow::Kind::limit;
            row.value = flux_of_magnitude(*point.limit_mag);
            row.err = row.value / point.limit_sigma;
        } else {
            row.value = *point.magnitude_mag;
            row.err = *point.random_err_mag;
        }
        rows.push_back(row);
    }
    std::stable_sort(rows.begin(), rows.end(),
                     [](const ProcessRow& a, const ProcessRow& b) { return a.days < b.days; });
    return rows;
}

Touch touch(const ProcessRow& row, double curve_mag, double curve_variance, const RowNoise& noise) {
    if (row.kind == ProcessRow::Kind::limit)
        return touch_limit(row, curve_mag, noise.mistaken_limit_probability);
    Touch t{.value = row.value, .variance = row.err * row.err};
    double residual = row.value - curve_mag;
    double scale2 = t.variance;
    if (row.kind == ProcessRow::Kind::flux) {
        const double flux = flux_of_magnitude(curve_mag), slope = flux / mag_per_relative_flux;  // −F'
        residual = (flux - row.value) / slope;
        scale2 /= slope * slope;
        // Where the flux lies below the curve, −ln L bends more than its tangent does (F'' is not zero), and
        // the step to the touching Gaussian's middle stays shorter than 1.09 mag. Above it would bend less,
        // or the wrong way: there the tangent stands.
        const double bend = std::max((2.0 * flux - row.value) / flux, 1.0);
        t.variance = scale2 / bend;
        t.value = curve_mag + residual / bend;
        // The likelihood is one of flux, and at the curve's magnitude it is the row's own.
        t.correction =
            2.0 * std::log(slope) + std::log(bend) + residual * residual * (1.0 - 1.0 / bend) / scale2;
    }
    scale2 += noise.extra_scatter_mag * noise.extra_scatter_mag;
    t.z2 = residual * residual / scale2;
    if (noise.student_nu) {
        const double z2 = t.z2 + curve_variance / scale2;
        t.weight = tail_weight(z2, noise.student_nu);
        t.correction += minus_two_log_tail(z2, noise.student_nu) -
                        minus_two_log_tail(t.weight * z2, std::nullopt) + std::log(t.weight);
    }
    return t;
}

std::vector<double> running_medians(const std::vector<ProcessRow>& rows) {
    std::vector<double> days, mags;
    for (const ProcessRow& row : rows) {
        if (row.kind == ProcessRow::Kind::limit) continue;
        if (row.kind == ProcessRow::Kind::flux && !(row.value > 0.0)) continue;
        days.push_back(row.days);
        mags.push_back(row.kind == ProcessRow::Kind::magnitude
                           ? row.value
                           : magnitude_of_flux(std::max(row.value, row.err)));
    }
    const std::size_t n = mags.size();
    std::vector<double> medians(n);
    for (std::size_t i = 0; i < n; ++i) {
        const std::size_t from = i < 2 ? 0 : i - 2, to = std::min(i + 3, n);
        // A window cut short at an end stays symmetric: a slope must not shift it.
        const std::size_t half = std::min(i - from, to - 1 - i);
        medians[i] = numerics::median({mags.begin() + static_cast<std::ptrdiff_t>(i - half),
                                       mags.begin() + static_cast<std::ptrdiff_t>(i + half + 1)});
    }
    // At an end, the middle one of the value itself, its neighbour, and the straight line through the next
    // two (Tukey 1977).
    const auto mend_end = [&](std::size_t end, std::size_t near, std::size_t far) {
        const double span = days[near] - days[far];
        const double line =
            span == 0.0 ? medians[near]
                        : medians[near] + (medians[near] - medians[far]) * (days[end] - days[near]) / span;
        medians[end] = numerics::median({mags[end], medians[near], line});
    };
    if (n >= 5) {
        mend_end(0, 1, 2);
        mend_end(n - 1, n - 2, n - 3);
    }
    std::vector<double> out;
    for (const ProcessRow& row : rows) {
        const auto next =
            static_cast<std::size_t>(std::lower_bound(days.begin(), days.end(), row.days) - days.begin());
        if (next == n || next == 0 || days[next] == row.days) {
            out.push_back(medians[std::min(next, n - 1)]);
            continue;
        }
        const double share = (row.days - days[next - 1]) / (days[next] - days[next - 1]);
        out.push_back(medians[next - 1] + share * (medians[next] - medians[next - 1]));
    }
    return out;
}

}  // namespace emberline::lightcurve
