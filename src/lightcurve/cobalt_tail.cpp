// SPDX-License-Identifier: MIT
// lightcurve/cobalt_tail — light from the decay of ⁵⁶Co: with every gamma ray kept, and with their growing
// escape as the ejecta thin out.
// Notation: t days since the explosion on the transient's own clock; t_0 the gamma rays' escape time, when
// the optical depth to them is 1; τ the mean life of ⁵⁶Co; z redshift.
//   L ∝ exp(−t/τ) (1 − exp(−(t_0/t)²))      [Clocchiatti & Wheeler 1997, ApJ 491, 375; from memory]
// To be honest: ⁵⁶Ni is taken as gone (a part in a thousand of the heating from 60 d on), positrons, which
// carry 3 % of the energy and stay, are left out, and a band follows the bolometric light only roughly. The
// fit's own error of the escape time holds where the leak shows (a BIC below that of no leak). Elsewhere the
// time is known from below only, and profile_error() tells it. A type Ia's tail without a date of the
// explosion does not tell it either: level, date and time trade places while the ejecta are thin.
#include <algorithm>
#include <cmath>

#include "lightcurve/fit.hpp"
#include "lightcurve/model.hpp"
#include "lightcurve/samples.hpp"
#include "numerics/robust.hpp"
#include "quantities/magnitude.hpp"

namespace emberline::lightcurve {
namespace {

// log10 of days. So wide that a leak which shows is told by the points (at 35 d, usual for type Ia, the prior
// moves it by a tenth of its error), and centred where nothing leaks from a usual tail: points that show no
// leak then leave the answer there, with an error that says "this long, or any longer".
constexpr Prior usual_escape{.mean = 3.0, .sigma = 0.6};
// Where no date of the explosion is known: tails are followed from two months to a year after it.
constexpr Prior usual_age_d{.mean = 150.0, .sigma = 75.0};
constexpr double least_known_explosion_err_d = 1e-3;
// Before this age there is no tail; it keeps the formula finite wherever the explosion's date wanders.
constexpr double least_age_d = 1.0;

Problem no_detection() {
    return {.what = "A tail needs a detection to begin with.",
            .where = {},
            .mend = "Add a night, or widen the range of dates."};
}

bool all_finite(std::span<const double> values) {
    return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

// The level that half of the samples lie above, and how far they lie from it.
struct Level {
    double mag = 0.0, spread_mag = 0.0;
};
template <typename Curve>
Level level_of(const std::vector<Sample>& samples, const Curve& faded_mag) {
    std::vector<double> levels;
    for (const Sample& s : samples)
        levels.push_back(s.mag - faded_mag(s.days));
    const double level = numerics::median(levels);
    return {level, numerics::median_absolute_deviation(levels, level)};
}

class CobaltTail final : public Model {
  public:
    explicit CobaltTail(const ModelContext& context)
        : rate_(cobalt56_decline_mag_per_day / (1.0 + context.redshift)) {}

    [[nodiscard]] std::string name() const override { return "cobalt-tail"; }
    [[nodiscard]] std::string source() const override {
        return "decay of cobalt-56 with every gamma ray kept, half-life 77.236 d";
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double) const override {
        return {{"mag_at_reference", "mag", "Magnitude at the reference epoch."}};
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override {
        const auto samples = detections(curve, reference_bjd_tdb);
        if (samples.empty()) return fail(no_detection());
        return std::vector<std::vector<double>>{
            {level_of(samples, [&](double days) { return rate_ * days; }).mag}};
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> parameters) const override {
        return parameters[0] + rate_ * days;
    }
    void gradient(double, std::span<const double>, std::span<double> slopes) const override {
        slopes[0] = 1.0;
    }
    [[nodiscard]] bool allowed(std::span<const double> parameters) const override {
        return all_finite(parameters);
    }

  private:
    double rate_;
};

// x = (t_0/t)²; the share of the gamma rays that is kept, in magnitudes.
double kept_mag(double x) {
    return -mag_per_relative_flux * std::log(-std::expm1(-x));
}
// d kept_mag / d ln x
double kept_slope_mag(double x) {
    return x > 600.0 ? 0.0 : -mag_per_relative_flux * x / std::expm1(x);
}

class LeakingTail final : public Model {
  public:
    explicit LeakingTail(const ModelContext& context)
        : explosion_(context.explosion_bjd_tdb), stretch_(1.0 + context.redshift) {}

    [[nodiscard]] std::string name() const override { return "leaking-tail"; }
    [[nodiscard]] std::string source() const override {
        return "decay of cobalt-56 whose gamma rays escape more and more (Clocchiatti & Wheeler 1997)";
    }
    [[nodiscard]] std::vector<ParameterInfo> parameters(double reference_bjd_tdb) const override {
        return {
            {"mag_at_reference", "mag", "Magnitude at the reference epoch."},
            // A logarithm: the decline hardly knows a very long time from none at all, and never a negative
            // one.
            {"log_gamma_escape_time", "log10 d",
             "Logarithm of the days after the explosion, on the transient's clock, when the gamma rays' "
             "optical depth is 1.",
             usual_escape},
            {"explosion", "d", "Explosion.", explosion_prior(reference_bjd_tdb), true},
        };
    }
    [[nodiscard]] Result<std::vector<std::vector<double>>> starts(const LightCurve& curve,
                                                                  double reference_bjd_tdb) const override {
        constexpr double escape_times_d[] = {25.0, 40.0, 65.0, 100.0, 160.0, 250.0, 400.0, 1000.0};
        constexpr std::size_t most_starts = 3;
        const auto samples = detections(curve, reference_bjd_tdb);
        if (samples.empty()) return fail(no_detection());
        double explosion = explosion_prior(reference_bjd_tdb).mean;
        if (!explosion_) explosion = std::min(explosion, samples.front().days - 20.0 * stretch_);
        std::vector<std::pair<double, std::vector<double>>> tried;
        for (const double escape_d : escape_times_d) {
            std::vector<double> start{0.0, std::log10(escape_d), explosion};
            const Level level = level_of(samples, [&](double days) { return magnitude(days, start); });
            start[0] = level.mag;
            tried.emplace_back(level.spread_mag, std::move(start));
        }
        std::stable_sort(tried.begin(), tried.end(),
                         [](const auto& a, const auto& b) { return a.first < b.first; });
        std::vector<std::vector<double>> starts;
        for (std::size_t k = 0; k < most_starts; ++k)
            starts.push_back(std::move(tried[k].second));
        return starts;
    }
    [[nodiscard]] double magnitude(double days, std::span<const double> p) const override {
        const double now = age(days, p), then = age(0.0, p);
        return p[0] + cobalt56_decline_mag_per_day * (days / stretch_) + kept_mag(depth(now, p)) -
               kept_mag(depth(then, p));
    }
    void gradient(double days, std::span<const double> p, std::span<double> slopes) const override {
        const double now = age(days, p), then = age(0.0, p);
        const double slope_now = kept_slope_mag(depth(now, p)), slope_then = kept_slope_mag(depth(then, p));
        slopes[0] = 1.0;
        slopes[1] = 2.0 * std::log(10.0) * (slope_now - slope_then);
        // A later explosion makes the ejecta younger, thus thicker: d ln x = −2 d ln t.
        const auto younger = [&](double t) { return t > least_age_d ? 2.0 / (t * stretch_) : 0.0; };
        slopes[2] = slope_now * younger(now) - slope_then * younger(then);
    }
    [[nodiscard]] bool allowed(std::span<const double> p) const override {
        constexpr double shortest = 0.0, longest = 5.0;  // 1 d and 270 years
        return all_finite(p) && p[1] >= shortest && p[1] <= longest && age(0.0, p) > least_age_d;
    }

  private:
    [[nodiscard]] Prior explosion_prior(double reference_bjd_tdb) const {
        if (!explosion_) return {-usual_age_d.mean * stretch_, usual_age_d.sigma * stretch_};
        return {explosion_->value - reference_bjd_tdb,
                std::max(explosion_->err, least_known_explosion_err_d)};
    }
    [[nodiscard]] double age(double days, std::span<const double> p) const {
        return std::max((days - p[2]) / stretch_, least_age_d);
    }
    static double depth(double age_d, std::span<const double> p) {
        const double ratio = std::pow(10.0, p[1]) / age_d;
        return ratio * ratio;
    }

    std::optional<ValueWithError> explosion_;
    double stretch_;
};

}  // namespace

std::unique_ptr<Model> cobalt_tail(const ModelContext& context) {
    return std::make_unique<CobaltTail>(context);
}

std::unique_ptr<Model> leaking_tail(const ModelContext& context) {
    return std::make_unique<LeakingTail>(context);
}

}  // namespace emberline::lightcurve
