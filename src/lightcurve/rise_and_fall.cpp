// SPDX-License-Identifier: MIT
// lightcurve/rise_and_fall — a supernova from its first light through its maximum into its decline.
// Source: [ContardoLeibundgutVacca2000, eq. 1; VaccaLeibundgut1996; from memory]
//     m(t) = (f0 + γ (t − t0) + g0 exp(−(t − t0)² / 2σ²) [+ g1 exp(−(t − t1)² / 2σ1²)]) / D(t),
//     D(t) = 1 − exp((τ − t) / θ);
// the second Gaussian is for the second maximum, or shoulder, of type Ia in bands redder than V.
// These are the same curves in other parameters: g0, t0 and τ trade places along a bend that no Gaussian
// error follows (over 300 simulated curves, 13 % of the heights lay beyond two of their errors), while the
// time and the magnitude of the maximum, and how far the line lies below it, are what points tell. Notation:
// d days since maximum, M its magnitude, H peak_height, R rise_length, x = d/σ, E = exp(−R/θ):
//     m = (M + H + γ d − A exp(−x²/2 − x u) [− c(d)]) / D,   c(d) = h exp(−(d − δ)² / 2s²),
//     A = H + M E − c(0),   u = σ (M E/θ − γ + c'(0)) / A   (from m = M and m' = 0 at d = 0),
// so t0 = maximum − σ u, g0 = −A exp(u²/2), τ = maximum − R.
// To be honest: −R is where the formula ends, not a measured explosion; and as magnitudes are divided by D,
// the rise depends on the magnitudes' zero: it is for apparent magnitudes above 0.
// The priors are wide against what type Ia and stripped supernovae do (their ranges from memory, and from
// fits of SN 1990N, 2011fe and 2012fr); they hold what the points do not reach: the rise of a curve that
// begins at its peak, the tail of one that ends there.
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

constexpr Prior rate_prior{.mean = 0.02, .sigma = 0.02};
constexpr Prior height_prior{.mean = 2.0, .sigma = 1.5};
constexpr Prior width_prior{.mean = 13.0, .sigma = 6.0};
constexpr Prior length_prior{.mean = 20.0, .sigma = 5.0};
constexpr Prior log_time_prior{.mean = 0.6, .sigma = 0.25};
constexpr Prior second_delay_prior{.mean = 26.0, .sigma = 4.0};
constexpr Prior log_second_height_prior{.mean = -0.4, .sigma = 0.25};
constexpr Prior log_second_width_prior{.mean = 0.9, .sigma = 0.15};
// The same height where it is a linear parameter of the search for starts.
constexpr Prior second_height_start{.mean = 0.4, .sigma = 0.3};
constexpr double widest_d = 200.0, least_width_d = 0.5, least_log_time = -1.0, most_log_time = 2.0;
// The middle of the Gaussian is within so many of its sigma of the maximum.
constexpr double most_lean = 2.0;
// Before the rise there is no light. Magnitudes stay finite there, 20 times what they are at the maximum,
// which is darkness to any flux.
constexpr double least_risen = 0.05;

Problem no_peak() {
    return {.what = "These points show no peak.",
            .where = {},
            .mend = "Widen the range of dates, or choose a model of a fade."};
}

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
        const double d = days - p[maximum];
        return numerator(d, p) / std::max(risen(d, p[length], time_of(p)), least_risen);
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override;
    [[nodiscard]] bool allowed(std::span<const double> p) const override;

  private:
    enum Index : std::size_t {
        maximum,
        level,
        rate,
        height,
        width,
        length,
        log_time,
        second_delay,
        log_second_height,
        log_second_width
    };
    struct Bump {
        double height = 0.0, delay = 0.0, width = 1.0;
    };
    [[nodiscard]] Bump second(std::span<const double> p) const {
        if (!second_peak_) return {};
        return {std::pow(10.0, p[log_second_height]), p[second_delay], std::pow(10.0, p[log_second_width])};
    }
    // What holds the maximum in its place.
    struct Tie {
        double unrisen = 0.0;    // E
        double amplitude = 0.0;  // A
        double lean = 0.0;       // u
    };
    static double time_of(std::span<const double> p) { return std::pow(10.0, p[log_time]); }
    static double risen(double d, double length, double time) { return 1.0 - std::exp(-(d + length) / time); }
    [[nodiscard]] Tie tie(std::span<const double> p) const {
        const double time = time_of(p), e = std::exp(-p[length] / time);
        const Bump b = second(p);
        const double c = b.height * bell(b.delay, b.width), a = p[height] + p[level] * e - c;
        return {e, a, p[width] * (p[level] * e / time - p[rate] + c * b.delay / (b.width * b.width)) / a};
    }
    [[nodiscard]] double numerator(double d, std::span<const double> p) const {
        const Tie t = tie(p);
        const double x = d / p[width];
        const Bump b = second(p);
        return p[level] + p[height] + p[rate] * d - t.amplitude * std::exp(-x * (0.5 * x + t.lean)) -
               b.height * bell(d - b.delay, b.width);
    }
    [[nodiscard]] std::vector<double> start_of(const StartTrial& trial) const;
    [[nodiscard]] std::vector<std::vector<double>> shapes(std::span<const Sample> samples) const;

    bool second_peak_;
};

bool RiseAndFall::allowed(std::span<const double> p) const {
    const auto wide = [](double v) { return v > least_width_d && v < widest_d; };
    if (!std::all_of(p.begin(), p.end(), [](double v) { return std::isfinite(v); }) || !wide(p[width]) ||
        !wide(p[length]) || p[log_time] < least_log_time || p[log_time] > most_log_time ||
        !wide(second(p).width)) {
        return false;
    }
    const Tie t = tie(p);
    return t.amplitude > 0.0 && std::abs(t.lean) < most_lean;
}

std::vector<ParameterInfo> RiseAndFall::parameters(double) const {
    std::vector<ParameterInfo> all{
        {.name = "maximum", .unit = "d", .about = "The maximum of light.", .is_epoch = true},
        {.name = "mag_at_maximum", .unit = "mag", .about = "Magnitude at the maximum of light."},
        {.name = "decline_rate",
         .unit = "mag/d",
         .about = "Change of magnitude a day long after the peak.",
         .prior = rate_prior},
        {.name = "peak_height",
         .unit = "mag",
         .about = "How far the maximum stands above the line of the late decline, continued back to it.",
         .prior = height_prior},
        {.name = "peak_width", .unit = "d", .about = "Sigma of the Gaussian.", .prior = width_prior},
        {.name = "rise_length",
         .unit = "d",
         .about = "From the formula's first light to the maximum.",
         .prior = length_prior},
        // A logarithm: slow rises are far less well told from one another than quick ones.
        {.name = "log_rise_time",
         .unit = "log10 d",
         .about = "Logarithm of the time scale on which the exponential rise ends.",
         .prior = log_time_prior}};
    if (second_peak_) {
        all.push_back({.name = "second_delay",
                       .unit = "d",
                       .about = "From the maximum of light to the middle of the second peak.",
                       .prior = second_delay_prior});
        // Logarithms too: a height and a width that the points hardly tell are skewed in days and magnitudes.
        all.push_back({.name = "log_second_height",
                       .unit = "log10 mag",
                       .about = "Logarithm of the height of the second Gaussian.",
                       .prior = log_second_height_prior});
        all.push_back({.name = "log_second_width",
                       .unit = "log10 d",
                       .about = "Logarithm of the sigma of the second Gaussian.",
                       .prior = log_second_width_prior});
    }
    return all;
}

void RiseAndFall::gradient(double days, std::span<const double> p, std::span<double> slopes) const {
    const Tie t = tie(p);
    const double d = days - p[maximum], w = p[width], x = d / w, time = time_of(p), a = t.amplitude;
    const double left = std::exp(-(d + p[length]) / time);
    const bool dark = 1.0 - left < least_risen;
    const double share = dark ? least_risen : 1.0 - left;
    // d m / d D times d D / d (d + R).
    const double by_rise = dark ? 0.0 : -numerator(d, p) / (share * share) * left / time;
    const double g = std::exp(-x * (0.5 * x + t.lean));
    // A change of A and one of A u, in the numerator: u itself changes by (Δ(A u) − u ΔA) / A.
    const auto tied = [&](double by_a, double by_au) { return g * (x * (by_au - t.lean * by_a) - by_a); };
    const double e = t.unrisen, pull = e / time;
    double per_day = p[rate] + a * g * (x + t.lean) / w;
    if (second_peak_) {
        const auto [h, delay, s] = second(p);
        const double s2 = s * s, y = d - delay, g2 = bell(y, s), g0 = bell(delay, s), z2 = delay * delay / s2;
        slopes[log_second_height] = std::numbers::ln10 * h * (-g2 + tied(-g0, w * g0 * delay / s2)) / share;
        slopes[log_second_width] = std::numbers::ln10 * h *
                                   (-g2 * y * y / s2 + tied(-g0 * z2, w * g0 * delay / s2 * (z2 - 2.0))) /
                                   share;
        slopes[second_delay] = h * (-g2 * y + tied(g0 * delay, w * g0 * (1.0 - z2))) / s2 / share;
        per_day += h * g2 * y / s2;
    }
    slopes[maximum] = -per_day / share - by_rise;
    slopes[level] = (1.0 + tied(e, w * pull)) / share;
    slopes[rate] = (d + tied(0.0, -w)) / share;
    slopes[height] = (1.0 + tied(1.0, 0.0)) / share;
    slopes[width] = (tied(0.0, a * t.lean / w) - a * g * x * (x + t.lean) / w) / share;
    const double level_pull = p[level] * pull;  // also −d (M E) / d R
    slopes[length] = tied(-level_pull, -w * level_pull / time) / share + by_rise;
    slopes[log_time] = std::numbers::ln10 *
                       (tied(level_pull * p[length], w * level_pull * (p[length] / time - 1.0)) / share -
                        by_rise * (d + p[length]));
}

// Peaks all along the curve; rises that end its darkness just before the first point, or where supernovae
// usually do.
std::vector<std::vector<double>> RiseAndFall::shapes(std::span<const Sample> samples) const {
    constexpr std::size_t middles = 25;
    constexpr double soon_d = 0.7, least_length_d = 5.0, most_length_d = 60.0, usual_second_width_d = 8.0;
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
                        all.push_back({t, w, rise_length, rise_time, delay, usual_second_width_d});
                }
            }
        }
    }
    return all;
}

// From the published parameters, in which the grid is linear, to these: where that curve is brightest.
std::vector<double> RiseAndFall::start_of(const StartTrial& trial) const {
    constexpr double step_d = 0.05, within_d = 25.0, least_height_mag = 0.05;
    const auto& shape = trial.shape;
    const auto mag = [&](double d) {
        double sum = trial.linear[0] + trial.linear[1] * d - trial.linear[2] * bell(d, shape[1]);
        if (second_peak_) sum -= trial.linear[3] * bell(d - shape[4], shape[5]);
        return sum / std::max(risen(d, shape[2], shape[3]), least_risen);
    };
    double brightest = 0.0;
    for (double d = -std::min(within_d, shape[2]); d <= within_d; d += step_d) {
        if (mag(d) < mag(brightest)) brightest = d;
    }
    const double at_maximum = mag(brightest);
    std::vector<double> start{shape[0] + brightest,
                              at_maximum,
                              trial.linear[1],
                              trial.linear[0] + trial.linear[1] * brightest - at_maximum,
                              shape[1],
                              shape[2] + brightest,
                              std::log10(shape[3])};
    if (second_peak_) {
        start.insert(start.end(),
                     {shape[4] - brightest, std::log10(std::max(trial.linear[3], least_height_mag)),
                      std::log10(shape[5])});
    }
    return start;
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
    if (second_peak_) priors.push_back(second_height_start);
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
    if (trials.empty()) return fail(no_peak());
    std::vector<std::vector<double>> found;
    for (const StartTrial& t : distinct_starts(trials, std::array{5.0, 6.0, 4.0}, most_starts)) {
        if (auto start = start_of(t); allowed(start)) found.push_back(std::move(start));
    }
    if (found.empty()) return fail(no_peak());
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
