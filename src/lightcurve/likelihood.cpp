// SPDX-License-Identifier: MIT
// Notation: m model magnitude, F model flux on flux_zero_mag; r residual; V common errors, one a column;
// dF = −F dm / 1.0857, for slopes, common errors and extra scatter alike.
#include "lightcurve/likelihood.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "lightcurve/censored.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::lightcurve {
namespace {

double model_flux(double mag) {
    return flux_ratio(mag - flux_zero_mag);
}

double dot(std::span<const double> a, std::span<const double> b) {
    double sum = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i)
        sum += a[i] * b[i];
    return sum;
}

std::vector<double> column(const numerics::Matrix& m, std::size_t c) {
    std::vector<double> v(m.rows());
    for (std::size_t r = 0; r < m.rows(); ++r)
        v[r] = m(r, c);
    return v;
}

Problem not_determined() {
    return {.what = "The points do not determine the parameters of this model.",
            .where = {},
            .mend = "Add points at other times, or choose a simpler model."};
}

}  // namespace

Result<numerics::Matrix> inverse_normal(const numerics::Matrix& normal) {
    const std::size_t p = normal.rows();
    numerics::Matrix scaled(p, p), inverse(p, p);
    std::vector<double> scale(p);
    for (std::size_t j = 0; j < p; ++j) {
        if (!(normal(j, j) > 0.0) || !std::isfinite(normal(j, j))) return fail(not_determined());
        scale[j] = 1.0 / std::sqrt(normal(j, j));
    }
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j < p; ++j)
            scaled(i, j) = normal(i, j) * scale[i] * scale[j];
    }
    std::vector<double> unit(p);
    for (std::size_t j = 0; j < p; ++j) {
        unit.assign(p, 0.0);
        unit[j] = 1.0;
        const auto solved = numerics::linear_fit(scaled, unit);
        if (!solved) return fail(not_determined());
        for (std::size_t i = 0; i < p; ++i)
            inverse(i, j) = solved->parameters[i] * scale[i] * scale[j];
    }
    return inverse;
}

Likelihood::Likelihood(const LightCurve& curve, const Model& model, std::vector<std::size_t> used,
                       double reference_bjd_tdb, double mistaken_limit_probability)
    : curve_(curve), model_(model), mistaken_limit_(mistaken_limit_probability) {
    for (const std::size_t i : used) {
        const Point& point = curve.points[i];
        const double days = point.bjd_tdb - reference_bjd_tdb;
        if (point.flux) {
            rows_.push_back({i, days, true, point.flux->value, point.flux->err});
        } else if (point.is_limit) {
            const double flux = model_flux(*point.limit_mag);
            limits_.push_back({i, days, flux, flux / point.limit_sigma});
        } else {
            rows_.push_back({i, days, false, *point.magnitude_mag, *point.random_err_mag});
        }
    }
}

double Likelihood::model_magnitude(double days, std::span<const double> parameters) const {
    return model_.magnitude(days, parameters);
}

std::vector<double> Likelihood::magnitude_slopes(double days, std::span<const double> parameters) const {
    std::vector<double> slopes(parameters.size());
    model_.gradient(days, parameters, slopes);
    return slopes;
}

double Likelihood::limit_trust(std::size_t limit, std::span<const double> parameters) const {
    const Limit& l = limits_[limit];
    const double z = (l.flux - model_flux(model_magnitude(l.days, parameters))) / l.err;
    return censored_term(z, mistaken_limit_).trust;
}

Result<Expansion> Likelihood::expand(std::vector<double> parameters, const Noise& noise) const {
    const std::size_t n = rows_.size(), p = parameters.size(), k = curve_.common_names.size();
    std::vector<double> residuals(n), plain_variances(n), variances(n);
    numerics::Matrix slopes(n, p), common(n, k);
    for (std::size_t i = 0; i < n; ++i) {
        const Row& row = rows_[i];
        const double mag = model_magnitude(row.days, parameters);
        const double per_mag = row.in_flux ? -model_flux(mag) / mag_per_relative_flux : 1.0;
        residuals[i] = row.value - (row.in_flux ? model_flux(mag) : mag);
        const double scatter = per_mag * noise.extra_scatter_mag;
        plain_variances[i] = row.err * row.err + scatter * scatter;
        variances[i] = plain_variances[i] / noise.weights[i];
        const auto gradient = magnitude_slopes(row.days, parameters);
        for (std::size_t j = 0; j < p; ++j)
            slopes(i, j) = per_mag * gradient[j];
        const auto& errs = curve_.points[row.point].common_err_mag;
        for (std::size_t j = 0; j < errs.size(); ++j)
            common(i, j) = per_mag * errs[j];
    }
    auto covariance = numerics::LowRankCovariance::make(std::move(variances), std::move(common));
    if (!covariance) return fail(covariance.error());

    Expansion at{.parameters = std::move(parameters),
                 .residuals = std::move(residuals),
                 .slopes = std::move(slopes),
                 .plain_variances = std::move(plain_variances),
                 .covariance = std::move(*covariance),
                 .normal = numerics::Matrix(p, p),
                 .downhill = std::vector<double>(p)};
    at.chi2 = at.covariance.chi2(at.residuals);
    std::vector<std::vector<double>> columns;
    for (std::size_t j = 0; j < p; ++j)
        columns.push_back(column(at.slopes, j));
    for (std::size_t j = 0; j < p; ++j) {
        const auto whitened = at.covariance.solve(columns[j]);
        at.downhill[j] = dot(whitened, at.residuals);
        for (std::size_t i = 0; i < p; ++i)
            at.normal(i, j) = dot(columns[i], whitened);
    }
    for (const Limit& l : limits_) {
        const double flux = model_flux(model_magnitude(l.days, at.parameters));
        const auto term = censored_term((l.flux - flux) / l.err, mistaken_limit_);
        at.censored += term.minus_two_log;
        const auto gradient = magnitude_slopes(l.days, at.parameters);
        const double dz_per_mag = flux / mag_per_relative_flux / l.err;
        for (std::size_t i = 0; i < p; ++i) {
            at.downhill[i] += term.pull * dz_per_mag * gradient[i];
            for (std::size_t j = 0; j < p; ++j) {
                at.normal(i, j) += term.curvature * dz_per_mag * dz_per_mag * gradient[i] * gradient[j];
            }
        }
    }
    return at;
}

double Likelihood::objective(std::span<const double> parameters, const Expansion& around) const {
    std::vector<double> residuals(rows_.size());
    for (std::size_t i = 0; i < rows_.size(); ++i) {
        const double mag = model_magnitude(rows_[i].days, parameters);
        residuals[i] = rows_[i].value - (rows_[i].in_flux ? model_flux(mag) : mag);
    }
    double sum = around.covariance.chi2(residuals);
    for (const Limit& l : limits_) {
        const double flux = model_flux(model_magnitude(l.days, parameters));
        sum += censored_term((l.flux - flux) / l.err, mistaken_limit_).minus_two_log;
    }
    return sum;
}

Result<Expansion> Likelihood::climb(std::vector<double> start, const Noise& noise) const {
    constexpr int most_steps = 200;
    // Squared length of a step in units of the parameters' errors: 1e-5 sigma is beyond any use.
    constexpr double short_step = 1e-10;
    constexpr double most_damping = 1e12;
    auto at = expand(std::move(start), noise);
    if (!at) return at;
    double damping = 1e-6;
    for (int i = 0; i < most_steps; ++i) {
        const double here = at->chi2 + at->censored;
        numerics::Matrix damped = at->normal;
        for (std::size_t j = 0; j < damped.rows(); ++j)
            damped(j, j) *= 1.0 + damping;
        const auto inverse = inverse_normal(damped);
        if (!inverse) return fail(inverse.error());
        const auto step = numerics::multiply(*inverse, at->downhill);
        std::vector<double> moved = at->parameters;
        for (std::size_t j = 0; j < moved.size(); ++j)
            moved[j] += step[j];
        const double length2 = numerics::quadratic_form(at->normal, step, step);
        const double there = model_.allowed(moved) ? objective(moved, *at) : HUGE_VAL;
        // At the bottom, rounding decides; a step that small is taken whatever the sum says.
        if (there <= here || (length2 < short_step && std::isfinite(there))) {
            auto next = expand(std::move(moved), noise);
            if (!next) return next;
            at = std::move(next);
            if (length2 < short_step && damping < 1e-3) return at;
            damping = std::max(damping * 0.1, 1e-9);
        } else {
            damping *= 10.0;
            if (damping > most_damping) break;
        }
    }
    return fail({.what = fmt::format("The fit of the model {} does not converge.", model_.name()),
                 .where = {},
                 .mend = "Look at the points for wrong times or errors, or choose another range of dates."});
}

}  // namespace emberline::lightcurve
