// SPDX-License-Identifier: MIT
// lightcurve/plateau_and_drop — the plateau of a hydrogen-rich supernova, the drop at its end, and the tail.
// Notation: d days since the middle of the drop; w width; a depth, mag; p rates before and after, mag/d.
// Source: a Fermi–Dirac step on a line [Olivares2010, eq. 2; Valenti2016, eq. 1; both from memory],
//     m = −a / (1 + exp(d / w)) + p d + m0,
// written about the middle of the drop, where the magnitude is mag_at_drop = m0 − a/2. Real plateaus seldom
// fade at the rate of their tail; so a second form has a rate on either side, blended as the step goes:
//     m = mag_at_drop + p₁ d + (p₂ − p₁) w ln((1 + exp(d / w)) / 2) + (a/2) tanh(d / 2w),
// whose two straight ends lie a apart at d = 0, and which is the first where p₁ = p₂. The third form adds the
// Gaussian of Olivares et al. for the first weeks, −h exp(−(d + l)² / 2s²): h above 0 for the fast first fade
// of blue bands, below 0 for the rise to the plateau in red ones.
// To be honest: without that Gaussian a fit should begin some 20 d after explosion, and with it no sooner
// than the rise is over by half. The priors are wide against what plateau supernovae do (medians and spreads
// of drops, widths and rates in V from Anderson et al. 2014 and Valenti et al. 2016, from memory), and matter
// only for what the points do not reach: the depth before the tail is seen, a rate of three nights.
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
constexpr Prior hump_lead_prior{.mean = 85.0, .sigma = 25.0};
constexpr Prior hump_height_prior{.mean = 0.0, .sigma = 1.0};
constexpr Prior log_hump_width_prior{.mean = 1.1, .sigma = 0.2};
constexpr double widest_drop_d = 40.0, least_log_width = -0.5, most_log_width = 2.0;

// ln(1 + eˣ) without overflow.
double softplus(double x) {
    return x > 0.0 ? x + std::log1p(std::exp(-x)) : std::log1p(std::exp(x));
}

enum class Form { even, sloping, humped };

double bell(double d, double sigma) {
    const double z = d / sigma;
    return std::exp(-0.5 * z * z);
}

class PlateauAndDrop final : public Model {
  public:
    explicit PlateauAndDrop(Form form) : two_rates_(form != Form::even), humped_(form == Form::humped) {}
    [[nodiscard]] std::string name() const override {
        return humped_      ? "humped-plateau-and-drop"
               : two_rates_ ? "sloping-plateau-and-drop"
                            : "plateau-and-drop";
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
        if (humped_) {
            all.push_back({.name = "hump_lead",
                           .unit = "d",
                           .about = "From the middle of the early hump to the middle of the drop.",
                           .prior = hump_lead_prior});
            all.push_back({.name = "hump_height",
                           .unit = "mag",
                           .about = "Height of the early hump over the plateau; negative: a dip.",
                           .prior = hump_height_prior});
            all.push_back({.name = "log_hump_width",
                           .unit = "log10 d",
                           .about = "Logarithm of the sigma of the early hump.",
                           .prior = log_hump_width_prior});
        }
        return all;
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override;
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        const double d = days - p[middle], w = p[width];
        return p[level] + plateau_rate(p) * d +
               (p[tail] - plateau_rate(p)) * w * (softplus(d / w) - std::numbers::ln2) +
               0.5 * p[drop] * std::tanh(0.5 * d / w) - hump(d, p);
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override;
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        return std::all_of(p.begin(), p.end(), [](double v) { return std::isfinite(v); }) && p[drop] > 0.0 &&
               p[width] > 0.0 && p[width] < widest_drop_d &&
               (!humped_ || (p[log_hump_width] > least_log_width && p[log_hump_width] < most_log_width));
    }

  private:
    enum Index : std::size_t {
        middle,
        level,
        drop,
        width,
        tail,
        plateau,
        hump_lead,
        hump_height,
        log_hump_width
    };
    [[nodiscard]] double plateau_rate(std::span<const double> p) const {
        return two_rates_ ? p[plateau] : p[tail];
    }
    [[nodiscard]] double hump(double d, std::span<const double> p) const {
        return humped_ ? p[hump_height] * bell(d + p[hump_lead], std::pow(10.0, p[log_hump_width])) : 0.0;
    }
    [[nodiscard]] std::vector<std::vector<double>> shapes(std::span<const Sample> samples) const;
    [[nodiscard]] std::vector<StartTrial> trials(std::span<const Sample> samples) const;

    bool two_rates_, humped_;
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
    if (humped_) {
        const double s = std::pow(10.0, p[log_hump_width]), z = (d + p[hump_lead]) / s;
        const double g = std::exp(-0.5 * z * z), h = p[hump_height];
        slopes[hump_lead] = h * g * z / s;
        slopes[hump_height] = -g;
        slopes[log_hump_width] = -h * g * z * z * std::numbers::ln10;
        slopes[middle] -= h * g * z / s;
    }
}

// Drops all along the curve, and humps in its first weeks.
std::vector<std::vector<double>> PlateauAndDrop::shapes(std::span<const Sample> samples) const {
    constexpr std::size_t middles = 60, fewest_before = 2;
    constexpr double least_lead_d = 30.0;
    std::vector<std::vector<double>> all;
    for (const double t : evenly(samples[fewest_before].days, samples.back().days, middles)) {
        for (const double w : {1.5, 3.0, 6.0, 12.0}) {
            if (!humped_) all.push_back({t, w});
            for (const double after_first : {0.0, 10.0, 20.0}) {
                const double lead = t - samples.front().days - after_first;
                for (const double s : {8.0, 16.0}) {
                    if (humped_ && lead > least_lead_d) all.push_back({t, w, lead, s});
                }
            }
        }
    }
    return all;
}

// Those with a drop, the best first.
std::vector<StartTrial> PlateauAndDrop::trials(std::span<const Sample> samples) const {
    constexpr double least_drop_mag = 0.2;
    std::vector<double> mags;
    for (const Sample& s : samples)
        mags.push_back(s.mag);
    const Prior anywhere{.mean = numerics::median(mags), .sigma = 10.0};
    std::vector<Prior> priors{anywhere, drop_prior, tail_prior};
    if (two_rates_) priors.push_back(plateau_prior);
    if (humped_) priors.push_back(hump_height_prior);
    const auto basis = [this](double days, std::span<const double> shape, std::span<double> values) {
        const double d = days - shape[0], w = shape[1];
        const double of_tail = w * (softplus(d / w) - std::numbers::ln2);
        values[0] = 1.0;
        values[1] = 0.5 * std::tanh(0.5 * d / w);
        values[2] = two_rates_ ? of_tail : d;
        if (two_rates_) values[3] = d - of_tail;
        if (humped_) values[4] = -bell(d + shape[2], shape[3]);
    };
    auto all = grid_starts(samples, basis, priors, shapes(samples));
    std::erase_if(all, [](const StartTrial& t) { return t.linear[1] < least_drop_mag; });
    return all;
}

Result<std::vector<std::vector<double>>> PlateauAndDrop::starts(const LightCurve& curve,
                                                                double reference_bjd_tdb) const {
    constexpr std::size_t most_samples = 120, most_starts = 3, flat_starts = 2;
    const auto all = detections(curve, reference_bjd_tdb);
    const auto samples = thinned(all, most_samples);
    const std::size_t needed = parameters(reference_bjd_tdb).size();
    if (samples.size() < needed) {
        return fail({.what = fmt::format("A plateau and its drop need {} detections, and there are {}.",
                                         needed, samples.size()),
                     .where = {},
                     .mend = "Wait for more nights, widen the range of dates, or choose a simpler model."});
    }
    const double span_d = samples.back().days - samples.front().days;
    const std::array apart{0.05 * span_d, 4.0};
    std::vector<std::vector<double>> found;
    for (const StartTrial& t : distinct_starts(trials(samples), apart, most_starts)) {
        found.push_back({t.shape[0], t.linear[0], t.linear[1], t.shape[1], t.linear[2]});
        if (two_rates_) found.back().push_back(t.linear[3]);
        if (humped_)
            found.back().insert(found.back().end(), {t.shape[2], t.linear[4], std::log10(t.shape[3])});
    }
    if (humped_) {
        // The best without a hump, so that the simpler form is never the better one.
        for (const StartTrial& t :
             distinct_starts(PlateauAndDrop(Form::sloping).trials(samples), apart, flat_starts)) {
            found.push_back({t.shape[0], t.linear[0], t.linear[1], t.shape[1], t.linear[2], t.linear[3],
                             t.shape[0] - samples.front().days, 0.0, log_hump_width_prior.mean});
        }
    }
    if (found.empty()) {
        return fail({.what = "These points show no drop from a plateau.",
                     .where = {},
                     .mend = "Wait for the drop, widen the range of dates, or choose another model."});
    }
    return found;
}

}  // namespace

std::unique_ptr<Model> plateau_and_drop() {
    return std::make_unique<PlateauAndDrop>(Form::even);
}

std::unique_ptr<Model> sloping_plateau_and_drop() {
    return std::make_unique<PlateauAndDrop>(Form::sloping);
}

std::unique_ptr<Model> humped_plateau_and_drop() {
    return std::make_unique<PlateauAndDrop>(Form::humped);
}

}  // namespace emberline::lightcurve
