// SPDX-License-Identifier: MIT
// Notation: m model magnitude, F model flux on flux_zero_mag; r residual; V common errors, one a column; dF =
// −F dm / 1.0857, for slopes, common errors and extra scatter alike; N normal matrix.
#include "lightcurve/likelihood.hpp"

#include <algorithm>
#include <cmath>

#include "lightcurve/censored.hpp"
#include "lightcurve/normal_matrix.hpp"
#include "lightcurve/student_t.hpp"

namespace emberline::lightcurve {
std::vector<double> Expansion::squared_residuals() const {
    std::vector<double> z2(residuals.size());
    for (std::size_t i = 0; i < z2.size(); ++i)
        z2[i] = residuals[i] * residuals[i] / variances[i];
    return z2;
}

Likelihood::Likelihood(const LightCurve& curve, const Model& model, const std::vector<std::size_t>& used,
                       double reference_bjd_tdb, double mistaken_limit_probability)
    : model_(&model), mistaken_limit_(mistaken_limit_probability) {
    for (const std::size_t i : used) {
        const Point& point = curve.points[i];
        const double days = point.bjd_tdb - reference_bjd_tdb;
        if (point.flux) {
            rows_.push_back({i, days, true, point.flux->value, point.flux->err});
        } else if (point.is_limit) {
            const double flux = flux_of_magnitude(*point.limit_mag);
            limits_.push_back({i, days, flux, flux / point.limit_sigma});
        } else {
            rows_.push_back({i, days, false, *point.magnitude_mag, *point.random_err_mag});
        }
    }
    common_ = numerics::Matrix(rows_.size(), curve.common_names.size());
    for (std::size_t r = 0; r < rows_.size(); ++r) {
        const auto& errs = curve.points[rows_[r].point].common_err_mag;
        for (std::size_t k = 0; k < errs.size(); ++k)
            common_(r, k) = errs[k];
    }
    for (const ParameterInfo& info : model.parameters(reference_bjd_tdb))
        priors_.push_back(info.prior);
}

std::size_t Likelihood::priors() const {
    return static_cast<std::size_t>(
        std::count_if(priors_.begin(), priors_.end(), [](const auto& prior) { return prior.has_value(); }));
}

Place Likelihood::place(std::vector<double> parameters) const {
    return {.parameters = std::move(parameters), .commons = std::vector<double>(commons())};
}

double Likelihood::common_magnitude(std::size_t row, std::span<const double> commons) const {
    double mag = 0.0;
    for (std::size_t k = 0; k < commons.size(); ++k)
        mag += common_(row, k) * commons[k];
    return mag;
}

Likelihood::Measured Likelihood::measured(std::size_t row, double magnitude, const Noise& noise) const {
    const Row& r = rows_[row];
    const double model = r.in_flux ? flux_of_magnitude(magnitude) : magnitude;
    const double flux_slope = r.in_flux ? -model / mag_per_relative_flux : 1.0;
    const double scatter = flux_slope * noise.extra_scatter_mag;
    return {.residual = r.value - model,
            .variance = (r.err * r.err + scatter * scatter) * noise.widening * noise.widening,
            .flux_slope = flux_slope};
}

double Likelihood::limit_z(const Limit& limit, double magnitude) const {
    return (limit.flux - flux_of_magnitude(magnitude)) / limit.err;
}

double Likelihood::limit_trust(std::size_t limit, std::span<const double> parameters) const {
    const Limit& l = limits_[limit];
    return censored_term(limit_z(l, model_->magnitude(l.days, parameters)), mistaken_limit_).trust;
}

double Likelihood::prior_depth(std::span<const double> parameters) const {
    double sum = 0.0;
    for (std::size_t j = 0; j < priors_.size(); ++j) {
        if (!priors_[j]) continue;
        const double z = (parameters[j] - priors_[j]->mean) / priors_[j]->sigma;
        sum += z * z;
    }
    return sum;
}

void Likelihood::add_beside(Expansion& at) const {
    const std::vector<double>& parameters = at.place.parameters;
    const std::size_t p = parameters.size();
    std::vector<double> gradient(p);
    for (const Limit& l : limits_) {
        const double mag = model_->magnitude(l.days, parameters);
        const auto term = censored_term(limit_z(l, mag), mistaken_limit_);
        at.depth_beside += term.minus_two_log;
        model_->gradient(l.days, parameters, gradient);
        const double dz_per_mag = flux_of_magnitude(mag) / mag_per_relative_flux / l.err;
        for (std::size_t i = 0; i < p; ++i) {
            at.downhill_beside[i] += term.pull * dz_per_mag * gradient[i];
            for (std::size_t j = 0; j < p; ++j)
                at.normal_beside(i, j) +=
                    term.curvature * dz_per_mag * dz_per_mag * gradient[i] * gradient[j];
        }
    }
    at.depth_beside += prior_depth(parameters);
    for (std::size_t j = 0; j < p; ++j) {
        if (!priors_[j]) continue;
        const double weight = 1.0 / (priors_[j]->sigma * priors_[j]->sigma);
        at.normal_beside(j, j) += weight;
        at.downhill_beside[j] += weight * (priors_[j]->mean - parameters[j]);
    }
    for (std::size_t k = 0; k < at.place.commons.size(); ++k) {
        const double c = at.place.commons[k];
        at.depth_beside += c * c;
        at.normal_beside(p + k, p + k) += 1.0;
        at.downhill_beside[p + k] -= c;
    }
}

Expansion Likelihood::expand(Place place, const Noise& noise) const {
    const std::size_t n = rows_.size(), p = place.parameters.size(), unknowns = p + commons();
    Expansion at{.place = std::move(place),
                 .noise = noise,
                 .residuals = std::vector<double>(n),
                 .variances = std::vector<double>(n),
                 .flux_slopes = std::vector<double>(n),
                 .slopes = numerics::Matrix(n, unknowns),
                 .normal_beside = numerics::Matrix(unknowns, unknowns),
                 .downhill_beside = std::vector<double>(unknowns)};
    add_beside(at);
    at.depth = at.depth_beside;
    at.normal = at.normal_beside;
    at.downhill = at.downhill_beside;
    std::vector<double> gradient(p);
    for (std::size_t i = 0; i < n; ++i) {
        const double mag =
            model_->magnitude(rows_[i].days, at.place.parameters) + common_magnitude(i, at.place.commons);
        const Measured row = measured(i, mag, noise);
        at.residuals[i] = row.residual;
        at.variances[i] = row.variance;
        at.flux_slopes[i] = row.flux_slope;
        model_->gradient(rows_[i].days, at.place.parameters, gradient);
        for (std::size_t j = 0; j < p; ++j)
            at.slopes(i, j) = row.flux_slope * gradient[j];
        for (std::size_t k = 0; k < commons(); ++k)
            at.slopes(i, p + k) = row.flux_slope * common_(i, k);
        const double z2 = row.residual * row.residual / row.variance;
        const double weight = tail_weight(z2, noise.student_nu) / row.variance;
        at.depth += tail_depth(z2, noise.student_nu);
        add_row(at.normal, at.slopes, i, weight);
        for (std::size_t j = 0; j < unknowns; ++j)
            at.downhill[j] += weight * row.residual * at.slopes(i, j);
    }
    mirror(at.normal);
    return at;
}

double Likelihood::depth(const Place& place, const Expansion& around) const {
    double sum = prior_depth(place.parameters);
    for (const double c : place.commons)
        sum += c * c;
    for (std::size_t i = 0; i < rows_.size(); ++i) {
        const double mag =
            model_->magnitude(rows_[i].days, place.parameters) + common_magnitude(i, place.commons);
        const double r = rows_[i].value - (rows_[i].in_flux ? flux_of_magnitude(mag) : mag);
        sum += tail_depth(r * r / around.variances[i], around.noise.student_nu);
    }
    for (const Limit& l : limits_) {
        const double mag = model_->magnitude(l.days, place.parameters);
        sum += censored_term(limit_z(l, mag), mistaken_limit_).minus_two_log;
    }
    return sum;
}

double Likelihood::minus_two_log(Place near, const Noise& noise) const {
    constexpr int most_turns = 60;
    constexpr double still = 1e-12;
    if (!model_->allowed(near.parameters)) return HUGE_VAL;
    const std::size_t n = rows_.size(), k = commons();
    std::vector<double> mags(n);
    for (std::size_t i = 0; i < n; ++i)
        mags[i] = model_->magnitude(rows_[i].days, near.parameters);
    std::vector<double>& c = near.commons;
    for (int turn = 0; turn < most_turns && k > 0; ++turn) {
        numerics::Matrix normal(k, k);
        std::vector<double> downhill(k);
        for (std::size_t a = 0; a < k; ++a) {
            normal(a, a) = 1.0;
            downhill[a] = -c[a];
        }
        for (std::size_t i = 0; i < n; ++i) {
            const Measured row = measured(i, mags[i] + common_magnitude(i, c), noise);
            const double weight =
                tail_weight(row.residual * row.residual / row.variance, noise.student_nu) / row.variance;
            add_row(normal, common_, i, weight * row.flux_slope * row.flux_slope);
            for (std::size_t a = 0; a < k; ++a)
                downhill[a] += weight * row.residual * row.flux_slope * common_(i, a);
        }
        mirror(normal);
        const auto factor = NormalFactor::make(normal);
        if (!factor) return HUGE_VAL;
        const auto step = factor->solve(downhill);
        double length2 = 0.0;
        for (std::size_t a = 0; a < k; ++a) {
            c[a] += step[a];
            length2 += step[a] * downhill[a];
        }
        if (length2 < still) break;
    }
    double sum = prior_depth(near.parameters) + static_cast<double>(n) * tail_constant(noise.student_nu);
    numerics::Matrix normal(k, k);
    for (std::size_t a = 0; a < k; ++a) {
        normal(a, a) = 1.0;
        sum += c[a] * c[a];
    }
    const double information = tail_information(noise.student_nu);
    for (std::size_t i = 0; i < n; ++i) {
        const Measured row = measured(i, mags[i] + common_magnitude(i, c), noise);
        sum +=
            std::log(row.variance) + tail_depth(row.residual * row.residual / row.variance, noise.student_nu);
        add_row(normal, common_, i, information * row.flux_slope * row.flux_slope / row.variance);
    }
    if (k > 0) {
        mirror(normal);
        const auto factor = NormalFactor::make(normal);
        if (!factor) return HUGE_VAL;
        sum += factor->log_determinant();
    }
    for (const Limit& l : limits_) {
        const double mag = model_->magnitude(l.days, near.parameters);
        sum += censored_term(limit_z(l, mag), mistaken_limit_).minus_two_log;
    }
    return std::isfinite(sum) ? sum : HUGE_VAL;
}

}  // namespace emberline::lightcurve
