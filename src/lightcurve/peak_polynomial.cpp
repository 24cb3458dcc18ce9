// SPDX-License-Identifier: MIT
// lightcurve/peak_polynomial — the days around maximum, the classical way, told by the maximum itself: its
// time and magnitude are parameters, so that the covariance of the fit holds their errors.
// Notation: m magnitude; u = (t − t_max) / s, s the scale; c_k shape coefficients, mag.
//   m = m_max + c_2 u² + c_3 u³ + …,   c_2 > 0
// Weak priors hold the coefficients from the third on, so that few points do not make a high order swing
// while many decide for themselves. They are centred on what the blue curves of type Ia supernovae have at
// s = 12 d (a rise faster than the fall, an inflection half a scale later), two to five times as wide as
// these differ, and include no asymmetry at all and the opposite one.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "lightcurve/model.hpp"
#include "lightcurve/samples.hpp"
#include "numerics/least_squares.hpp"

namespace emberline::lightcurve {
namespace {

constexpr std::size_t least_order = 2, most_order = 7;
// For time, magnitude and curvature, and one more; the priors stand for the rest.
constexpr std::size_t fewest_detections = 4;
constexpr Prior shape_priors[] = {{-0.5, 0.9}, {0.3, 0.6}, {-0.25, 0.5}, {0.05, 0.3}, {0.0, 0.2}};  // c_3 …

using Coefficients = std::vector<double>;  // of 1, u, u² …

double value_at(double u, std::span<const double> c) {
    double sum = 0.0;
    for (std::size_t k = c.size(); k-- > 0;)
        sum = sum * u + c[k];
    return sum;
}

// The same polynomial in powers of u − shift.
Coefficients shifted(Coefficients c, double shift) {
    for (std::size_t low = 0; low + 1 < c.size(); ++low) {
        for (std::size_t k = c.size() - 1; k-- > low;)
            c[k] += shift * c[k + 1];
    }
    return c;
}

// Least absolute residuals, by weights that follow them; the priors are rows like any other.
std::optional<Coefficients> robust_polynomial(const std::vector<Sample>& samples, double origin_d,
                                              double scale_d, std::size_t order) {
    constexpr int rounds = 12;
    constexpr double least_residual_mag = 0.01;
    const std::size_t n = samples.size(), priors = order > 2 ? order - 2 : 0;
    numerics::Matrix powers(n + priors, order + 1);
    std::vector<double> target(n + priors), weights(n + priors, 1.0);
    for (std::size_t i = 0; i < n; ++i) {
        const double u = (samples[i].days - origin_d) / scale_d;
        for (std::size_t k = 0; k <= order; ++k)
            powers(i, k) = std::pow(u, static_cast<double>(k));
        target[i] = samples[i].mag;
    }
    for (std::size_t k = 0; k < priors; ++k) {
        powers(n + k, k + 3) = 1.0;
        target[n + k] = shape_priors[k].mean;
        weights[n + k] = 1.0 / (shape_priors[k].sigma * shape_priors[k].sigma);
    }
    std::optional<Coefficients> found;
    for (int round = 0; round < rounds; ++round) {
        const auto fit = numerics::linear_fit(powers, target, weights);
        if (!fit) return std::nullopt;
        found = fit->parameters;
        for (std::size_t i = 0; i < n; ++i) {
            const double u = (samples[i].days - origin_d) / scale_d;
            const double residual = std::abs(samples[i].mag - value_at(u, *found));
            weights[i] = 1.0 / (least_residual_mag * std::max(residual, least_residual_mag));
        }
    }
    return found;
}

// Where it is brightest between those ends, unless at one of them.
std::optional<double> brightest_between(double from, double to, const Coefficients& c) {
    constexpr int steps = 400;
    int best = 0;
    const auto place = [&](int i) { return from + (to - from) * i / steps; };
    for (int i = 1; i <= steps; ++i) {
        if (value_at(place(i), c) < value_at(place(best), c)) best = i;
    }
    if (best == 0 || best == steps) return std::nullopt;
    return place(best);
}

class PeakPolynomial final : public Model {
  public:
    PeakPolynomial(std::size_t order, double scale_d) : order_(order), scale_d_(scale_d) {}

    [[nodiscard]] std::string name() const override { return fmt::format("peak-polynomial-{}", order_); }
    [[nodiscard]] std::string source() const override {
        return fmt::format("a polynomial of order {} about the time of maximum light", order_);
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double) const override {
        std::vector<ParameterInfo> all{
            {.name = "t_max", .unit = "d", .about = "Time of maximum light.", .is_epoch = true},
            {"m_max", "mag", "Magnitude at maximum light."}};
        for (std::size_t k = 2; k <= order_; ++k) {
            all.push_back({.name = fmt::format("shape_{}", k),
                           .unit = "mag",
                           .about = fmt::format("What order {} adds {} d after maximum.", k, scale_d_),
                           .prior = k > 2 ? std::optional(shape_priors[k - 3]) : std::nullopt});
        }
        return all;
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override {
        const auto samples = detections(curve, reference_bjd_tdb);
        if (samples.size() < fewest_detections) {
            return fail(
                {.what = fmt::format("The days around a maximum need {} detections, and there {} {}.",
                                     fewest_detections, samples.size() == 1 ? "is" : "are", samples.size()),
                 .where = {},
                 .mend = "Widen the window around the maximum, or wait for more nights."});
        }
        const double origin = brightest_of(samples).days;
        std::vector<std::vector<double>> starts;
        for (const std::size_t order : {order_, std::min<std::size_t>(3, order_), least_order}) {
            const auto polynomial = robust_polynomial(samples, origin, scale_d_, order);
            if (!polynomial) continue;
            const auto at = brightest_between((samples.front().days - origin) / scale_d_,
                                              (samples.back().days - origin) / scale_d_, *polynomial);
            if (!at) continue;
            const Coefficients c = shifted(*polynomial, *at);
            std::vector<double> start(order_ + 1, 0.0);
            start[0] = origin + *at * scale_d_;
            start[1] = c[0];
            std::copy(c.begin() + 2, c.end(), start.begin() + 2);
            if (allowed(start)) starts.push_back(std::move(start));
        }
        if (starts.empty()) {
            return fail(
                {.what = "The points show no maximum of light: the curve is brightest at one of its ends.",
                 .where = {},
                 .mend = "Widen the window, or take the rate of the fade instead."});
        }
        return starts;
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        const double u = (days - p[0]) / scale_d_;
        return p[1] + u * u * value_at(u, p.subspan(2));
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override {
        const double u = (days - p[0]) / scale_d_;
        double power = u, rate = 0.0;  // u^(k−1); d m / d u
        for (std::size_t k = 2; k <= order_; ++k) {
            rate += static_cast<double>(k) * p[k] * power;
            power *= u;
            slopes[k] = power;
        }
        slopes[0] = -rate / scale_d_;
        slopes[1] = 1.0;
    }
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return p[2] > 0.0 && std::all_of(p.begin(), p.end(), [](double v) { return std::isfinite(v); });
    }

  private:
    std::size_t order_;
    double scale_d_;
};

}  // namespace

std::unique_ptr<Model> peak_polynomial(int order, double scale_d) {
    const auto within_reach = static_cast<std::size_t>(std::max(order, 0));
    return std::make_unique<PeakPolynomial>(std::clamp(within_reach, least_order, most_order), scale_d);
}

}  // namespace emberline::lightcurve
