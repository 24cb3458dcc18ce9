// SPDX-License-Identifier: MIT
// lightcurve/rise_and_fall — a supernova from its first light through its peak into its decline.
// Notation: d days since the middle of the peak; h, σ its height (mag, brighter) and width; R, θ length and
// time scale of the rise; D the share of the rise that is done.
// Source: [ContardoLeibundgutVacca2000, eq. 1; VaccaLeibundgut1996; from memory]
//     m = (f0 + γ d − h exp(−d² / 2σ²) [− h₂ exp(−(d − d₂)² / 2σ₂²)]) / D,   D = 1 − exp(−(d + R) / θ),
// their t0 being peak_middle, g0 = −h, τ = t0 − R; the second Gaussian is for the second maximum, or
// shoulder, of type Ia in bands redder than V. R in place of τ, because points fix τ only against the peak.
// To be honest: the maximum of light lies near peak_middle, not at it (see figures); −R is where the formula
// ends, not a measured explosion; and as magnitudes are divided by D, the rise depends on the magnitudes'
// zero, so it is for apparent magnitudes above 0.
// The priors are wide against what type Ia and stripped supernovae do (rises of about 18 d, declines near
// 0.02 mag/d; from memory); they hold what the points do not reach: the rise of a curve that begins at its
// peak, the tail of one that ends there.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "lightcurve/model.hpp"
#include "lightcurve/start_grid.hpp"
#include "numerics/robust.hpp"

namespace emberline::lightcurve {
namespace {

constexpr Prior rate_prior{.mean = 0.02, .sigma = 0.02};
constexpr Prior height_prior{.mean = 1.5, .sigma = 1.5};
constexpr Prior width_prior{.mean = 13.0, .sigma = 6.0};
constexpr Prior length_prior{.mean = 21.0, .sigma = 5.0};
constexpr Prior time_prior{.mean = 4.0, .sigma = 2.0};
constexpr Prior second_delay_prior{.mean = 26.0, .sigma = 4.0};
constexpr Prior second_height_prior{.mean = 0.4, .sigma = 0.3};
constexpr Prior second_width_prior{.mean = 8.0, .sigma = 3.0};
constexpr double widest_d = 200.0, least_width_d = 0.5, least_time_d = 0.1;
// Before the rise there is no light. Magnitudes stay finite there, 20 times what they are at the peak, which
// is darkness to any flux.
constexpr double least_risen = 0.05;

double bell(double d, double sigma) {
    const double z = d / sigma;
    return std::exp(-0.5 * z * z);
}

class RiseAndFall final : public Model {
  public:
    explicit RiseAndFall(bool second_peak) : second_peak_(second_peak) {}
    [[nodiscard]] std::string name() const override {
        return second_peak_ ? "rise-and-two-peaks" : "rise-and-fall";
    }
    [[nodiscard]] std::string source() const override {
        return "Contardo, Leibundgut & Vacca 2000, A&A 359, 876; Vacca & Leibundgut 1996, ApJ 471, L37";
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double) const override;
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override;
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        const double d = days - p[middle];
        return numerator(d, p) / std::max(risen(d, p[length], p[time]), least_risen);
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override;
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        const auto wide = [](double v) { return v > least_width_d && v < widest_d; };
        return std::all_of(p.begin(), p.end(), [](double v) { return std::isfinite(v); }) &&
               p[height] > 0.0 && wide(p[width]) && wide(p[length]) && p[time] > least_time_d &&
               p[time] < widest_d && (!second_peak_ || wide(p[second_width]));
    }

  private:
    enum Index : std::size_t {
        middle,
        level,
        rate,
        height,
        width,
        length,
        time,
        second_delay,
        second_height,
        second_width
    };
    static double risen(double d, double length, double time) { return 1.0 - std::exp(-(d + length) / time); }
    [[nodiscard]] double numerator(double d, std::span<const double> p) const {
        double sum = p[level] + p[rate] * d - p[height] * bell(d, p[width]);
        if (second_peak_) sum -= p[second_height] * bell(d - p[second_delay], p[second_width]);
        return sum;
    }
    [[nodiscard]] std::vector<std::vector<double>> shapes(std::span<const Sample> samples) const;

    bool second_peak_;
};

std::vector<ParameterInfo> RiseAndFall::parameters(double) const {
    std::vector<ParameterInfo> all{
        {.name = "peak_middle",
         .unit = "d",
         .about = "The middle of the Gaussian; the maximum of light lies near it.",
         .is_epoch = true},
        {.name = "line_mag", .unit = "mag", .about = "Magnitude of the declining line at that time."},
        {.name = "decline_rate",
         .unit = "mag/d",
         .about = "Change of magnitude a day long after the peak.",
         .prior = rate_prior},
        {.name = "peak_height",
         .unit = "mag",
         .about = "How far the peak stands above the line.",
         .prior = height_prior},
        {.name = "peak_width", .unit = "d", .about = "Sigma of the Gaussian.", .prior = width_prior},
        {.name = "rise_length",
         .unit = "d",
         .about = "From the formula's first light to the middle of the peak.",
         .prior = length_prior},
        {.name = "rise_time",
         .unit = "d",
         .about = "Time scale on which the exponential rise ends.",
         .prior = time_prior}};
    if (second_peak_) {
        all.push_back({.name = "second_delay",
                       .unit = "d",
                       .about = "From the middle of the first peak to that of the second.",
                       .prior = second_delay_prior});
        all.push_back({.name = "second_height",
                       .unit = "mag",
                       .about = "How far the second peak stands above the line.",
                       .prior = second_height_prior});
        all.push_back({.name = "second_width",
                       .unit = "d",
                       .about = "Sigma of the second Gaussian.",
                       .prior = second_width_prior});
    }
    return all;
}

void RiseAndFall::gradient(double days, std::span<const double> p, std::span<double> slopes) const {
    const double d = days - p[middle], g = bell(d, p[width]), w = p[width];
    const double left = std::exp(-(d + p[length]) / p[time]);
    const bool dark = 1.0 - left < least_risen;
    const double share = dark ? least_risen : 1.0 - left;
    // d m / d D times d D / d (d + R), and times d D / d θ.
    const double by_rise = dark ? 0.0 : -numerator(d, p) / (share * share) * left / p[time];
    slopes[level] = 1.0 / share;
    slopes[rate] = d / share;
    slopes[height] = -g / share;
    slopes[width] = -p[height] * g * d * d / (w * w * w) / share;
    slopes[length] = by_rise;
    slopes[time] = -by_rise * (d + p[length]) / p[time];
    double per_day = p[rate] + p[height] * g * d / (w * w);
    if (second_peak_) {
        const double e = d - p[second_delay], v = p[second_width], g2 = bell(e, v);
        slopes[second_height] = -g2 / share;
        slopes[second_width] = -p[second_height] * g2 * e * e / (v * v * v) / share;
        slopes[second_delay] = -p[second_height] * g2 * e / (v * v) / share;
        per_day += p[second_height] * g2 * e / (v * v);
    }
    slopes[middle] = -per_day / share - by_rise;
}

// Peaks all along the curve; rises that end its darkness just before the first point, or where supernovae
// usually do.
std::vector<std::vector<double>> RiseAndFall::shapes(std::span<const Sample> samples) const {
    constexpr std::size_t middles = 25;
    constexpr double soon_d = 0.7, least_length_d = 5.0, most_length_d = 60.0;
    const double first = samples.front().days, last = samples.back().days;
    std::vector<std::vector<double>> all;
    for (const double t : evenly(first, std::min(last, first + most_length_d), middles)) {
        const double seen = t - first;
        std::vector<double> lengths{std::max(length_prior.mean, seen + soon_d)};
        for (const double before : {soon_d, 3.0}) {
            if (seen + before > least_length_d && seen + before < length_prior.mean)
                lengths.push_back(seen + before);
        }
        for (const double rise_length : lengths) {
            for (const double rise_time : {1.5, 4.0}) {
                for (const double w : {7.0, 11.0, 16.0, 24.0}) {
                    if (!second_peak_) {
                        all.push_back({t, w, rise_length, rise_time});
                        continue;
                    }
                    for (const double delay : {22.0, 30.0})
                        all.push_back({t, w, rise_length, rise_time, delay, second_width_prior.mean});
                }
            }
        }
    }
    return all;
}

Result<std::vector<std::vector<double>>> RiseAndFall::starts(const LightCurve& curve,
                                                             double reference_bjd_tdb) const {
    constexpr std::size_t most_samples = 100, most_starts = 3;
    constexpr double least_height_mag = 0.05;
    const auto samples = thinned(detections(curve, reference_bjd_tdb), most_samples);
    const std::size_t needed = parameters(reference_bjd_tdb).size();
    if (samples.size() < needed) {
        return fail({.what = fmt::format("A rise and a fall need {} detections, and there are {}.", needed,
                                         samples.size()),
                     .where = {},
                     .mend = "Wait for more nights, widen the range of dates, or choose a simpler model."});
    }
    std::vector<double> mags;
    for (const Sample& s : samples)
        mags.push_back(s.mag);
    std::vector<Prior> priors{{.mean = numerics::median(mags), .sigma = 10.0}, rate_prior, height_prior};
    if (second_peak_) priors.push_back(second_height_prior);
    const auto basis = [this](double days, std::span<const double> shape, std::span<double> values) {
        const double d = days - shape[0];
        const double share = std::max(risen(d, shape[2], shape[3]), least_risen);
        values[0] = 1.0 / share;
        values[1] = d / share;
        values[2] = -bell(d, shape[1]) / share;
        if (second_peak_) values[3] = -bell(d - shape[4], shape[5]) / share;
    };
    auto trials = grid_starts(samples, basis, priors, shapes(samples));
    std::erase_if(trials, [](const StartTrial& t) { return t.linear[2] < least_height_mag; });
    if (trials.empty()) {
        return fail({.what = "These points show no peak.",
                     .where = {},
                     .mend = "Widen the range of dates, or choose a model of a fade."});
    }
    std::vector<std::vector<double>> found;
    for (const StartTrial& t : distinct_starts(trials, std::array{5.0, 6.0, 4.0}, most_starts)) {
        found.push_back(
            {t.shape[0], t.linear[0], t.linear[1], t.linear[2], t.shape[1], t.shape[2], t.shape[3]});
        if (second_peak_) found.back().insert(found.back().end(), {t.shape[4], t.linear[3], t.shape[5]});
    }
    return found;
}

}  // namespace

std::unique_ptr<Model> rise_and_fall() {
    return std::make_unique<RiseAndFall>(false);
}

std::unique_ptr<Model> rise_and_two_peaks() {
    return std::make_unique<RiseAndFall>(true);
}

}  // namespace emberline::lightcurve
