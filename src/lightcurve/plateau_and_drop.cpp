// SPDX-License-Identifier: MIT
// lightcurve/plateau_and_drop — the plateau of a hydrogen-rich supernova, the drop at its end, and the tail.
// Notation: d days since the middle of the drop; w width; a depth, mag; p rates before and after, mag/d.
// Source: a Fermi–Dirac step on a line [Olivares2010, eq. 2; Valenti2016, eq. 1; both from memory],
//     m = −a / (1 + exp(d / w)) + p d + m0,
// written about the middle of the drop, where the magnitude is mag_at_drop = m0 − a/2. Real plateaus seldom
// fade at the rate of their tail; so a second form has a rate on either side, blended as the step goes:
//     m = mag_at_drop + p₁ d + (p₂ − p₁) w ln((1 + exp(d / w)) / 2) + (a/2) tanh(d / 2w),
// whose two straight ends lie a apart at d = 0, and which is the first where p₁ = p₂.
// To be honest: neither knows the rise and the bump of the first weeks; fit from some 20 d after explosion.
// The priors are wide against what plateau supernovae do (medians and spreads of drops, widths and rates in
// V from Anderson et al. 2014 and Valenti et al. 2016, from memory), and matter only for what the points do
// not reach: the depth before the tail is seen, a rate of three nights.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "lightcurve/model.hpp"
#include "lightcurve/start_grid.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

constexpr Prior drop_prior{.mean = 2.0, .sigma = 1.0};
constexpr Prior width_prior{.mean = 5.0, .sigma = 4.0};
constexpr Prior plateau_prior{.mean = 0.012, .sigma = 0.02};
constexpr Prior tail_prior{.mean = 0.012, .sigma = 0.01};
constexpr double widest_drop_d = 40.0;

// ln(1 + eˣ) without overflow.
double softplus(double x) {
    return x > 0.0 ? x + std::log1p(std::exp(-x)) : std::log1p(std::exp(x));
}

class PlateauAndDrop final : public Model {
  public:
    explicit PlateauAndDrop(bool two_rates) : two_rates_(two_rates) {}
    [[nodiscard]] std::string name() const override {
        return two_rates_ ? "sloping-plateau-and-drop" : "plateau-and-drop";
    }
    [[nodiscard]] std::string source() const override {
        return two_rates_ ? "Olivares et al. 2010, ApJ 715, 833, with a rate on either side of the drop"
                          : "Valenti et al. 2016, MNRAS 459, 3939; Olivares et al. 2010, ApJ 715, 833";
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double) const override {
        std::vector<ParameterInfo> all{
            {.name = "drop_middle",
             .unit = "d",
             .about = "The middle of the drop from plateau to tail.",
             .is_epoch = true},
            {.name = "mag_at_drop", .unit = "mag", .about = "Magnitude at the middle of the drop."},
            {.name = "drop",
             .unit = "mag",
             .about = "Depth of the drop: tail over plateau, both continued to its middle.",
             .prior = drop_prior},
            {.name = "drop_width",
             .unit = "d",
             .about = "Time scale of the drop: 76 % of it lie within twice this about its middle.",
             .prior = width_prior},
            {.name = "tail_rate",
             .unit = "mag/d",
             .about = two_rates_ ? "Change of magnitude a day after the drop."
                                 : "Change of magnitude a day before and after the drop.",
             .prior = tail_prior}};
        if (two_rates_) {
            all.push_back({.name = "plateau_rate",
                           .unit = "mag/d",
                           .about = "Change of magnitude a day before the drop.",
                           .prior = plateau_prior});
        }
        return all;
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override;
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        const double d = days - p[middle], w = p[width];
        return p[level] + plateau_rate(p) * d +
               (p[tail] - plateau_rate(p)) * w * (softplus(d / w) - std::numbers::ln2) +
               0.5 * p[drop] * std::tanh(0.5 * d / w);
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override;
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return std::all_of(p.begin(), p.end(), [](double v) { return std::isfinite(v); }) && p[drop] > 0.0 &&
               p[width] > 0.0 && p[width] < widest_drop_d;
    }

  private:
    enum Index : std::size_t { middle, level, drop, width, tail, plateau };
    [[nodiscard]] double plateau_rate(std::span<const double> p) const {
        return two_rates_ ? p[plateau] : p[tail];
    }

    bool two_rates_;
};

void PlateauAndDrop::gradient(double days, std::span<const double> p, std::span<double> slopes) const {
    const double d = days - p[middle], w = p[width], x = d / w;
    const double bend = p[tail] - plateau_rate(p);
    const double log_sum = softplus(x), after = 1.0 / (1.0 + std::exp(-x));  // 0 before the drop, 1 after
    const double th = std::tanh(0.5 * x), step_slope = 0.25 * p[drop] * (1.0 - th * th);
    slopes[middle] = -(plateau_rate(p) + bend * after + step_slope / w);
    slopes[level] = 1.0;
    slopes[drop] = 0.5 * th;
    slopes[width] = bend * (log_sum - std::numbers::ln2 - x * after) - step_slope * x / w;
    const double of_tail = w * (log_sum - std::numbers::ln2);
    if (two_rates_) {
        slopes[tail] = of_tail;
        slopes[plateau] = d - of_tail;
    } else {
        slopes[tail] = d;
    }
}

Result<std::vector<std::vector<double>>> PlateauAndDrop::starts(const LightCurve& curve,
                                                                double reference_bjd_tdb) const {
    constexpr std::size_t most_samples = 120, middles = 60, fewest_before = 2, most_starts = 3;
    constexpr double least_drop_mag = 0.2;
    const auto all = detections(curve, reference_bjd_tdb);
    const auto samples = thinned(all, most_samples);
    const std::size_t needed = parameters(reference_bjd_tdb).size();
    if (samples.size() < needed) {
        return fail({.what = fmt::format("A plateau and its drop need {} detections, and there are {}.",
                                         needed, samples.size()),
                     .where = {},
                     .mend = "Wait for more nights, widen the range of dates, or choose a simpler model."});
    }
    std::vector<double> mags;
    for (const Sample& s : samples)
        mags.push_back(s.mag);
    const Prior anywhere{.mean = numerics::median(mags), .sigma = 10.0};
    std::vector<Prior> priors{anywhere, drop_prior, tail_prior};
    if (two_rates_) priors.push_back(plateau_prior);
    std::vector<std::vector<double>> shapes;
    const double first = samples[fewest_before].days, last = samples.back().days;
    for (const double t : evenly(first, last, middles)) {
        for (const double w : {1.5, 3.0, 6.0, 12.0})
            shapes.push_back({t, w});
    }
    const auto basis = [this](double days, std::span<const double> shape, std::span<double> values) {
        const double d = days - shape[0], w = shape[1];
        const double of_tail = w * (softplus(d / w) - std::numbers::ln2);
        values[0] = 1.0;
        values[1] = 0.5 * std::tanh(0.5 * d / w);
        values[2] = two_rates_ ? of_tail : d;
        if (two_rates_) values[3] = d - of_tail;
    };
    auto trials = grid_starts(samples, basis, priors, shapes);
    std::erase_if(trials, [](const StartTrial& t) { return t.linear[1] < least_drop_mag; });
    if (trials.empty()) {
        return fail({.what = "These points show no drop from a plateau.",
                     .where = {},
                     .mend = "Wait for the drop, widen the range of dates, or choose another model."});
    }
    std::vector<std::vector<double>> found;
    for (const StartTrial& t : distinct_starts(trials, std::array{0.05 * (last - first), 4.0}, most_starts)) {
        found.push_back({t.shape[0], t.linear[0], t.linear[1], t.shape[1], t.linear[2]});
        if (two_rates_) found.back().push_back(t.linear[3]);
    }
    return found;
}

}  // namespace

std::unique_ptr<Model> plateau_and_drop() {
    return std::make_unique<PlateauAndDrop>(false);
}

std::unique_ptr<Model> sloping_plateau_and_drop() {
    return std::make_unique<PlateauAndDrop>(true);
}

}  // namespace emberline::lightcurve
