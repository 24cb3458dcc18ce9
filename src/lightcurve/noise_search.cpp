// SPDX-License-Identifier: MIT
// Notation: r residual, X slopes, δ shift of the unknowns, z residual over its scale, N normal matrix.
#include "lightcurve/noise_search.hpp"

#include <algorithm>
#include <cmath>

#include "lightcurve/normal_matrix.hpp"

namespace emberline::lightcurve {
namespace {

// Without extra scatter in truth, one fit in twenty gains 2.7 (half of chi² with one degree of freedom). A
// gain of 1, which one in six has by chance, made rates' pulls spread by 0.85 over 200 campaigns; this one
// 0.9 and more.
constexpr double least_gain = 2.7;
// From a tenth of a millimagnitude, far below any error in this trade, to a factor of six in flux.
constexpr double smallest_scatter_mag = 1e-4, largest_scatter_mag = 2.0;

// The model as a plane through where it was expanded: many σ_x are tried without asking the model again.
class Plane {
  public:
    Plane(const Likelihood& likelihood, const Expansion& at)
        : likelihood_(likelihood), at_(at), shift_(at.downhill.size()) {}

    // −2 ln of the restricted likelihood at this σ_x, with the unknowns moved to their best.
    double restricted(double scatter_mag) {
        const auto nu = at_.noise.student_nu;
        const int most_turns = nu ? 8 : 1;
        constexpr double still = 1e-4;  // of the squared length of a step in errors
        for (int turn = 0; turn < most_turns; ++turn) {
            if (move(scatter_mag) < still) break;
        }
        const std::size_t unknowns = shift_.size();
        double sum = at_.depth_beside + static_cast<double>(at_.residuals.size()) * tail_constant(nu);
        numerics::Matrix normal = at_.normal_beside;
        const double information = tail_information(nu);
        for (std::size_t i = 0; i < at_.residuals.size(); ++i) {
            const double variance = variance_at(i, scatter_mag), r = residual_at(i);
            sum += std::log(variance) + tail_depth(r * r / variance, nu);
            add_row(normal, at_.slopes, i, information / variance);
        }
        mirror(normal);
        for (std::size_t j = 0; j < unknowns; ++j)
            sum -= 2.0 * at_.downhill_beside[j] * shift_[j];
        sum += numerics::quadratic_form(at_.normal_beside, shift_, shift_);
        const auto factor = NormalFactor::make(normal);
        return factor ? sum + factor->log_determinant() : HUGE_VAL;
    }

  private:
    [[nodiscard]] double variance_at(std::size_t i, double scatter_mag) const {
        const double scatter = at_.flux_slopes[i] * scatter_mag;
        return likelihood_.row_variance(i) + scatter * scatter;
    }
    [[nodiscard]] double residual_at(std::size_t i) const {
        const std::size_t unknowns = shift_.size();
        const double* x = at_.slopes.values().data() + i * unknowns;
        double r = at_.residuals[i];
        for (std::size_t j = 0; j < unknowns; ++j)
            r -= x[j] * shift_[j];
        return r;
    }

    // One weighted step; the squared length of it.
    double move(double scatter_mag) {
        const std::size_t unknowns = shift_.size();
        numerics::Matrix normal = at_.normal_beside;
        std::vector<double> right = numerics::multiply(at_.normal_beside, shift_);
        for (std::size_t j = 0; j < unknowns; ++j)
            right[j] = at_.downhill_beside[j] - right[j];
        for (std::size_t i = 0; i < at_.residuals.size(); ++i) {
            const double variance = variance_at(i, scatter_mag), r = residual_at(i);
            const double weight = tail_weight(r * r / variance, at_.noise.student_nu) / variance;
            add_row(normal, at_.slopes, i, weight);
            const double* x = at_.slopes.values().data() + i * unknowns;
            for (std::size_t j = 0; j < unknowns; ++j)
                right[j] += weight * r * x[j];
        }
        mirror(normal);
        const auto factor = NormalFactor::make(normal);
        if (!factor) return 0.0;
        const auto step = factor->solve(right);
        double length2 = 0.0;
        for (std::size_t j = 0; j < unknowns; ++j) {
            shift_[j] += step[j];
            length2 += step[j] * right[j];
        }
        return length2;
    }

    const Likelihood& likelihood_;
    const Expansion& at_;
    std::vector<double> shift_;
};

struct Scatter {
    double mag = 0.0;
    double restricted = 0.0;
};

// The lowest point of the restricted likelihood in ln σ_x, or none of it. `near_mag`, where above 0, is close
// to it, within a factor of e^`within`.
Scatter find_scatter(const Likelihood& likelihood, const Expansion& at, double near_mag, double within) {
    Plane plane(likelihood, at);
    const Scatter none{0.0, plane.restricted(0.0)};
    Scatter best = none;
    const auto try_at = [&](double log_scatter) {
        const Scatter tried{std::exp(log_scatter), plane.restricted(std::exp(log_scatter))};
        if (tried.restricted < best.restricted) best = tried;
        return tried.restricted;
    };
    if (near_mag == 0.0) {
        constexpr int coarse_steps = 9;
        within = std::log(largest_scatter_mag / smallest_scatter_mag) / coarse_steps;
        for (int i = 0; i <= coarse_steps; ++i)
            try_at(std::log(smallest_scatter_mag) + i * within);
        if (best.mag == 0.0) return none;
        near_mag = best.mag;
    }
    double low = std::log(near_mag) - within, high = std::log(near_mag) + within;
    // Golden section to a per cent: closer than σ_x can be known from a few thousand points.
    constexpr double golden = 0.6180339887498949, close_enough = 0.01;
    double left = high - golden * (high - low), right = low + golden * (high - low);
    double at_left = try_at(left), at_right = try_at(right);
    while (high - low > close_enough) {
        if (at_left < at_right) {
            high = right;
            right = left;
            at_right = at_left;
            left = high - golden * (high - low);
            at_left = try_at(left);
        } else {
            low = left;
            left = right;
            at_left = at_right;
            right = low + golden * (high - low);
            at_right = try_at(right);
        }
    }
    return none.restricted - best.restricted > least_gain ? best : none;
}

// `near_mag`: σ_x that another ν had, or 0.
Result<Settled> settle_with(const Likelihood& likelihood, const Place& from, std::optional<double> nu,
                            double near_mag, bool scatter) {
    constexpr int most_turns = 6;
    constexpr double still = 0.02;  // relative change of σ_x
    constexpr double within_first = 1.0, within_next = 0.4;
    Noise noise{.student_nu = nu};
    auto at = likelihood.climb(from, noise, Precision::rough);
    if (!at) return fail(at.error());
    Settled settled{.at = std::move(*at)};
    settled.chi2_without_scatter = chi2_of(likelihood, settled.at);
    for (int turn = 0; turn < most_turns; ++turn) {
        if (!scatter) {
            settled.restricted = Plane(likelihood, settled.at).restricted(0.0);
            break;
        }
        const double before = noise.extra_scatter_mag;
        const Scatter found = before > 0.0 ? find_scatter(likelihood, settled.at, before, within_next)
                                           : find_scatter(likelihood, settled.at, near_mag, within_first);
        settled.restricted = found.restricted;
        if (std::abs(found.mag - before) <= still * found.mag) break;
        noise.extra_scatter_mag = found.mag;
        at = likelihood.climb(settled.at.place, noise, Precision::rough);
        if (!at) return fail(at.error());
        settled.at = std::move(*at);
    }
    return settled;
}

// What the search left roughly done.
Result<Settled> finished(const Likelihood& likelihood, Result<Settled> settled) {
    if (!settled) return settled;
    auto at = likelihood.climb(std::move(settled->at.place), settled->at.noise);
    if (!at) return fail(at.error());
    settled->at = std::move(*at);
    return settled;
}

}  // namespace

double chi2_of(const Likelihood& likelihood, const Expansion& at) {
    double sum = likelihood.prior_depth(at.place.parameters);
    for (const double c : at.place.commons)
        sum += c * c;
    for (const double z2 : at.squared_residuals())
        sum += tail_weight(z2, at.noise.student_nu) * z2;
    return sum;
}

Result<Settled> settle_noise(const Likelihood& likelihood, const Place& from, const NoiseOptions& options) {
    const auto gaussian_fit = [&] {
        return settle_with(likelihood, from, std::nullopt, 0.0, options.scatter);
    };
    if (!options.tails) return finished(likelihood, gaussian_fit());
    constexpr std::size_t count = std::size(tried_nu), middle = count / 2;
    std::optional<Settled> heavy;
    // True when that ν is the best of those tried so far.
    const auto improves = [&](std::size_t i) {
        auto tried = settle_with(likelihood, heavy ? heavy->at.place : from, tried_nu[i],
                                 heavy ? heavy->at.noise.extra_scatter_mag : 0.0, options.scatter);
        if (!tried || (heavy && tried->restricted >= heavy->restricted)) return false;
        heavy = std::move(*tried);
        return true;
    };
    // The likelihood has one peak in ν: away from the middle on the side that rises.
    improves(middle);
    bool heavier = false;
    for (std::size_t i = middle; i-- > 0 && improves(i);)
        heavier = true;
    for (std::size_t i = middle + 1; !heavier && i < count && improves(i); ++i) {
    }
    if (!heavy) return finished(likelihood, gaussian_fit());
    // With outliers a Gaussian fit goes a long way to a bad end; where it starts that far behind, it is
    // spared.
    constexpr double far_behind = 50.0;
    const double cost = std::max(least_gain, std::log(static_cast<double>(likelihood.rows())));
    const Expansion as_gaussian = likelihood.expand(heavy->at.place, {});
    const double nearby = options.scatter ? find_scatter(likelihood, as_gaussian, 0.0, 0.0).restricted
                                          : Plane(likelihood, as_gaussian).restricted(0.0);
    if (nearby - heavy->restricted < cost + far_behind) {
        auto gaussian = gaussian_fit();
        if (gaussian && gaussian->restricted - heavy->restricted <= cost)
            return finished(likelihood, std::move(gaussian));
    }
    return finished(likelihood, std::move(*heavy));
}

Result<Uncertainty> uncertainty_at(const Likelihood& likelihood, const Expansion& at) {
    const auto z2 = at.squared_residuals();
    Uncertainty result{.spread = tail_spread(z2, likelihood.parameters(), at.noise.student_nu)};
    numerics::Matrix normal = at.normal_beside;
    for (std::size_t i = 0; i < z2.size(); ++i)
        add_row(normal, at.slopes, i,
                standing_weight(z2[i], at.noise.student_nu) / (at.variances[i] * result.spread.covariance));
    mirror(normal);
    const auto factor = NormalFactor::make(normal);
    if (!factor) return fail(factor.error());
    result.covariance = factor->inverse();
    return result;
}

}  // namespace emberline::lightcurve
